"""Photos read by the workers of a cluster (dask.distributed), in place of children of this process.

A worker reads as this machine does, with a crew of limited children, and knows nothing of the store. Batches
of photos go out and readings come back in the order of the photos, so that whoever joins and stores them does
the same as with one machine. A batch whose worker ends is read again by another one: readings are taken once,
when a batch is whole. What is under way is bounded by the threads of the workers, so memory does not grow
with the number of photos.
"""

from __future__ import annotations

import hashlib
import logging
import platform
import secrets
import shutil
import time
from collections import deque
from collections.abc import Callable, Collection, Generator, Iterable, Iterator
from contextlib import suppress
from dataclasses import dataclass
from importlib.metadata import PackageNotFoundError, version
from pathlib import Path
from types import TracebackType
from typing import TYPE_CHECKING, Any

from shortpencil.forms.errors import InputError, ShortpencilError
from shortpencil.forms.files import read_bytes
from shortpencil.forms.shown import one_line, path_text
from shortpencil.scan.file_pages import Given
from shortpencil.scan.intake import FileResult, read_one
from shortpencil.scan.language import carried
from shortpencil.scan.sources import Photo, Url, shown

if TYPE_CHECKING:
    from distributed import Client, Future

    from shortpencil.forms.catalog import Catalog
    from shortpencil.scan.crew import Crew
    from shortpencil.scan.vision.seeing.known_hands import Hands

#: Photos a batch: a second or two of a core, beside which the scheduler's millisecond a task is nothing, and
#: little to read again when a worker ends.
BATCH_PHOTOS = 8
BATCH_BYTES = 16 * 2**20  # of photos that travel with the batch; one alone may be larger
CONNECT_S = 15.0
#: So long is waited for a worker, at the start and when all are gone; one that is started anew takes seconds.
NO_WORKER_S = 60.0
LOOK_S = 2.0  # how often it is looked how many workers there are
POLL_S = 0.02  # how often it is looked whether the batch that is due is read; one takes a second or two
#: A batch whose worker ended so often is tried photo by photo, and a photo so often till given up. (Where
#: the worker opens all photos itself, the scheduler tries four workers by itself, and this counts rounds.)
MOST_ROUNDS = 4
#: Libraries whose release may change a reading, in the names of their packages.
LIBRARIES = (
    "numpy",
    "scipy",
    "opencv-python",
    "opencv-python-headless",
    "pillow",
    "pillow-heif",
    "pypdfium2",
    "zxing-cpp",
    "onnxruntime",
)
WAITS = "What was stored stays stored; the same command with --resume goes on from there."


# -- on every machine ----------------------------------------------------------------------------------------


def about_here() -> dict[str, str]:
    """Return what a reading depends on beside the photo: this program's files, Python and libraries."""
    about = {"Python": ".".join(platform.python_version_tuple()[:2]), "shortpencil": _own_files()}
    for name in LIBRARIES:
        with suppress(PackageNotFoundError):
            about[name.removesuffix("-headless")] = version(name)
    about["Tesseract"] = "installed" if shutil.which("tesseract") else "not installed"
    return about


def _own_files() -> str:
    """Return the version and a digest of every file of this program that has a part in reading a photo."""
    top = Path(__file__).parents[1]
    parts = [*(top / "forms").rglob("*"), *(top / "scan").glob("*.py"), *(top / "scan" / "vision").rglob("*")]
    digest = hashlib.sha256()
    for path in sorted(parts):
        if path.is_file() and "__pycache__" not in path.parts:
            digest.update(path.relative_to(top).as_posix().encode())
            digest.update(hashlib.sha256(path.read_bytes()).digest())
    try:
        number = version("shortpencil")
    except PackageNotFoundError:
        number = "not installed"
    return f"{number}, files {digest.hexdigest()[:12]}"


# -- on a worker ---------------------------------------------------------------------------------------------

_crews: dict[str, tuple[Crew, Collection[bytes]]] = {}


