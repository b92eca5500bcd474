r"""Texts from outside as they may be shown: what a terminal would obey instead of show is written out.

A file's name, a player's alias or what a code holds may carry control characters (colours, "move up and
overwrite"), bidirectional controls (which make a text read as another one) or bytes that are no text. Each
becomes the escape ``\uXXXX``, which JSON reads as the same character, so that a filter over JSON changes
nothing of what it says.

References
----------
ECMA-48 (control functions); Unicode Standard Annex 9, table 2 (explicit formatting characters) and Unicode
Technical Report 36, section 2.1 (bidirectional text spoofing).
"""

from __future__ import annotations

import os
import re
from pathlib import Path
from typing import Any

#: C0 without tab and line feed, DEL, C1, line and paragraph separator, bidirectional controls, and halves of
#: surrogate pairs, which is how Python carries bytes of a name that are no UTF-8 (PEP 383).
_OBEYED = re.compile(
    "[\x00-\x08\x0b-\x1f\x7f-\x9f\u061c\u200e\u200f\u2028\u2029\u202a-\u202e\u2066-\u2069\ud800-\udfff]"
)
LONGEST_FOUND = 60


def harmless(text: str) -> str:
    """Return a text of several lines with everything that a terminal would obey written out."""
    return _OBEYED.sub(_escape, text)


def one_line(text: str) -> str:
    """Return a text from outside, such as a name, as a part of one line."""
    return _OBEYED.sub(_escape, text).replace("\n", "\\u000a").replace("\t", "\\u0009")


def composed(text: str) -> str:
    """Return a name as it is kept and printed: on one line, each letter with its accent as one sign.

    Two programs may write the same name in two ways, é or e with an accent behind it; kept as they come they
    would be two players, and the card's font sets an accent of its own over the next letter.

    References
    ----------
    Unicode Standard Annex 15, normalization form C.
    """
    return whole_letters(" ".join(text.split()))


def whole_letters(text: str) -> str:
    """Return a text with each letter and its accent as one sign; the rest of `composed`."""
    if text.isascii():
        return text
    from unicodedata import normalize

    return normalize("NFC", text)


def path_text(path: Path | str | bytes) -> str:
    """Return a path as text that can be shown, kept and sent; bytes that are no UTF-8 are written out."""
    return one_line(os.fsdecode(path))


def is_text(value: object) -> bool:
    """Say whether a value is text that can be written as UTF-8; half of a surrogate pair cannot."""
    if not isinstance(value, str):
        return False
    try:
        value.encode()
    except UnicodeEncodeError:
        return False
    return True


def found(value: Any) -> str:
    """Return what was found as a message shows it: short, on one line, whatever it is."""
    try:
        text = repr(value) if not isinstance(value, int) or abs(value) < 10**18 else "a very large number"
    except (ValueError, RecursionError):  # a number, or something with one in it, that Python will not write
        return f"a {type(value).__name__} that is too large to show"
    text = one_line(text)
    return text if len(text) <= LONGEST_FOUND else f"{text[: LONGEST_FOUND - 1]}…"


def _escape(match: re.Match[str]) -> str:
    return f"\\u{ord(match.group()):04x}"
