"""Standard output and error for a command: what a terminal would obey is written out instead of sent.

Every line a command prints goes through here, so that no file's name, no alias and no code on a photo can
move the cursor, change the title or make a text read backwards, and a letter that the terminal's encoding
lacks is written out, too, instead of ending the program. On a terminal, long lines are broken at 80 columns;
what goes into a file or another program keeps its lines.
"""

from __future__ import annotations

import os
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any, TextIO

from shortpencil.forms.shown import harmless
from shortpencil.scan.cli.command_line import COLUMNS

ERROR = "shortpencil:"  # how every line about something wrong begins
_RED, _PLAIN = "\x1b[1;31m", "\x1b[0m"  # ECMA-48, SGR


class Shown:
    """A text stream whose `write` passes nothing on that would be obeyed; all else is the stream's own.

    Attributes
    ----------
    columns : lines are broken at so many; None keeps them
    quiet : pass only what is wrong on, and what `urgent` asks
    coloured : an error's first word stands out
    called : what files of ours are called instead of by their paths, such as what came by standard input
    lost : some of it could not be written, as on a full disk (`streams.say`)
    """

    def __init__(self, stream: TextIO) -> None:
        self._stream = stream
        encoding = (getattr(stream, "encoding", None) or "utf-8").lower().replace("_", "-")
        self._narrow = None if encoding in ("utf-8", "utf8") else encoding
        self._passed = True
        self.columns: int | None = None
        self.quiet = False
        self.coloured = self.lost = False
        self.called: dict[str, str] = {}

    def write(self, text: str) -> int:
        """Write a text and say how much of it was taken: all."""
        if self.quiet:
            if text.strip("\n"):
                self._passed = text.startswith(ERROR)
            if not self._passed:
                return len(text)
        return self.urgent(text)

    def urgent(self, text: str) -> int:
        """Write what must be seen also where everything else is quiet, such as a question."""
        safe = harmless(text)
        for path, name in self.called.items():
            safe = safe.replace(path, name)
        if self.columns is not None and len(safe) > self.columns:
            safe = "\n".join(broken(line, self.columns) for line in safe.split("\n"))
        if self._narrow is not None:
            safe = safe.encode(self._narrow, "backslashreplace").decode(self._narrow)
        if self.coloured and safe.startswith(ERROR):
            safe = f"{_RED}{ERROR}{_PLAIN}{safe.removeprefix(ERROR)}"
        self._stream.write(safe)
        return len(text)

    def rewrite(self, line: str) -> None:
        """Write a line of progress over the one before it; nothing where it is quiet."""
        if not self.quiet:
            self._stream.write(f"\r{harmless(line):<{COLUMNS - 2}}\r")
            self._stream.flush()

    def writelines(self, lines: list[str]) -> None:
        """Write texts one after the other."""
        for line in lines:
            self.write(line)

    def __getattr__(self, name: str) -> Any:
        return getattr(self._stream, name)


def broken(line: str, columns: int) -> str:
    """Return a line broken at spaces so that it fits; what follows is set in, a long name stays whole."""
    if len(line) <= columns:
        return line
    import textwrap

    before = line[: len(line) - len(line.lstrip())]
    parts = textwrap.wrap(
        line.strip(),
        columns,
        initial_indent=before,
        subsequent_indent=f"{before}    ",
        break_long_words=False,
        break_on_hyphens=False,
    )
    return "\n".join(parts)


def wants_colour(stream: TextIO) -> bool:
    """Say whether colour helps: on a terminal that knows it, unless NO_COLOR is set (https://no-color.org)."""
    return stream.isatty() and not os.environ.get("NO_COLOR") and os.environ.get("TERM") != "dumb"


@contextmanager
def shown() -> Iterator[None]:
    """Let standard output and error show instead of obey, until the block ends."""
    before = sys.stdout, sys.stderr
    # A command that runs another, as the demo does, must not have its own escapes written out again.
    out, err = (Shown(one._stream if isinstance(one, Shown) else one) for one in before)
    for stream in (out, err):
        stream.columns = COLUMNS if stream.isatty() else None
    err.coloured = wants_colour(err._stream)
    sys.stdout, sys.stderr = out, err
    try:
        yield
    finally:
        sys.stdout, sys.stderr = before


def call(path: str, name: str) -> None:
    """Let a file be called by a name, wherever a command speaks of it, and not by its path."""
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, Shown):
            stream.called[path] = name


def talk(*, quiet: bool, for_a_program: bool) -> None:
    """Set how much is said: `quiet` keeps errors only, and JSON keeps its lines as they are."""
    out, err = sys.stdout, sys.stderr
    if isinstance(err, Shown):
        err.quiet = quiet
    if isinstance(out, Shown) and for_a_program:
        out.columns = None
