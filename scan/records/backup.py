"""All that is kept in one file, and back: the store, the printed forms, which printed card is whose.

The file is a ZIP archive: the store as one SQLite file, the field maps and the cards' owners as JSON
files, and a list that names the SHA-256 of each. The store is copied by SQLite's own online backup, one
state of it whoever else reads or writes meanwhile. What is copied is checked before it counts, both ways, and
what was there before stays until the new is whole.
"""

from __future__ import annotations

import hashlib
import json
import os
import re
import shutil
import sqlite3
import tempfile
import zipfile
import zlib
from collections.abc import Iterator, Mapping
from contextlib import closing, contextmanager, suppress
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import IO, Any

from shortpencil.forms.errors import InputError, OutOfReach, RecordError
from shortpencil.forms.files import write_whole
from shortpencil.forms.private import private_file, private_folder
from shortpencil.scan.records.store import Store, open_store
from shortpencil.scan.records.storing.turns import BUSY_MS

try:
    import fcntl
except ImportError:  # not on Windows
    fcntl = None  # type: ignore[assignment]

BACKUP_SCHEMA = 1
LIST, STORE = "backup.json", "rounds.sqlite"
_FORM = re.compile(r"forms/(cards/)?[A-Za-z0-9_-]{1,100}\.json")
_WORK = ".shortpencil-work."  # folders of a backup or restore under way
_LOCK = "lock"
_MOST_LIST_BYTES = 64 * 2**20  # some 120 bytes a file
_MOST_FORM_BYTES = 16 * 2**20  # a field map has 200 kB
_CHUNK_BYTES = 2**20


@dataclass(frozen=True, slots=True)
class Contents:
    """How much a backup holds, and when it was made (UTC)."""

    made_at: datetime
    rounds: int
    cards: int
    forms: int
    printed_cards: int


def write_backup(target: Path, store: Store, forms: Path, made_at: datetime) -> Contents:
    """Write all that is kept into one new file, for its owner's eyes only.

    Parameters
    ----------
    target : the file to make
    store : a store in a file; others may use it meanwhile
    forms : the folder of field maps and of whose the printed cards are
    made_at : the time, with a time zone

    Raises
    ------
    InputError
        when there is such a file already, or it cannot be written
    RecordError
        when the store is not sound, or on a server, which has tools of its own
    """
    if target.exists():
        raise InputError(f"{target}: expected a new file, found one that is there. Name another.")
    with _in_words(target), _work_folder(target.parent) as work:
        copy = work / STORE
        store.copy_to(copy)
        with open_store(copy) as copied:
            _refuse_damaged(copied, store.name)
            rounds, cards = copied.size()
        _without_log(copy)
        files = {STORE: copy, **_forms_in(forms)}
        made = Contents(
            made_at.astimezone(UTC).replace(microsecond=0),
            rounds,
            cards,
            sum(name.count("/") == 1 and not name.startswith("forms/course-") for name in files),
            sum(name.startswith("forms/cards/") for name in files),
        )
        whole = work / "whole.zip"
        with zipfile.ZipFile(whole, "w", zipfile.ZIP_DEFLATED) as archive:
            sums = {name: _packed(archive, name, path) for name, path in sorted(files.items())}
            # By way of a file, as the others: `writestr` refuses a clock that was never set and says 1970.
            listed = work / LIST
            listed.write_text(json.dumps(_list_json(made, sums), indent=1, ensure_ascii=False), "utf-8")
            _packed(archive, LIST, listed)
        _synced(whole)
        os.rename(whole, target)
        _synced_folder(target.parent)
    return made


def restore(source: Path, store: Path, forms: Path) -> Contents:
    """Put what a backup holds in place of a store, and its forms beside those that are there.

    The backup is unpacked beside the store and checked first. The store is then replaced in one transaction,
    so that a program that has it open, or a restore that is killed, sees the old one or the new one.

    Raises
    ------
    InputError
        when the file is no backup or not whole
    RecordError
        when its store is damaged or of a newer version, or the place cannot be written
    """
    with _in_words(store), _work_folder(store.parent) as work:
        with _opened(source) as archive:
            made, sums = _list_of(source, archive)
            for name, expected in sums.items():
                _unpack(source, archive, name, expected, work / name)
        with open_store(work / STORE) as copied:
            _refuse_damaged(copied, str(source))
        _without_log(work / STORE)
        for name in sorted(sums):
            if name != STORE:  # forms first: the store must never know a card whose form is missing
                path = forms.joinpath(*name.split("/")[1:])
                private_folder(path.parent)
                write_whole(path, (work / name).read_bytes(), private=True)
        private_file(store)
        with closing(_connected(work / STORE)) as new, closing(_connected(store)) as old:
            new.backup(old)
    with open_store(store):  # gives it its write-ahead log back
        pass
    return made


