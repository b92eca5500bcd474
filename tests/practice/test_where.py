from dataclasses import replace

import numpy as np
import pytest

from shortpencil.scan.practice import where
from shortpencil.scan.practice.history import history_of
from tests.practice import worlds
from tests.practice.invented import Player, known, rounds_of


def metres(value):
    return f"{value:.0f} m"


def with_hole(rounds, number, phase, share, generator):
    """The same rounds with `share` of a phase's clean throws on one hole turned into misses."""

    def turned(h):
        if h.number != number:
            return h
        throws = tuple(
            replace(t, execution=known("miss"))
            if t.phase == phase and t.execution.value == "clean" and generator.random() < share
            else t
            for t in h.throws
        )
        return replace(h, throws=throws)

    return [replace(r, holes=tuple(turned(h) for h in r.holes)) for r in rounds]


def test_a_hole_that_is_truly_worse_stands_out_and_says_by_how_much():
    g = np.random.default_rng(3)
    rounds = with_hole(rounds_of(Player(miss=(0.25, 0.3, 0.25)), 20, g), 7, "drive", 0.8, g)
    out = [s for s in where.spots_of(history_of(rounds), metres) if s.stands_out]
    assert out[0].kind == "hole"
    assert out[0].says.startswith("Hole 7, Windmill Park: ")
    assert "drives missed, likely" in out[0].says
    assert out[0].interval.low > 0.35
    assert out[0].interval.high > 0.75
    assert sum(s.kind == "hole" for s in out) <= 2


def test_a_hole_that_takes_more_strokes_stands_out_against_its_peers():
    g = np.random.default_rng(4)
    rounds = rounds_of(Player(), 12, g)
    dear = [
        replace(
            r,
            holes=tuple(
                replace(h, score=known(h.score.value + 2), penalty=known(2)) if h.number == 3 else h
                for h in r.holes
            ),
        )
        for r in rounds
    ]
    out = [s for s in where.spots_of(history_of(dear), metres) if s.stands_out and s.kind == "score"]
    assert out[0].says.startswith("Hole 3, Windmill Park takes you ")
    assert "strokes more than your other par 3s there" in out[0].says
    assert 1.2 < out[0].interval.low < 2.0 < out[0].interval.high < 2.8


def test_nothing_stands_out_where_all_holes_are_alike():
    # 12 players at a tenth of families with a false one: more than 4 has a chance of 0.4 %
    g = np.random.default_rng(5)
    played = worlds.play(worlds.players_of(worlds.WORLDS[0], 12, g), 12, g)
    found = [where.spots_of(e, metres) for e in worlds.cards_of(played, g)]
    assert all(len(spots) > 50 for spots in found)
    assert sum(any(s.stands_out for s in spots) for spots in found) <= 4


def test_longer_approaches_and_other_courses_are_asked_about():
    g = np.random.default_rng(6)
    rounds = []
    for at, r in enumerate(rounds_of(Player(miss=(0.3, 0.3, 0.25)), 16, g)):
        holes = []
        for h in r.holes:
            throws = []
            for t in h.throws:
                if t.phase == "approach":
                    far = 20.0 + 60.0 * g.random()
                    missed = g.random() < (far - 15) / 70
                    throws.append(replace(t, distance_m=far, execution=known("miss" if missed else "clean")))
                else:
                    throws.append(t)
            holes.append(replace(h, throws=tuple(throws), length_m=80.0 + 10 * h.number))
        rounds.append(replace(r, holes=tuple(holes), course="Mill" if at % 2 else "Quay"))
    spots = where.spots_of(history_of(rounds), metres)
    assert {s.kind for s in spots} >= {"course", "length"}
    told = next(s for s in spots if s.kind == "length" and s.stands_out)
    assert told.says.startswith("Approaches from over ")
    assert "range" in told.says
    assert told.says.endswith("on shorter ones")


def test_few_rounds_are_not_asked_about():
    assert where.spots_of(history_of(rounds_of(Player(), 2, np.random.default_rng(7))), metres) == ()
    assert where.spots_of(history_of([]), metres) == ()


def test_holes_that_are_alike_draw_each_other_closer():
    n = np.full(18, 30)
    alike = where._alike(np.array([9] * 9 + [10] * 9), n)
    unlike = where._alike(np.array([3, 20] * 9), n)
    assert alike > 2 * where.ALIKE_THROWS > 2 * unlike
    assert where._drawn((13, 30), 0.3, alike).middle < where._drawn((13, 30), 0.3, unlike).middle
    # one like no other keeps its own rate
    assert where._drawn((29, 30), 0.3, 1e6).middle == pytest.approx(30 / 32, abs=0.01)