class _Reading:
    """What a worker is told of one call of `read`, whenever it comes."""

    def __init__(
        self,
        call: str,
        about: dict[str, str],
        catalog: Catalog,
        hands: Hands | None,
        known: Collection[bytes],
    ) -> None:
        self.name = f"shortpencil-{call}"
        self._call, self._about, self._known = call, about, known
        self._catalog, self._hands = catalog, hands

    def setup(self) -> None:
        """Take up the work, unless this worker would read otherwise than the others."""
        from shortpencil.scan.crew import Crew

        if about_here() == self._about:
            _crews[self._call] = Crew(self._catalog, self._hands), self._known

    def teardown(self) -> None:
        """Give the children back."""
        crew, _ = _crews.pop(self._call, (None, None))
        if crew is not None:
            crew.close()


def read_batch(call: str, photos: list[Url | Given]) -> list[FileResult] | dict[str, str]:
    """Return what photos say; what this worker is instead, where it would read them otherwise."""
    if call not in _crews:
        return about_here()
    crew, known = _crews[call]
    return [read_one(crew, photo, known) for photo in photos]


# -- where the command runs ----------------------------------------------------------------------------------


@dataclass(slots=True)
class _Batch:
    """Photos that are read together, and what is known of them without reading."""

    photos: list[Url | Given]
    answers: list[FileResult | None]  # in the order of the files; None for what a worker says
    future: Future[Any] | None = None