def put_in_place(
    source: Path, place: Path, forms: Path, now: datetime, *, replace: bool
) -> tuple[Contents, Path | None]:
    """Put a backup in place of a store; return what it held, and where what was there before is kept.

    Raises
    ------
    RecordError
        when the store holds anything and `replace` was not said
    """
    kept = None
    if not is_empty(place):
        if not replace:
            raise RecordError(
                f"{place}: expected no store yet, found one that holds cards or rounds. Nothing was changed; "
                "say --replace to put the backup in its place."
            )
        check_backup(source)
        kept = set_aside(place, forms, now)
    try:
        return restore(source, place, forms), kept
    except BaseException:
        # What was moved as it was, damaged, is better than nothing there.
        if kept is not None and kept.suffix == place.suffix:
            _move(kept, place)
        raise


def check_backup(source: Path) -> Contents:
    """Return what the list of a backup says; InputError when the file is none."""
    with _opened(source) as archive:
        return _list_of(source, archive)[0]


def is_empty(store: Path) -> bool:
    """Say whether there is no store in a file yet, or one that holds no card and no round."""
    if not store.exists() or store.stat().st_size == 0:
        return True
    try:
        with open_store(store) as opened:
            return opened.size() == (0, 0)
    except OutOfReach:
        raise
    except RecordError:  # damaged, or something else
        return False


def set_aside(store: Path, forms: Path, now: datetime) -> Path:
    """Keep what a store holds in a new file beside it, as a backup, or as it is where it is damaged."""
    stem = f"{store.stem}-before-{now.astimezone(UTC):%Y%m%dT%H%M%SZ}"
    names = (f"{stem}.zip", *(f"{stem}-{number}.zip" for number in range(2, 1000)))  # twice in a second
    kept = next(path for path in map(store.with_name, names) if not path.exists())
    try:
        with open_store(store) as opened:
            write_backup(kept, opened, forms, now)
    except OutOfReach:  # a sound store, as far as anybody knows, and perhaps in use: never to be moved away
        raise
    except RecordError:
        kept = kept.with_suffix(store.suffix)
        with _in_words(store):
            _move(store, kept)
    return kept


def _move(store: Path, to: Path) -> None:
    """Move a store with what SQLite keeps beside it, in place of what may be there."""
    for end in ("-wal", "-shm", ""):
        Path(f"{to}{end}").unlink(missing_ok=True)
        with suppress(FileNotFoundError):
            os.rename(f"{store}{end}", f"{to}{end}")


# -- the archive -----------------------------------------------------------------------------------------


def _list_json(made: Contents, sums: Mapping[str, str]) -> dict[str, Any]:
    return {
        "shortpencil_backup": BACKUP_SCHEMA,
        "made_at": made.made_at.isoformat(),
        "rounds": made.rounds,
        "cards": made.cards,
        "forms": made.forms,
        "printed_cards": made.printed_cards,
        "sha256": dict(sums),
    }


def _forms_in(folder: Path) -> dict[str, Path]:
    """Return the files of a folder of forms by the names they have in a backup."""
    found = [*folder.glob("*.json"), *(folder / "cards").glob("*.json")]
    named = {f"forms/{path.relative_to(folder).as_posix()}": path for path in found}
    return {name: path for name, path in named.items() if _FORM.fullmatch(name) and path.is_file()}


def _packed(archive: zipfile.ZipFile, name: str, path: Path) -> str:
    """Put a file into an archive; return its SHA-256."""
    about = zipfile.ZipInfo.from_file(path, name, strict_timestamps=False)
    about.compress_type, about.external_attr = zipfile.ZIP_DEFLATED, 0o600 << 16
    with path.open("rb") as stream, archive.open(about, "w") as packed:
        return _copied(stream, packed)


@contextmanager
def _opened(source: Path) -> Iterator[zipfile.ZipFile]:
    try:
        with zipfile.ZipFile(source) as archive:
            yield archive
    except (zipfile.BadZipFile, zlib.error, EOFError, NotImplementedError, RuntimeError) as error:
        raise InputError(
            f"{source}: expected a whole backup, found a file that is none or was cut: {error}. Take another."
        ) from error
    except OSError as error:
        raise InputError(f"{source}: cannot be read: {error.strerror or error}.") from error


def _list_of(source: Path, archive: zipfile.ZipFile) -> tuple[Contents, dict[str, str]]:
    """Return what the list in a backup says: its contents, and name -> SHA-256 of each file."""
    try:
        about = archive.getinfo(LIST)
        if about.file_size > _MOST_LIST_BYTES:
            raise ValueError("its list is too long")
        data = json.loads(archive.read(about))
        if data["shortpencil_backup"] != BACKUP_SCHEMA:
            raise ValueError(
                f"it is of version {data['shortpencil_backup']}, this program knows {BACKUP_SCHEMA}"
            )
        sums = {str(name): str(value) for name, value in data["sha256"].items()}
        numbers = [int(data[name]) for name in ("rounds", "cards", "forms", "printed_cards")]
        made = Contents(datetime.fromisoformat(data["made_at"]), *numbers)
    except (KeyError, ValueError, TypeError, AttributeError, RecursionError) as error:
        raise InputError(
            f"{source}: expected a backup of shortpencil, found something else ({error})."
        ) from error
    if STORE not in sums or not all(name == STORE or _FORM.fullmatch(name) for name in sums):
        raise InputError(f"{source}: expected a backup of shortpencil, found other files in its list.")
    return made, sums


