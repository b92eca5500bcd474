"""A cluster of two worker processes: the same results as one machine, a killed worker loses nothing."""

from __future__ import annotations

import ast
import base64
import gc
import os
import re
import signal
import subprocess
import sys
from collections.abc import Iterator
from datetime import datetime
from pathlib import Path
from typing import Any

import pytest

from shortpencil.forms.catalog import Catalog
from shortpencil.forms.errors import InputError, ShortpencilError
from shortpencil.scan import cluster
from shortpencil.scan.cli.main import main
from shortpencil.scan.cluster import Cluster
from shortpencil.scan.file_pages import Given
from shortpencil.scan.intake import FileResult, read_files
from shortpencil.scan.sources import Photo, Url
from shortpencil.scan.vision.seeing.known_hands import Hands

distributed = pytest.importorskip("distributed")
cloudpickle = pytest.importorskip("cloudpickle")
KilledWorker = pytest.importorskip("distributed.scheduler").KilledWorker

pytestmark = pytest.mark.filterwarnings("ignore::ResourceWarning", "ignore::DeprecationWarning")
SAMPLES = Path(__file__).parents[1] / "sample_scans"
SERIAL = "BPVCSFUA"  # of messenger_copy_1600.jpg


@pytest.fixture(scope="module")
def workers() -> Iterator[Any]:
    """Two workers of a thread each, in processes of their own, and a scheduler."""
    with distributed.LocalCluster(
        n_workers=2, threads_per_worker=1, processes=True, dashboard_address=":0", silence_logs=50
    ) as found:
        yield found


def copies(folder: Path, count: int) -> list[Photo]:
    source = (SAMPLES / "messenger_copy_1600.jpg").read_bytes()
    paths: list[Photo] = []
    for i in range(count):
        paths.append(folder / f"{i}.jpg")
        (folder / f"{i}.jpg").write_bytes(source + bytes([i]))
    return paths


def pid_of(workers: Any, number: int) -> int:
    return int(workers.workers[number].process.process.pid)


