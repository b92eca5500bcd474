"""Simple rules for choosing what to practise, to compare with: none knows what a session brings."""

from __future__ import annotations

import numpy as np

from tests.seasons.worlds import PHASES, Chooser, Ints, SoFar


def by_count(so_far: SoFar) -> Ints:
    """The phase with most misses in all rounds, the pencil's own rule kept over a season."""
    return np.asarray(sum(s.misses for s in so_far.seen).argmax(axis=1))


def by_last_count(so_far: SoFar) -> Ints:
    """The phase with most misses in the last round: the pencil's own rule."""
    return np.asarray(so_far.seen[-1].misses.argmax(axis=1))


def rotation(so_far: SoFar) -> Ints:
    """Drive, approach, putt, drive, …"""
    return np.full(len(so_far.seen[0].score), len(so_far.sessions) % PHASES)


def always_putts(so_far: SoFar) -> Ints:
    """Putts, always."""
    return np.full(len(so_far.seen[0].score), 2)


def at_random(seed: int) -> Chooser:
    """Any phase."""

    def choose(so_far: SoFar) -> Ints:
        generator = np.random.default_rng([seed, len(so_far.sessions), 3])
        return generator.integers(PHASES, size=len(so_far.seen[0].score))

    return choose


SIMPLE: dict[str, Chooser] = {
    "count": by_count,
    "last count": by_last_count,
    "rotation": rotation,
    "random": at_random(7),
    "always putts": always_putts,
}
