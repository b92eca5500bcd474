"""Keeps what follows from a layout alone: it is worked out once a printed edition and not once a card."""

from __future__ import annotations

import functools
from collections.abc import Callable
from typing import TypeVar

from shortpencil.forms.layout import Layout

T = TypeVar("T")

_KEPT = 8  # layouts at a time; a process reads few editions


def once_a_layout(make: Callable[[Layout], T]) -> Callable[[Layout], T]:
    """Remember what `make` returned for the last layouts, told apart by identity.

    A layout has five hundred cells: to compare or hash two takes longer than most of what is kept here. The
    layout is kept with the result, so that no other can take its identity.
    """
    kept: dict[int, tuple[Layout, T]] = {}

    @functools.wraps(make)
    def remembered(layout: Layout) -> T:
        found = kept.get(id(layout))
        if found is None:
            while len(kept) >= _KEPT:
                kept.pop(next(iter(kept)), None)
            kept[id(layout)] = found = (layout, make(layout))
        return found[1]

    return remembered
