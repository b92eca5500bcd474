"""Where photos come from: files, folders, URLs of any store that fsspec opens, lists of all these.

A path is a file of this machine. A URL (``s3://…``, ``https://…``, ``file:///…``) is opened by whoever reads
the photo: on a cluster by the worker, so that the bytes need not pass through one machine.
"""

from __future__ import annotations

import os
import stat
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from shortpencil.forms.errors import InputError
from shortpencil.forms.files import read_bytes
from shortpencil.forms.shown import one_line, path_text

#: Endings that are taken from a folder; a file named on the command line is opened whatever its name.
PHOTO_ENDINGS = (".jpg", ".jpeg", ".png", ".tif", ".tiff", ".webp", ".heic", ".heif", ".avif", ".pdf")
MOST_LIST_BYTES = 2**29  # some millions of names


@dataclass(frozen=True, slots=True)
class Url:
    """A photo, or a folder of photos, that fsspec opens."""

    text: str


Photo = Path | Url


def photo_named(text: str) -> Photo:
    """Return what a word of the command line, or a line of a list, names."""
    return Url(text) if "://" in text else Path(text)


def shown(photo: Photo) -> str:
    """Return what to call a photo in readings and messages."""
    return path_text(photo.text if isinstance(photo, Url) else photo)


def listed(path: Path) -> list[Photo]:
    """Return the photos, folders and URLs that a text file names, one a line; empty lines are passed over.

    Raises
    ------
    InputError
        when it cannot be read, is no text or names nothing
    """
    name = path_text(path)
    try:
        # Some editors and shells begin a text with a mark of its encoding: no part of the first name.
        text = read_bytes(path, MOST_LIST_BYTES, "a list of photos").decode("utf-8-sig")
    except UnicodeDecodeError as error:
        raise InputError(
            f"{name}: expected a text in UTF-8 that names a photo a line, found something else."
        ) from error
    found = [photo_named(line) for line in text.splitlines() if line.strip()]
    if not found:
        raise InputError(f"{name}: expected a photo, a folder or a URL a line, found none.")
    return found


def expand(photos: Sequence[Photo]) -> list[Photo]:
    """Return the files to read: files as named, folders as the photos in them, in the order of their names.

    Raises
    ------
    InputError
        when a path does not exist, a folder holds no photo, or a URL cannot be opened
    """
    files: list[Photo] = []
    for photo in photos:
        if isinstance(photo, Url):
            files += _at(photo)
        elif _is_folder(photo):
            inside = sorted(_inside(photo))
            if not inside:
                raise _no_photo(shown(photo))
            files += inside
        else:
            files.append(photo)
    return files


def _is_photo(name: str) -> bool:
    return name.lower().endswith(PHOTO_ENDINGS) and not name.startswith(".")


def _inside(folder: Path) -> Iterator[Path]:
    """Yield the photos in a folder and those below it, and the folders that nobody may look into.

    Who opens these, or a link to a photo that is gone, is told so; they would be missed by nobody else.
    """
    closed: list[Path] = []
    for place, folders, names in os.walk(folder, onerror=lambda error: closed.append(Path(error.filename))):
        here = Path(place)
        yield from (here / name for name in names if _is_photo(name) and _may_be_opened(here / name))
        folders.sort()
    yield from closed


def _may_be_opened(path: Path) -> bool:
    """Say whether a name stands for a file, or leads to one that is gone or out of reach."""
    try:
        return path.is_file() or (path.is_symlink() and not path.exists())
    except OSError:  # in a folder whose names may be read, and nothing else
        return True


def _no_photo(name: str) -> InputError:
    return InputError(f"{name}: expected photos in this folder ({', '.join(PHOTO_ENDINGS)}), found none.")


def _is_folder(path: Path) -> bool:
    """Say whether a path is a folder; InputError when it is nothing at all."""
    try:
        return stat.S_ISDIR(path.stat().st_mode)
    except FileNotFoundError:
        raise InputError(f"{path_text(path)}: there is no such file or folder.") from None
    except (OSError, ValueError) as error:
        why = getattr(error, "strerror", None) or error
        raise InputError(f"{path_text(path)}: cannot be read: {why}.") from error


def _at(url: Url) -> Iterator[Photo]:
    """Yield a photo's URL as it is, or those of the photos in a folder.

    One that ends like a photo is taken for one without asking: a list may name a million.
    """
    if _is_photo(url.text.rpartition("/")[2]):
        yield url
        return
    system, place = _opened(url)
    try:
        if not system.isdir(place):
            yield url
            return
        names = sorted(name for name in system.find(place) if _is_photo(name.rpartition("/")[2]))
    except Exception as error:  # each kind of store has errors of its own
        raise _refused(url, error) from error
    if not names:
        raise _no_photo(shown(url))
    for name in names:
        yield Url(str(system.unstrip_protocol(name)))


def fetched(url: Url, most_bytes: int) -> bytes:
    """Return the bytes of a photo.

    Raises
    ------
    InputError
        when it cannot be fetched, or is larger than a photo may be
    """
    system, place = _opened(url)
    try:
        with system.open(place, "rb") as stream:
            data = bytes(stream.read(most_bytes + 1))
    except Exception as error:  # each kind of store has errors of its own
        raise _refused(url, error) from error
    if len(data) > most_bytes:
        raise InputError(
            f"{shown(url)}: expected at most {most_bytes // 2**20} MiB, found more. Split the file, or make "
            "it smaller."
        )
    return data


def _opened(url: Url) -> tuple[Any, str]:
    """Return the file system that a URL lies in, and its place there."""
    try:
        from fsspec.core import url_to_fs
    except ImportError as error:
        raise InputError(
            f"{shown(url)}: a URL needs fsspec, which is not installed here. "
            "Install it with: pip install 'shortpencil[cluster]'"
        ) from error
    try:
        system, place = url_to_fs(url.text)
    except Exception as error:  # an unknown kind of URL, or its library is missing
        raise _refused(url, error) from error
    return system, place


def _refused(url: Url, error: Exception) -> InputError:
    said = one_line(" ".join(str(error).split()))[:200] or type(error).__name__
    return InputError(f"{shown(url)}: cannot be read: {type(error).__name__}: {said}.")
