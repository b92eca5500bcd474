"""Files from anywhere, read with limits and written whole; the only place here that opens them.

Only ordinary files are read: a named pipe may never answer, a device may never end. What is written goes
where a Unix program would put it: through a symbolic link to the file behind it, straight into a pipe or a
device, to standard output for ``-``; an ordinary file is there whole or not at all and keeps its mode.
"""

from __future__ import annotations

import json
import os
import re
import stat
import sys
import tempfile
import tomllib
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from itertools import pairwise
from pathlib import Path
from typing import IO, Any, BinaryIO

from shortpencil.forms.errors import InputError
from shortpencil.forms.shown import found, path_text
from shortpencil.scan.language import N_, carried

try:
    import fcntl
except ImportError:  # not on Windows
    fcntl = None  # type: ignore[assignment]

MOST_TEXT_BYTES = 16 * 2**20  # a field map is 200 kB, a roster of a large club 20 kB
#: The longest number that a text may hold: 15 digits are what a float keeps, and Python takes seconds over
#: some thousands of digits.
MOST_DIGITS = 18
_TOO_DEEP = N_("tables or brackets nested deeper than anybody writes")
STDOUT = Path("-")
_KINDS = (
    (stat.S_ISDIR, N_("a folder")),
    (stat.S_ISFIFO, N_("a named pipe")),
    (stat.S_ISSOCK, N_("a socket")),
    (stat.S_ISCHR, N_("a device")),
    (stat.S_ISBLK, N_("a device")),
)


def read_bytes(path: Path, most_bytes: int, what: str = N_("a file")) -> bytes:
    """Return what an ordinary file holds.

    Parameters
    ----------
    most_bytes : a larger file is refused
    what : what was expected, for messages

    Raises
    ------
    InputError
        when it is missing, may not be read, is too large, or is a folder, a pipe or a device
    """
    name = path_text(path)
    try:
        mode = os.stat(path).st_mode
        if stat.S_ISDIR(mode):
            os.scandir(path).close()  # one that may not be looked into says so
        _refuse_odd(mode, name, what)
        # Not to wait, should a pipe have taken the file's place since.
        handle = os.open(path, os.O_RDONLY | getattr(os, "O_NONBLOCK", 0) | getattr(os, "O_BINARY", 0))
        with os.fdopen(handle, "rb") as stream:
            _refuse_odd(os.fstat(handle).st_mode, name, what)
            size = os.fstat(handle).st_size
            data = _all_in(stream, size, most_bytes) if size <= most_bytes else b""
    except (OSError, ValueError) as error:  # ValueError: a name with a zero byte
        raise InputError(f"{name}: cannot be read: {getattr(error, 'strerror', None) or error}.") from error
    size = max(size, len(data))  # some files of the system say 0 and hold more
    if size > most_bytes:
        raise InputError(
            f"{name}: expected at most {most_bytes // 2**20} MiB, found {size // 2**20} MiB. Split the file, "
            "or make it smaller."
        )
    return data


def _all_in(stream: BinaryIO, size: int, most_bytes: int) -> bytes:
    """Return what a file holds that says its size, and at most a byte more than `most_bytes`.

    Asked for the most at once, Python would lay out room for that.
    """
    data = stream.read(size + 1)
    return data if len(data) <= size else data + stream.read(most_bytes - size)


def _refuse_odd(mode: int, name: str, what: str) -> None:
    if stat.S_ISREG(mode):
        return
    kind = next((words for is_kind, words in _KINDS if is_kind(mode)), "something else")
    raise InputError(f"{name}: expected {what}, found {kind}. Save it as a file and name that.")


def is_ordinary(path: Path) -> bool:
    """Say whether there is an ordinary file that can be opened without waiting."""
    try:
        return stat.S_ISREG(os.stat(path).st_mode)
    except (OSError, ValueError):
        return False


def read_text(path: Path, most_bytes: int = MOST_TEXT_BYTES) -> str:
    """Return a UTF-8 file's text; InputError when it is missing, no ordinary file, too large, or no text."""
    data = read_bytes(path, most_bytes)
    try:
        return data.decode("utf-8")
    except UnicodeDecodeError as error:
        raise InputError(
            f"{path_text(path)}: expected UTF-8 text, found a byte that is none at {error.start}. "
            "Save it as UTF-8."
        ) from error


