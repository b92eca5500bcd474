"""How far long work has come, and how long it will still take, on standard error.

Nothing is said of work that is done before anybody wonders. On a terminal one line is written over and over;
elsewhere, as in a log, a line comes now and then.
"""

from __future__ import annotations

import sys
import time
from collections.abc import Callable, Iterable, Iterator
from typing import TextIO, TypeVar

from shortpencil.scan.language import _, number

FIRST_S = 2.0  # a person begins to wonder
AGAIN_S, AGAIN_LOGGED_S = 0.5, 10.0
LEAST_DONE = 3  # before so many, the time they took says nothing of the rest

T = TypeVar("T")


def counted(
    items: Iterable[T],
    total: int,
    what: str,
    *,
    clock: Callable[[], float] = time.monotonic,
    stream: TextIO | None = None,
) -> Iterator[T]:
    """Pass items on, and say how many are done and how long the rest will take.

    Parameters
    ----------
    what : what is counted, e.g. "rounds"
    """
    out = sys.stderr if stream is None else stream
    rewrite = getattr(out, "rewrite", None) if out.isatty() else None
    begun = clock()
    next_at, said = begun + FIRST_S, False
    for done, item in enumerate(items):
        now = clock()
        if now >= next_at:
            line = _("{done} of {total} {what}", done=done, total=total, what=_(what))
            line += left_said(done, total, now - begun)
            if rewrite is not None:
                rewrite(line)
            else:
                print(line, file=out, flush=True)
            next_at, said = now + (AGAIN_S if rewrite else AGAIN_LOGGED_S), True
        yield item
    if said and rewrite is not None:
        rewrite("")


def left_said(done: int, total: int, taken_s: float) -> str:
    """Return how long the rest will take, as ", about 2 minutes left"; "" while too little is done to tell.

    The rest is taken to go as fast as what is done.
    """
    if done < LEAST_DONE or done >= total:
        return ""
    left_s = taken_s / done * (total - done)
    if left_s < 1.5:
        return _(", nearly done")
    if left_s < 90:
        return _(", about {n} seconds left", n=f"{left_s:.0f}")
    minutes = round(left_s / 60)
    if minutes < 90:
        return _(", about {n} minutes left", n=minutes)
    return _(", about {n} hours left", n=number(left_s / 3600, 1))
