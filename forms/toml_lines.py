"""On which line of a TOML text each value stands, so that a message can point there.

The standard library's parser says lines only of syntax errors. This one reads a text that has been parsed
already, so it checks nothing; it only counts.

References
----------
TOML 1.0.0, sections "Keys", "String", "Array", "Table", "Inline Table", "Array of Tables".
"""

from __future__ import annotations

import re
from bisect import bisect_right
from contextlib import suppress

#: Names of tables and places in lists, from the top: ``("rows", "left", 2, "options", 0, "label")``.
Path = tuple[str | int, ...]

_BARE_KEY = re.compile(r"[A-Za-z0-9_-]+")
_BARE_VALUE = re.compile(r"[^\s,\]}#]+(?: \d[^\s,\]}#]*)?")  # a date may be parted from its time by a space
_ESCAPES = {"b": "\b", "t": "\t", "n": "\n", "f": "\f", "r": "\r", '"': '"', "\\": "\\"}


def lines_of(text: str) -> dict[Path, int]:
    """Return the line, counted from 1, of each table and value of a TOML text that is known to be right.

    What the walk does not understand it leaves out; a caller then takes the line of the table around it.
    """
    walker = _Walker(text)
    # A text that the parser took and this does not follow: what was found until there still helps.
    with suppress(IndexError, ValueError, RecursionError, AssertionError):
        walker.walk()
    return walker.lines


def line_at(lines: dict[Path, int], path: Path) -> int | None:
    """Return the line of a value, or of the nearest thing around it."""
    for end in range(len(path), 0, -1):
        if path[:end] in lines:
            return lines[path[:end]]
    return None


class _Walker:
    def __init__(self, text: str) -> None:
        self._text = text.replace("\r\n", "\n") + "\n"
        self._at = 0
        self._ends = [i for i, sign in enumerate(self._text) if sign == "\n"]
        self._counts: dict[Path, int] = {}
        self.lines: dict[Path, int] = {}

    def walk(self) -> None:
        table: Path = ()
        self._skip(lines=True)
        while self._at < len(self._text):
            if self._text[self._at] == "[":
                table = self._header()
            else:
                self._pair(table)
            self._skip(lines=True)

    def _note(self, path: Path) -> None:
        self.lines.setdefault(path, bisect_right(self._ends, self._at - 1) + 1)

    def _skip(self, *, lines: bool) -> None:
        """Pass over space and comments, and over ends of lines where these mean nothing."""
        while self._at < len(self._text):
            sign = self._text[self._at]
            if sign == "#":
                self._at = self._text.index("\n", self._at)
            elif sign in " \t" or (lines and sign == "\n"):
                self._at += 1
            else:
                return

    def _header(self) -> Path:
        start = self._at
        is_list = self._text.startswith("[[", start)
        self._at += 2 if is_list else 1
        names = self._key()
        self._at = self._text.index("]", self._at) + (2 if is_list else 1)
        path: Path = ()
        for place, name in enumerate(names):
            path = (*path, name)
            if is_list and place == len(names) - 1:
                self._counts[path] = self._counts.get(path, 0) + 1
            if path in self._counts:
                path = (*path, self._counts[path] - 1)
        end, self._at = self._at, start
        for upto in range(1, len(path) + 1):
            self._note(path[:upto])
        self._at = end
        return path

    def _pair(self, table: Path) -> None:
        start = self._at
        path = (*table, *self._key())
        end, self._at = self._at, start
        for upto in range(len(table) + 1, len(path) + 1):
            self._note(path[:upto])
        self._at = self._text.index("=", end) + 1
        self._skip(lines=False)
        self._value(path)

    def _key(self) -> list[str]:
        names = []
        while True:
            self._skip(lines=False)
            if self._text[self._at] in "\"'":
                names.append(self._string())
            else:
                bare = _BARE_KEY.match(self._text, self._at)
                assert bare is not None
                names.append(bare.group())
                self._at = bare.end()
            self._skip(lines=False)
            if self._text[self._at] != ".":
                return names
            self._at += 1

    def _value(self, path: Path) -> None:
        self._note(path)
        sign = self._text[self._at]
        if sign in "\"'":
            self._string()
        elif sign == "[":
            self._list(path)
        elif sign == "{":
            self._inline(path)
        else:
            bare = _BARE_VALUE.match(self._text, self._at)
            assert bare is not None
            self._at = bare.end()

    def _list(self, path: Path) -> None:
        self._at += 1
        place = 0
        while True:
            self._skip(lines=True)
            if self._text[self._at] == "]":
                self._at += 1
                return
            if self._text[self._at] == ",":
                self._at += 1
                continue
            self._value((*path, place))
            place += 1

    def _inline(self, path: Path) -> None:
        self._at += 1
        while True:
            self._skip(lines=True)
            if self._text[self._at] == "}":
                self._at += 1
                return
            if self._text[self._at] == ",":
                self._at += 1
                continue
            self._pair(path)

    def _string(self) -> str:
        quote = self._text[self._at]
        if self._text.startswith(quote * 3, self._at):
            self._at += 3
            while not self._text.startswith(quote * 3, self._at):
                self._at += 2 if quote == '"' and self._text[self._at] == "\\" else 1
                if self._at >= len(self._text):
                    raise IndexError("a string without an end")
            self._at += 3
            while self._text[self._at] == quote:  # a string may end in one or two quotes of its own
                self._at += 1
            return ""
        self._at += 1
        signs = []
        while self._text[self._at] != quote:
            if quote == '"' and self._text[self._at] == "\\":
                self._at += 1
                signs.append(_ESCAPES.get(self._text[self._at], "?"))
            else:
                signs.append(self._text[self._at])
            self._at += 1
        self._at += 1
        return "".join(signs)