def parsed_toml(text: str, source: str, what: str) -> dict[str, Any]:
    """Return the tables of a TOML text.

    Raises
    ------
    InputError
        when it is none, or holds numbers or nesting that nobody wrote on purpose
    """
    try:
        data = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise InputError(
            f"{source}: expected {what} in TOML, found a syntax error: {_short(error)}."
        ) from error
    except (ValueError, OverflowError) as error:  # of a number or a date inside it
        raise InputError(
            f"{source}: expected {what} in TOML, found a number or a date that is none: {_short(error)}."
        ) from error
    except RecursionError:
        raise InputError(f"{source}: expected {what} in TOML, found {_TOO_DEEP}.") from None
    try:
        _refuse_large_numbers(data)
    except ValueError as error:
        raise InputError(f"{source}: expected {what}, found {error}.") from error
    except RecursionError:
        raise InputError(f"{source}: expected {what} in TOML, found {_TOO_DEEP}.") from None
    return data


def _refuse_large_numbers(data: object) -> None:
    """Refuse whole numbers beyond what any value may be: TOML's own form of hexadecimal has no limit."""
    if isinstance(data, dict):
        for value in data.values():
            _refuse_large_numbers(value)
    elif isinstance(data, list):
        for value in data:
            _refuse_large_numbers(value)
    elif isinstance(data, int) and abs(data) >= 10**MOST_DIGITS:
        raise ValueError(f"a number of more than {MOST_DIGITS} digits")


def parsed_json(text: str, source: str, what: str = "JSON") -> Any:
    """Return the value of a JSON text (RFC 8259), its keys unique, its whole numbers ones that can be kept.

    Raises
    ------
    InputError
        naming the line where it is no JSON, or what in it is not allowed
    """
    try:
        return json.loads(text, parse_constant=_no_such_number, parse_int=_whole, object_pairs_hook=_once)
    except json.JSONDecodeError as error:
        there = text[error.pos : error.pos + 20].split("\n", 1)[0].strip()
        if not text[: error.pos].strip():
            here = found(there) if there else carried("nothing")
            raise InputError(
                f"{source}: expected {what}, found at its very start {here}. Name another file."
            ) from error
        here = found(there) if there else carried("the end of the file or of the line")
        raise InputError(
            f"{source}, line {error.lineno}, sign {error.colno}: expected {what}, found {here}. Often a "
            "comma, a bracket or a quotation mark is missing before it."
        ) from error
    except ValueError as error:
        raise InputError(f"{source}: expected {what}, found: {_short(error)}.") from error
    except RecursionError:
        raise InputError(f"{source}: expected {what}, found {_TOO_DEEP}.") from None


def _no_such_number(name: str) -> None:
    raise ValueError(f"{name} is no number of JSON (RFC 8259)")


def _whole(text: str) -> int:
    if len(text) > MOST_DIGITS:
        raise ValueError(f"a number of {len(text.lstrip('-'))} digits; at most {MOST_DIGITS} are taken")
    return int(text)