def _unpack(source: Path, archive: zipfile.ZipFile, name: str, expected: str, path: Path) -> None:
    private_folder(path.parent)
    try:
        about = archive.getinfo(name)
    except KeyError:
        raise InputError(f"{source}: expected {name}, as its list says, found none. Take another.") from None
    if name != STORE and about.file_size > _MOST_FORM_BYTES:
        raise InputError(
            f"{source}: expected {name} in at most {_MOST_FORM_BYTES // 2**20} MiB, found "
            f"{about.file_size // 2**20} MiB. Take another."
        )
    free, wanted = shutil.disk_usage(path.parent).free // 2**20, -(-about.file_size // 2**20)
    if wanted > free:
        raise OutOfReach(
            f"{source}: expected room for {wanted} MiB beside the store, found {free} MiB. Make room, and "
            "try again."
        )
    with archive.open(about) as packed, _in_words(path), path.open("wb") as stream:
        if _copied(packed, stream) != expected:
            raise InputError(
                f"{source}: expected {name} as it was packed, found it changed. Take another backup."
            )


def _copied(source: IO[bytes], target: IO[bytes]) -> str:
    """Copy all bytes; return their SHA-256."""
    digest = hashlib.sha256()
    while chunk := source.read(_CHUNK_BYTES):
        digest.update(chunk)
        target.write(chunk)
    return digest.hexdigest()


# -- files and the database ------------------------------------------------------------------------------


@contextmanager
def _in_words(place: Path) -> Iterator[None]:
    try:
        yield
    except sqlite3.OperationalError as error:  # of disk, rights or locks; that of a damaged file is another
        raise OutOfReach(f"{place}: the database refused: {error}. Nothing was changed.") from error
    except sqlite3.Error as error:
        raise RecordError(f"{place}: the database refused: {error}. Nothing was changed.") from error
    except OSError as error:
        raise OutOfReach(
            f"{place}: cannot be written: {error.strerror or error}. Nothing was changed; try another place."
        ) from error


@contextmanager
def _work_folder(parent: Path) -> Iterator[Path]:
    """Give a folder of our own beside what is made; removes what killed programs left of theirs."""
    private_folder(parent)
    clear_work(parent)
    work = Path(tempfile.mkdtemp(dir=parent, prefix=_WORK))
    try:
        with (work / _LOCK).open("wb") as lock:
            if fcntl is not None:
                with suppress(OSError):  # some network file systems know no locks
                    fcntl.flock(lock, fcntl.LOCK_EX | fcntl.LOCK_NB)
            yield work
    finally:
        _remove(work)


def clear_work(parent: Path) -> None:
    """Remove what killed backups and restores left in a folder: it may hold a copy of the whole store."""
    for old in parent.glob(f"{_WORK}*"):
        if _is_left_over(old):
            _remove(old)


def _remove(work: Path) -> None:
    """Remove a folder, its lock last, so that one whose removal is killed is known for what it is."""
    with suppress(OSError):
        for path in work.iterdir():
            if path.is_dir() and not path.is_symlink():
                shutil.rmtree(path, ignore_errors=True)
            elif path.name != _LOCK:
                path.unlink()
    shutil.rmtree(work, ignore_errors=True)


def _is_left_over(work: Path) -> bool:
    """Say whether nobody works in a folder any more: whoever is alive keeps its lock."""
    if fcntl is None:
        return False
    try:
        with (work / _LOCK).open("rb") as lock:
            fcntl.flock(lock, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except FileNotFoundError:  # killed, or only just made
        with suppress(OSError):
            return datetime.now(UTC).timestamp() - work.stat().st_mtime > 60
        return False
    except OSError:
        return False
    return True


def _refuse_damaged(store: Store, name: str) -> None:
    found = store.damages()
    if found:
        more = f" and {len(found) - 1} more" if len(found) > 1 else ""
        raise RecordError(
            f"{name}: expected a sound store, found damage: {found[0]}{more}. Nothing was written. "
            "`shortpencil check` says all of it."
        )


def _connected(path: Path) -> sqlite3.Connection:
    return sqlite3.connect(path, timeout=BUSY_MS / 1000, isolation_level=None)


def _without_log(path: Path) -> None:
    """Make a store one file, without a write-ahead log beside it."""
    with closing(_connected(path)) as connection:
        connection.execute("PRAGMA journal_mode = DELETE")


def _synced(path: Path) -> None:
    os.chmod(path, 0o600)
    with path.open("rb+") as stream:
        os.fsync(stream.fileno())


def _synced_folder(folder: Path) -> None:
    try:
        handle = os.open(folder, os.O_RDONLY)
    except PermissionError:  # Windows opens no folder, and needs none synced
        return
    try:
        with suppress(OSError):
            os.fsync(handle)
    finally:
        os.close(handle)