def test_workers_say_the_same_as_one_machine_though_one_is_killed(
    workers: Any, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(cluster, "BATCH_PHOTOS", 2)
    broken = tmp_path / "broken.jpg"
    broken.write_bytes(b"\xff\xd8\xff")
    photos: list[Photo] = [*copies(tmp_path, 4), broken, tmp_path / "missing.jpg"]
    catalog = Catalog(tmp_path / "forms")
    catalog.assign({SERIAL: "Wren"})
    alone = list(read_files(photos, catalog, hands=Hands({})))
    assert alone[0].readings[0].views  # the workers must know whose card it is, and do not see the folder
    with Cluster(workers.scheduler_address) as there:
        monkeypatch.setattr(Catalog, "find", None)  # nothing is read here
        results = there.read_files(photos, catalog, hands=Hands({}))
        together = [next(results)]
        os.kill(pid_of(workers, 0), signal.SIGKILL)
        together += results
    assert together == alone
    assert [r.evidence for r in together] == [r.evidence for r in alone]
    assert [one.pictures for r in together for one in r.readings] == [
        one.pictures for r in alone for one in r.readings
    ]


@pytest.fixture
def at_noon(monkeypatch: pytest.MonkeyPatch) -> None:
    """Stop the clock of `read`, so that two runs can write the same."""

    class Noon(datetime):
        @classmethod
        def now(cls, tz: Any = None) -> datetime:
            return datetime(2026, 6, 7, 12, tzinfo=tz)

    monkeypatch.setattr("shortpencil.scan.cli.reading.datetime", Noon)


def read(capsys: pytest.CaptureFixture[str], *args: object) -> tuple[int, str, str]:
    capsys.readouterr()
    code = main(["read", *map(str, args)])
    return code, *capsys.readouterr()


def exported(store: Path, folder: Path) -> tuple[int, dict[str, bytes]]:
    """The exit code, 1 where a field still waits for somebody, and the files written."""
    code = main(["export", str(folder), "--store", str(store)])
    assert code in (0, 1)
    return code, {path.name: path.read_bytes() for path in sorted(folder.iterdir())}


@pytest.mark.usefixtures("at_noon")
def test_json_and_export_are_the_same_to_the_byte_also_when_the_run_was_ended_half_way(
    workers: Any, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setenv("SHORTPENCIL_HOME", str(tmp_path / "home"))
    first, *others = copies(tmp_path, 2)
    photos = [first, *others, SAMPLES / "half_out_of_picture_blurred.jpg", SAMPLES / "plain_good_light.jpg"]
    names = tmp_path / "photos.txt"
    names.write_text("\n".join([str(photos[0]), "", *(f"file://{photo}" for photo in photos[1:])]))
    one, two = tmp_path / "one.sqlite", tmp_path / "two.sqlite"
    code, alone, _ = read(capsys, "--list", names, "--store", one, "--json")
    again = ("--list", names, "--store", two, "--json", "--cluster", workers.scheduler_address, "--resume")
    Path(tmp_path / "begun.txt").write_text("\n".join(names.read_text().split("\n")[:3]))
    assert read(capsys, "--list", tmp_path / "begun.txt", *again[2:])[0] in (0, 1)
    assert read(capsys, *again)[:2] == (code, alone)
    assert exported(one, tmp_path / "a") == exported(two, tmp_path / "b")
    _, told, said = read(capsys, *again[:4], *again[5:])
    assert told.count("read before, nothing changes") == 3
    assert "3 read before" in said  # the one that cannot be read is tried again


def test_one_machine_goes_on_where_it_was_ended_and_says_the_same(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setenv("SHORTPENCIL_HOME", str(tmp_path / "home"))
    photo, store = SAMPLES / "messenger_copy_1600.jpg", tmp_path / "one.sqlite"
    _, whole, _ = read(capsys, photo, "--store", store, "--json")
    monkeypatch.setattr("shortpencil.scan.crew.Crew.read", None)  # nothing is read
    assert read(capsys, photo, "--store", store, "--json", "--resume")[1] == whole


# -- what can go wrong ---------------------------------------------------------------------------------------


def test_nobody_at_the_address(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(cluster, "CONNECT_S", 0.5)
    for address in ("tcp://127.0.0.1:9", "nonsense://", "127.0.0.1"):
        with pytest.raises(InputError, match="expected the scheduler of a cluster, found nobody who answers"):
            Cluster(address)


def test_the_extra_is_missing(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(sys.modules, "distributed", None)
    with pytest.raises(InputError, match=r"shortpencil\[cluster\]"):
        Cluster("tcp://127.0.0.1:9")


def test_a_worker_with_another_version_is_named(workers: Any, monkeypatch: pytest.MonkeyPatch) -> None:
    here = cluster.about_here()
    monkeypatch.setattr(cluster, "about_here", lambda: {**here, "numpy": "0.1"})
    with pytest.raises(ShortpencilError, match=r"worker tcp://\S+: .* found numpy \S+ and here 0\.1\."):
        Cluster(workers.scheduler_address)


def test_a_worker_without_shortpencil_can_say_so() -> None:
    # The question travels whole: it is asked here in a Python where nothing of ours can be imported.
    code = (
        "import sys, pickle, base64; sys.modules['shortpencil'] = None; "
        "print(pickle.loads(base64.b64decode(sys.argv[1]))())"
    )
    words = base64.b64encode(cloudpickle.dumps(cluster._question())).decode()
    said = subprocess.run(
        [sys.executable, "-c", code, words], capture_output=True, text=True, check=True
    ).stdout
    found = ast.literal_eval(said)
    with pytest.raises(ShortpencilError, match="worker tcp://w:1: expected shortpencil there, found"):
        cluster._refuse_other(found, cluster.about_here(), "tcp://w:1")


def test_no_worker_comes(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(cluster, "NO_WORKER_S", 0.5)
    with (
        distributed.LocalCluster(n_workers=0, processes=False, dashboard_address=":0") as empty,
        pytest.raises(ShortpencilError, match=r"expected a worker, found none .* --resume"),
    ):
        Cluster(empty.scheduler_address)


class _Ends:
    """A future whose task ended by an error, or that was lost with its worker."""

    def __init__(self, error: Exception | None) -> None:
        self.error = error
        self.status = "cancelled" if error is None else "error"

    def done(self) -> bool:
        return True

    def exception(self) -> Exception | None:
        return self.error

    def release(self) -> None:
        """Nothing is held."""


class _Client:
    """A client whose tasks end so; `ncores` answers as long as the scheduler is there."""

    def __init__(self, error: Exception | None, *, scheduler: bool = True) -> None:
        self.error, self.scheduler = error, scheduler
        self.sent: list[object] = []

    def scatter(self, data: list[object], **_: object) -> list[object]:
        return data

    def submit(self, task: object, call: str, photos: object, **_: object) -> _Ends:
        self.sent.append(photos)
        return _Ends(self.error)

    def gather(self, futures: list[object], errors: str) -> list[object]:
        assert errors == "skip"
        return []

    def ncores(self) -> dict[str, int]:
        if not self.scheduler:
            raise OSError
        return {"tcp://w:1": 1}


def ending(error: Exception | None, *, scheduler: bool = True) -> tuple[Cluster, _Client]:
    """A cluster in which every task ends so, and what was sent there."""
    there = Cluster.__new__(Cluster)
    client = _Client(error, scheduler=scheduler)
    there._address, there._about, there._client = "tcp://w:1", {}, client  # type: ignore[assignment]
    return there, client


@pytest.mark.parametrize("error", [KilledWorker("task", None, 3), None])
def test_a_batch_that_ends_its_workers_is_tried_photo_by_photo(error: Exception | None) -> None:
    there, client = ending(error)
    photos: list[Url | Given] = [Url("s3://a/1.jpg"), Given("2.jpg", b"")]
    batch = cluster._Batch(photos, [None, FileResult("known.jpg", before=True), None])
    results = list(there._results("call", batch))
    assert [r.path for r in results] == ["s3://a/1.jpg", "known.jpg", "2.jpg"]
    assert all("every worker that tried has ended" in str(results[at].error) for at in (0, 2))
    often = cluster.MOST_ROUNDS
    assert client.sent == [photos] * often + [[photos[0]]] * often + [[photos[1]]] * often


def test_an_error_that_nobody_foresaw_costs_the_photo_over_which_it_arose() -> None:
    there, client = ending(ZeroDivisionError("by\nnothing"))
    photos: list[Url | Given] = [Url("s3://a/1.jpg"), Given("2.jpg", b"")]
    results = list(there._results("call", cluster._Batch(photos, [None, None])))
    assert [r.path for r in results] == ["s3://a/1.jpg", "2.jpg"]
    assert results[1].error == (
        "2.jpg: expected that a worker reads it, found an error that nobody foresaw: ZeroDivisionError: "
        "by\\u000anothing. Read it again, or on one machine."
    )
    assert client.sent == [photos, [photos[0]], [photos[1]]]  # tried once: what broke breaks again


def break_over(name: str) -> None:
    """On a worker: raise what nobody foresaw over one photo; an empty name mends it."""
    from shortpencil.scan import cluster, intake

    def read_one(crew: Any, photo: Any, known: Any) -> FileResult:
        if Path(photo.name).name == name:
            raise ZeroDivisionError("by nothing")
        return intake.read_one(crew, photo, known)

    cluster.read_one = read_one if name else intake.read_one


def test_a_worker_that_breaks_over_a_photo_ends_neither_the_others_nor_the_command(
    workers: Any, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setenv("SHORTPENCIL_HOME", str(tmp_path / "home"))
    photos = copies(tmp_path, 3)
    cloudpickle.register_pickle_by_value(sys.modules[__name__])
    with distributed.Client(workers.scheduler_address, set_as_default=False) as client:
        client.run(break_over, "1.jpg")
        try:
            command = ["read", "--cluster", workers.scheduler_address, *map(str, photos)]
            assert main(command) == 2
        finally:
            client.run(break_over, "")
    told = capsys.readouterr()
    assert f"card {SERIAL}" in told.out
    assert "1.jpg: expected that a worker reads it, found an error that nobody foresaw: Zero" in told.err
    assert "3 photos: 1 card (1 new), 1 not opened" in told.err


@pytest.mark.parametrize(
    ("error", "says"),
    [
        (None, "its scheduler is gone. What was stored stays stored"),
        (ModuleNotFoundError("No module named 'scan'"), "expected shortpencil there, found: No module"),
    ],
)
def test_what_ends_the_call_is_said(error: Exception | None, says: str) -> None:
    there, _ = ending(error, scheduler=False)
    with pytest.raises(ShortpencilError, match=re.escape(says)):
        there._read("call", cluster._Batch([Url("s3://a/1.jpg")], [None]))


def test_photos_do_not_stay_in_memory(workers: Any, tmp_path: Path) -> None:
    # The scheduler of these workers lives in this process, so what it keeps is found here, too.
    photos: list[Photo] = [tmp_path / f"{i}.jpg" for i in range(40)]
    for photo in photos:
        assert isinstance(photo, Path)
        photo.write_bytes(b"no picture")
    with Cluster(workers.scheduler_address) as there:
        assert sum(r.error is not None for r in there.read_files(photos, Catalog(tmp_path))) == 40
        gc.collect()
        assert not [one for one in gc.get_objects() if isinstance(one, Given) and one.data == b"no picture"]