def _once(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    made = dict(pairs)
    if len(made) != len(pairs):
        keys = sorted(key for key, _ in pairs)
        twice = next(key for key, following in pairwise(keys) if key == following)
        raise ValueError(f"the key {found(twice)} stands twice in one object")
    return made


def _short(error: Exception) -> str:
    """Return a library's words cut to a line; Python's hint at its own settings helps nobody here."""
    text = " ".join(str(error).split()).rstrip(".")
    if "integer string conversion" in text:
        return "a number with thousands of digits"
    return text if len(text) <= 120 else f"{text[:119]}…"


# -- writing ---------------------------------------------------------------------------------------------


def write_whole(path: Path, data: bytes, *, private: bool = False) -> None:
    """Write a file so that it is there whole or not at all: temporary file, sync, rename.

    A symbolic link stays one and its target is written; a file keeps its mode; a pipe or a device, which
    cannot be replaced, gets the bytes as they are, and so does standard output for ``-``.

    Parameters
    ----------
    private : a new file and a new folder are for their owner's eyes only, else as the umask says

    Raises
    ------
    InputError
        when it cannot be written
    """
    try:
        if path == STDOUT:
            sys.stdout.flush()
            sys.stdout.buffer.write(data)
            sys.stdout.buffer.flush()
            return
        if _takes_bytes_only(path):
            with open(path, "wb") as stream:
                stream.write(data)
            return
        target = Path(os.path.realpath(path))
        target.parent.mkdir(parents=True, exist_ok=True, mode=0o700 if private else 0o777)
        mode = _mode_of(target, private)
        clear_unfinished(target.parent, target.name)
        for _ in range(3):
            with suppress(FileNotFoundError):  # taken for left over, between being made and being locked
                _replace(target, data, mode)
                return
        _replace(target, data, mode)
    except BrokenPipeError:
        raise
    except (OSError, ValueError) as error:
        why = getattr(error, "strerror", None) or error
        raise InputError(f"{path_text(path)}: cannot be written: {why}. Choose another place.") from error


@contextmanager
def whole_file(path: Path) -> Iterator[BinaryIO]:
    """Give a stream whose bytes are at `path` whole when the block ends, and not at all when it raises.

    For what is too large to be made in memory and then given to `write_whole`; the rules are the same.

    Raises
    ------
    InputError
        when it cannot be written
    """
    try:
        if _takes_bytes_only(path):
            with open(path, "wb") as direct:
                yield direct
            return
        target = Path(os.path.realpath(path))
        target.parent.mkdir(parents=True, exist_ok=True)
        mode = _mode_of(target, private=False)
        clear_unfinished(target.parent, target.name)
        temporary, stream = _unfinished(target)
        try:
            with stream:
                yield stream
                stream.flush()
                os.chmod(temporary, mode)
                os.fsync(stream.fileno())
                _put_in_place(stream, temporary, target)
        except BaseException:
            with suppress(FileNotFoundError):
                os.unlink(temporary)
            raise
    except BrokenPipeError:
        raise
    except OSError as error:
        raise InputError(
            f"{path_text(path)}: cannot be written: {error.strerror or error}. Choose another place."
        ) from error


def _unfinished(target: Path) -> tuple[str, BinaryIO]:
    """Make and lock a file beside its target that `clear_unfinished` of other programs leaves alone."""
    while True:
        handle, temporary = tempfile.mkstemp(dir=target.parent, prefix=f".{target.name[:200]}.")
        stream = os.fdopen(handle, "wb")
        if fcntl is not None:
            with suppress(OSError):  # some network file systems know no locks
                fcntl.flock(stream, fcntl.LOCK_EX | fcntl.LOCK_NB)
        if os.path.exists(temporary):  # else taken for left over, between being made and being locked
            return temporary, stream
        stream.close()


def _put_in_place(stream: IO[bytes], temporary: str, target: Path) -> None:
    """Put a file that is written and still locked in place of its target."""
    if fcntl is None:  # Windows renames no file that is open, and has no lock to lose
        stream.close()
    os.replace(temporary, target)


def _takes_bytes_only(path: Path) -> bool:
    """Say whether a path names a pipe, a device or something already open, all of which have no whole."""
    try:
        mode = os.stat(path).st_mode
    except OSError:
        return False
    is_open = os.path.abspath(path).startswith(("/dev/fd/", "/dev/std", "/proc/"))
    return is_open or not (stat.S_ISREG(mode) or stat.S_ISDIR(mode))


def _mode_of(target: Path, private: bool) -> int:
    """Return the mode that the file at `target` has or a new one gets; refuse what may not be written."""
    try:
        mode = stat.S_IMODE(os.stat(target).st_mode)
    except FileNotFoundError:
        umask = os.umask(0)
        os.umask(umask)
        return 0o600 if private else 0o666 & ~umask
    if not os.access(target, os.W_OK):
        raise PermissionError(13, os.strerror(13))
    return mode


def _replace(target: Path, data: bytes, mode: int) -> None:
    handle, temporary = tempfile.mkstemp(dir=target.parent, prefix=f".{target.name[:200]}.")
    try:
        with os.fdopen(handle, "wb") as stream:
            if fcntl is not None:
                with suppress(OSError):  # some network file systems know no locks
                    fcntl.flock(stream, fcntl.LOCK_EX | fcntl.LOCK_NB)
            stream.write(data)
            stream.flush()
            os.chmod(temporary, mode)  # mkstemp makes files that only the owner may read
            os.fsync(stream.fileno())
            _put_in_place(stream, temporary, target)
    except BaseException:
        with suppress(FileNotFoundError):
            os.unlink(temporary)
        raise


def clear_unfinished(folder: Path, name: str | None = None) -> int:
    """Remove what killed programs left of files they were writing in a folder; return how many.

    A file being written is locked by its writer, and whoever is alive keeps its lock.

    Parameters
    ----------
    folder : where to look; nothing happens when there is none
    name : only what was to become the file of this name
    """
    if fcntl is None:
        return 0
    kept = re.escape(f".{name[:200]}.") if name is not None else r"\..+\.(json|pdf|png|csv|html)\."
    pattern = re.compile(f"{kept}[a-z0-9_]{{8}}")
    removed = 0
    try:
        entries = [entry for entry in os.scandir(folder) if pattern.fullmatch(entry.name)]
    except OSError:
        return 0
    for entry in entries:
        with suppress(OSError):
            if entry.is_file(follow_symlinks=False) and _is_left_over(entry):
                os.unlink(entry.path)
                removed += 1
    return removed


def _is_left_over(entry: os.DirEntry[str]) -> bool:
    handle = os.open(entry.path, os.O_RDONLY | os.O_NOFOLLOW)
    try:
        fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except BlockingIOError:
        return False
    finally:
        os.close(handle)
    return True