class Cluster:
    """A connection to a cluster; close it, or use it as a context manager.

    Raises
    ------
    InputError
        when dask.distributed is not installed here, nobody answers at the address, or no worker comes
    ShortpencilError
        when a worker has no shortpencil, or would read otherwise than this machine
    """

    def __init__(self, address: str) -> None:
        try:
            from distributed import Client
        except ImportError as error:
            raise InputError(
                "--cluster: expected dask.distributed, found that it is not installed. "
                "Install it with: pip install 'shortpencil[cluster]'"
            ) from error
        logging.getLogger("distributed").setLevel(logging.CRITICAL)  # what matters is said below, in words
        self._address = one_line(address)
        try:
            self._client: Client = Client(address, timeout=CONNECT_S, set_as_default=False)
        except (OSError, ValueError, TypeError, ImportError) as error:  # a time-out is an OSError
            raise InputError(
                f"--cluster {self._address}: expected the scheduler of a cluster, found nobody who answers. "
                "Start one with `dask scheduler`, which prints its address, as in tcp://192.0.2.7:8786."
            ) from error
        try:
            self._about = about_here()
            self._await_worker()
            self._compare()
        except BaseException:
            self.close()
            raise

    def __enter__(self) -> Cluster:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()

    def close(self) -> None:
        """Leave the cluster; what of ours is under way there is dropped."""
        with suppress(Exception):  # the cluster may be gone, and then there is nothing to leave
            self._client.close(timeout=5)

    def _threads(self) -> int:
        """Return how many threads all workers have."""
        try:
            return sum(self._client.ncores().values())
        except Exception as error:  # of many kinds, by how the connection broke
            raise self._gone() from error

    def _gone(self) -> ShortpencilError:
        return ShortpencilError(
            f"--cluster {self._address}: expected the cluster to go on, found that its scheduler is gone. "
            f"{WAITS}"
        )

    def _await_worker(self) -> int:
        """Return how many threads there are as soon as there is one; an error when none comes."""
        until = time.monotonic() + NO_WORKER_S
        while not (threads := self._threads()):
            if time.monotonic() > until:
                raise ShortpencilError(
                    f"--cluster {self._address}: expected a worker, found none for {NO_WORKER_S:.0f} s. "
                    f"Start one with `dask worker {self._address}`. {WAITS}"
                )
            time.sleep(0.2)
        return threads

    def _compare(self) -> None:
        """Refuse a cluster with a worker that would read otherwise than this machine."""
        found = self._client.run(_question(), on_error="return")
        for worker, about in sorted(found.items()):
            if not isinstance(about, dict):
                raise ShortpencilError(
                    f"worker {worker}: expected that it says what is installed there, found "
                    f"{type(about).__name__}. Is its Python {self._about['Python']}, as here?"
                )
            _refuse_other(about, self._about, worker)

    def read_files(
        self,
        files: Iterable[Photo],
        catalog: Catalog,
        *,
        hands: Hands | None = None,
        known: Collection[bytes] = frozenset(),
    ) -> Generator[FileResult]:
        """Yield what each file says, in the order given; see `scan.intake.read_files`.

        A path is a file of this machine and travels with its batch; a URL is opened by the worker.

        Parameters
        ----------
        known : the SHA-256 of what the store read before: those photos are not read again
        """
        call = secrets.token_hex(8)
        plugin = _plugin(_Reading(call, self._about, catalog.carried(), hands, known))
        try:
            self._client.register_plugin(plugin, name=plugin.name)
        except Exception as error:
            self._threads()  # which raises when the scheduler is gone
            what = _in_a_line(error)
            raise ShortpencilError(
                f"--cluster {self._address}: expected that its workers take up the reading, found an error "
                f"there: {what}. {WAITS}"
            ) from error
        under_way: deque[_Batch] = deque()
        room, looked = 2 * self._await_worker() + 2, time.monotonic()
        try:
            for batch in _batches(files, known):
                self._send(call, batch)
                under_way.append(batch)
                while under_way and (len(under_way) >= room or _is_done(under_way[0])):
                    yield from self._results(call, under_way.popleft())
                    if time.monotonic() - looked > LOOK_S:
                        room, looked = 2 * max(self._threads(), 1) + 2, time.monotonic()
            while under_way:
                yield from self._results(call, under_way.popleft())
        finally:
            for batch in under_way:
                if batch.future is not None:
                    with suppress(Exception):
                        batch.future.cancel()
            with suppress(Exception):
                self._client.unregister_worker_plugin(plugin.name)

    def _send(self, call: str, batch: _Batch) -> None:
        """Give a batch to a worker; `batch.future` stays None where that did not work."""
        if not batch.photos:
            return
        photos: object = batch.photos
        try:
            if any(isinstance(photo, Given) for photo in batch.photos):
                # Straight into a worker's memory: what travels inside a task stays in the scheduler's and the
                # client's logs of their last thousand messages, some GB.
                (photos,) = self._client.scatter([batch.photos], hash=False)
            # Not pure: the same photos are read again when the command is given again.
            batch.future = self._client.submit(read_batch, call, photos, pure=False)
        except Exception:  # of many kinds, by how the worker or the scheduler ended just now
            self._await_worker()

    def _results(self, call: str, batch: _Batch) -> Iterator[FileResult]:
        read = iter(self._read(call, batch))
        for answer in batch.answers:
            yield answer if answer is not None else next(read)

    def _read(self, call: str, batch: _Batch) -> list[FileResult]:
        """Return what a batch says; where its workers ended too often, or broke over it, photo by photo."""
        results = self._tried(call, batch)
        if not isinstance(results, str):
            return results
        name = batch.photos[0].text if isinstance(batch.photos[0], Url) else batch.photos[0].name
        if len(batch.photos) > 1:
            singles = [_Batch([photo], [None]) for photo in batch.photos]
            return [result for single in singles for result in self._read(call, single)]
        path = path_text(name)
        says = f"{path}: expected that a worker reads it, found {results}. Read it again, or on one machine."
        return [FileResult(path, error=says)]

    def _tried(self, call: str, batch: _Batch) -> list[FileResult] | str:
        """Return what a batch says, or what was found in place of that."""
        if not batch.photos:
            return []
        for _ in range(MOST_ROUNDS):
            if batch.future is None:
                self._send(call, batch)
            results = None if batch.future is None else self._awaited(batch.future)
            batch.future = None
            if results is not None:
                return results
        return carried("that every worker that tried has ended")

    def _awaited(self, future: Future[Any]) -> list[FileResult] | str | None:
        """Return what a task says when it is done, None when its worker ended with the photos.

        An error that nobody foresaw costs the photo over which it arose, and is said in words.
        """
        from distributed.scheduler import KilledWorker

        looked = time.monotonic()
        # Asked and not waited for: `Future.result(timeout)` now and then fails when its time is up.
        while not future.done():
            time.sleep(POLL_S)
            if time.monotonic() - looked > LOOK_S:
                self._await_worker()
                looked = time.monotonic()
        try:
            if future.status == "error":
                error = future.exception()
                if isinstance(error, KilledWorker | OSError):  # an OSError is also a connection that broke
                    return None
                if isinstance(error, ImportError):
                    raise ShortpencilError(_lacks("a worker that joined later", str(error))) from error
                what = _in_a_line(error)
                return carried(f"an error that nobody foresaw: {what}")
            # Skipping, since a worker may end between having read and being asked, and then `Future.result`
            # fails in one of several ways.
            (found,) = self._client.gather([future], errors="skip") or [None]
        except OSError:
            found = None
        finally:
            future.release()
        if found is None:
            self._await_worker()  # which raises when it was not a worker that ended, but the scheduler
            return None
        if isinstance(found, dict):
            _refuse_other(found, self._about, "a worker that joined later")
            raise ShortpencilError(f"a worker lost what it was told. {WAITS}")
        return list(found)


