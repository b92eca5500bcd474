"""`-` in place of a file's name: standard input is taken whole into a file of ours, which goes afterwards.

Photos are read in processes of their own and archives are read back and forth, so that a pipe does not do.
"""

from __future__ import annotations

import os
import sys
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from pathlib import Path
from typing import Any, TextIO, TypeVar

from shortpencil.scan.cli.terminal import Shown, call
from shortpencil.scan.language import _

T = TypeVar("T")

DASH = "-"
CALLED = "standard-input"
MOST_BYTES = 2**30  # more than any photo, PDF or backup of years


def is_dash(path: object) -> bool:
    """Say whether a name stands for standard input or output."""
    return path is not None and str(path) == DASH


@contextmanager
def given(paths: list[T], ending: str = "") -> Iterator[list[T | Path]]:
    """Return the paths with a file in place of `-` that holds what came by standard input.

    Raises
    ------
    InputError
        when `-` is there twice, nothing came, or too much
    """
    from shortpencil.forms.errors import InputError

    if not any(is_dash(path) for path in paths):
        yield [*paths]
        return
    if sum(is_dash(path) for path in paths) > 1:
        raise InputError("expected - once, found it twice: standard input can be read once.")
    from shortpencil.scan.leftovers import WORK, folder_for

    with folder_for(WORK) as folder:
        file = folder / f"{CALLED}{ending}"
        _take(file)
        call(str(file), CALLED)  # nobody knows our folder, and it is gone by then
        yield [file if is_dash(path) else path for path in paths]


def _take(file: Path) -> None:
    """Write standard input into a new file."""
    from shortpencil.forms.errors import InputError

    taken = 0
    with file.open("xb") as out:
        while block := sys.stdin.buffer.read(2**20):
            taken += len(block)
            if taken > MOST_BYTES:
                raise InputError(
                    f"-: expected at most {MOST_BYTES // 2**20} MB by standard input, found more."
                )
            out.write(block)
    if not taken:
        raise InputError("-: expected a file by standard input, found nothing. Pipe one into it, or name it.")


def write_out(data: bytes) -> None:
    """Write bytes to standard output as they are."""
    sys.stdout.flush()
    sys.stdout.buffer.write(data)
    sys.stdout.buffer.flush()


def say(text: str, stream: TextIO | None = None) -> None:
    """Print to standard output, or another stream, as long as somebody takes it.

    Whoever reads what a command says may have seen enough, as in `shortpencil read photos | less`, or the
    disk that it is written to is full. What the command is there for goes on then: what it says goes nowhere,
    and standard error is told so. `Shown.lost` says that it was the disk.
    """
    stream = sys.stdout if stream is None else stream
    try:
        stream.write(f"{text}\n")  # at once: a stop between a line and its end would leave half a line
        stream.flush()
    except OSError as error:
        nowhere = os.open(os.devnull, os.O_WRONLY)
        os.dup2(nowhere, stream.fileno())
        os.close(nowhere)
        if stream is sys.stderr:
            return
        if isinstance(error, BrokenPipeError):
            says = _("shortpencil: the output is closed. Reading goes on, and what is read is stored.")
        else:
            if isinstance(stream, Shown):
                stream.lost = True
            says = _(
                "shortpencil: the output cannot be written: {why}. "
                "Reading goes on, and what is read is stored.",
                why=error.strerror or error,
            )
        say(says, sys.stderr)


def print_json(data: Mapping[str, Any], indent: int | None = None) -> None:
    """Print JSON to standard output, letters as they are."""
    import json

    print(json.dumps(data, ensure_ascii=False, indent=indent))
