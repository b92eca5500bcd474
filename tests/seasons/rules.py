"""Simple rules for choosing what to practise, to compare with: none knows what a session brings."""

from __future__ import annotations

import numpy as np

from tests.seasons.worlds import PHASES, Chooser, History, Ints


def by_count(history: History) -> Ints:
    """The phase with most misses in all rounds, the pencil's own rule kept over a season."""
    return np.asarray(sum(s.misses for s in history.seen).argmax(axis=1))


def by_last_count(history: History) -> Ints:
    """The phase with most misses in the last round: the pencil's own rule."""
    return np.asarray(history.seen[-1].misses.argmax(axis=1))


def rotation(history: History) -> Ints:
    """Drive, approach, putt, drive, …"""
    return np.full(len(history.seen[0].score), len(history.sessions) % PHASES)


def always_putts(history: History) -> Ints:
    """Putts, always."""
    return np.full(len(history.seen[0].score), 2)


def at_random(seed: int) -> Chooser:
    """Any phase."""

    def choose(history: History) -> Ints:
        generator = np.random.default_rng([seed, len(history.sessions), 3])
        return generator.integers(PHASES, size=len(history.seen[0].score))

    return choose


SIMPLE: dict[str, Chooser] = {
    "count": by_count,
    "last count": by_last_count,
    "rotation": rotation,
    "random": at_random(7),
    "always putts": always_putts,
}