def _in_a_line(error: BaseException) -> str:
    return one_line(f"{type(error).__name__}: {error}" if str(error) else type(error).__name__)


def _is_done(batch: _Batch) -> bool:
    return batch.future is None or bool(batch.future.done())


def _batches(files: Iterable[Photo], known: Collection[bytes]) -> Iterator[_Batch]:
    """Yield files in batches; those of this machine with their bytes, unless they are known."""
    from shortpencil.scan.vision.opening.photo import MAX_BYTES

    batch, size = _Batch([], []), 0
    for file in files:
        answer: FileResult | None = None
        photo: Url | Given
        if isinstance(file, Url):
            photo = file
        else:
            try:
                photo = Given(str(file), read_bytes(file, MAX_BYTES, "a photo"))
            except InputError as error:
                answer = FileResult(shown(file), error=str(error))
            else:
                digest = hashlib.sha256(photo.data)
                if digest.digest() in known:
                    answer = FileResult(shown(file), before=True, sha256=digest.hexdigest())
        more = len(photo.data) if answer is None and isinstance(photo, Given) else 0
        if len(batch.answers) >= BATCH_PHOTOS or (batch.photos and size + more > BATCH_BYTES):
            yield batch
            batch, size = _Batch([], []), 0
        batch.answers.append(answer)
        if answer is None:
            batch.photos.append(photo)
            size += more
    if batch.answers:
        yield batch


def _plugin(reading: _Reading) -> Any:
    """Return a plugin of distributed, which takes only children of its own class."""
    from distributed import WorkerPlugin

    parts = {
        "name": reading.name,
        "setup": lambda self, worker: reading.setup(),
        "teardown": lambda self, worker: reading.teardown(),
    }
    return type("Reading", (WorkerPlugin,), parts)()


def _question() -> Callable[[], dict[str, str]]:
    """Return a function that travels whole: a worker without shortpencil must be able to say so."""

    def about() -> dict[str, str]:
        try:
            import shortpencil
        except ImportError as error:
            return {"missing": str(error)}
        try:
            from shortpencil.scan.cluster import about_here
        except ImportError as error:
            return {"shortpencil": f"one of another version, in {shortpencil.__path__[0]}: {error}"}
        return about_here()

    return about


def _refuse_other(found: dict[str, str], wanted: dict[str, str], worker: str) -> None:
    if "missing" in found:
        raise ShortpencilError(_lacks(f"worker {worker}", found["missing"]))
    other = [name for name in sorted({*found, *wanted}) if found.get(name) != wanted.get(name)]
    if other:
        differs = "; ".join(
            f"{name} {found.get(name, 'missing')} and here {wanted.get(name, 'missing')}" for name in other
        )
        raise ShortpencilError(
            f"worker {one_line(worker)}: expected what is installed here, since results must not depend on "
            f"who reads a photo; found {one_line(differs)}. Install the same on every worker."
        )


def _lacks(worker: str, said: str) -> str:
    return (
        f"{one_line(worker)}: expected shortpencil there, found: {one_line(said)}. Install it in the Python "
        "that runs the worker, in the version that is here."
    )
