"""Standard output and error for a command: what a terminal would obey is written out instead of sent.

Every line a command prints goes through here, so that no file's name, no alias and no code on a photo can
move the cursor, change the title or make a text read backwards, and a letter that the terminal's encoding
lacks is written out, too, instead of ending the program.
"""

from __future__ import annotations

import sys
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any, TextIO

from forms.shown import harmless


class Shown:
    """A text stream whose `write` passes nothing on that would be obeyed; all else is the stream's own."""

    def __init__(self, stream: TextIO) -> None:
        self._stream = stream
        encoding = (getattr(stream, "encoding", None) or "utf-8").lower().replace("_", "-")
        self._narrow = None if encoding in ("utf-8", "utf8") else encoding

    def write(self, text: str) -> int:
        """Write a text and say how much of it was taken: all."""
        safe = harmless(text)
        if self._narrow is not None:
            safe = safe.encode(self._narrow, "backslashreplace").decode(self._narrow)
        self._stream.write(safe)
        return len(text)

    def writelines(self, lines: list[str]) -> None:
        """Write texts one after the other."""
        for line in lines:
            self.write(line)

    def __getattr__(self, name: str) -> Any:
        return getattr(self._stream, name)


@contextmanager
def shown() -> Iterator[None]:
    """Let standard output and error show instead of obey, until the block ends."""
    before = sys.stdout, sys.stderr
    sys.stdout, sys.stderr = Shown(sys.stdout), Shown(sys.stderr)
    try:
        yield
    finally:
        sys.stdout, sys.stderr = before
