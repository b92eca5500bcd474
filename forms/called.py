"""What phases of cards of one's own are called where they are said; records and files know their ids.

The names stand with the rounds in a store. Who says sentences, a command or a page, gives the way to them;
nobody looks before such a phase is said.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from contextvars import ContextVar
from functools import cache

_CALLED: ContextVar[Callable[[], Mapping[str, str]]] = ContextVar("called", default=dict)


@contextmanager
def calling(names: Callable[[], Mapping[str, str]]) -> Iterator[None]:
    """Say phases of cards of one's own as their forms call them, until the block ends.

    Parameters
    ----------
    names : returns id -> label; asked once, and only when such a phase is said
    """
    before = _CALLED.set(cache(names))
    try:
        yield
    finally:
        _CALLED.reset(before)


def called(phase: str) -> str:
    """Return what a phase of a card of one's own is called; its id where nobody said."""
    return _CALLED.get()().get(phase, phase)
