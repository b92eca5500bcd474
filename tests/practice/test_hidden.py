"""Throws that no column shows, after which putts they come: by hand, and in worlds whose truth is known."""

from dataclasses import replace

import numpy as np
import pytest

from shortpencil.scan.practice.cost import costs_of
from shortpencil.scan.practice.hidden import hidden_of
from shortpencil.scan.practice.history import history_of
from tests.practice import worlds
from tests.practice.invented import hole, known, one_round, throw

PUTT = 2


def _hole(number: int, approaches: int, putts: int, hidden: int = 0, missed: tuple[int, ...] = ()):
    """A hole on which these putts, counted from 1, were missed."""
    phases = ["drive", *["approach"] * approaches, *["putt"] * putts]
    whole = hidden == 0
    throws = [
        throw(i, phase, "miss" if i - 1 - approaches in missed else "clean", holed=whole and i == len(phases))
        for i, phase in enumerate(phases, start=1)
    ]
    return replace(hole(number, throws), score=known(len(phases) + hidden))


def _history(*holes):
    return history_of([one_round("r", [replace(h, number=number) for number, h in holes])])


def test_where_nothing_is_hidden_nothing_changes():
    e = _history(*enumerate([_hole(1, 1, 2)] * 12 + [_hole(1, 2, 3)] * 12, start=1))
    assert hidden_of(e).left == pytest.approx(e.throw_left)


def test_a_fourth_putt_counts_after_the_three_that_are_known():
    """One approach, three putts, a score of six: with no mark ever forgotten the hidden throw is a putt."""
    usual = [_hole(1, 1, 1)] * 60 + [_hole(1, 1, 3)] * 30
    e = _history(*enumerate([*usual, *[_hole(1, 1, 3, hidden=1)] * 30], start=1))
    last = e.throw_hole == len(usual)
    assert e.throw_left[last & (e.throw_phase == PUTT)].tolist() == [-1, -1, -1]
    # behind one putt nothing is hidden: (0 + .25) of 65 holes, against (30 + .25) of 65 behind three
    assert hidden_of(e).left[last & (e.throw_phase == PUTT)] == pytest.approx([3, 2, 1], abs=0.02)


def test_a_fourth_putt_comes_behind_a_missed_third_one_and_an_approach_behind_a_clean_one():
    """Missed second putts are always followed, clean ones never: so it is behind the third one, too."""
    usual = [_hole(1, 1, 2, missed=(1,))] * 45 + [_hole(1, 1, 3, missed=(1, 2))] * 45
    unclear = [_hole(1, 2, 3, 1, missed=(1, 2, 3)), _hole(1, 2, 3, 1, missed=(1, 2))]
    e = _history(*enumerate([*usual, *unclear * 8], start=1))
    found = hidden_of(e)
    ends = np.flatnonzero((e.throw_phase == PUTT) & (np.append(np.diff(e.throw_hole), 1) > 0))[len(usual) :]
    missed, clean = ends[::2], ends[1::2]
    assert found.left[missed] == pytest.approx(1)
    assert found.unsure[missed] == pytest.approx(0)
    # clean second putts: (0 + 5 x .67) followed of 61 + 5, and as often one more again: .09 of .43 hidden
    assert found.left[clean] == pytest.approx(0.2, abs=0.1)
    assert found.unsure[clean] == pytest.approx(np.sqrt(found.left[clean] * (1 - found.left[clean])))


def test_where_no_mark_is_forgotten_two_known_putts_hide_no_third_on_hard_holes():
    """Hard holes hide approaches and take more putts: these are not taken for those."""
    world = next(w for w in worlds.WORLDS if w.name == "beginners")
    g = np.random.default_rng(12)
    (e,) = worlds.cards_of(worlds.play(worlds.players_of(world, 1, g), 20, g), g)
    putts = np.bincount(e.throw_hole[e.throw_phase == PUTT], minlength=len(e.hole_score))
    last = (e.throw_phase == PUTT) & (np.append(np.diff(e.throw_hole), 1) > 0) & (putts < 3)[e.throw_hole]
    hides = last & (e.throw_left < 0)
    assert hides.sum() > 40
    assert hidden_of(e).left[hides] == pytest.approx(0)


def test_of_few_holes_nothing_is_guessed():
    e = _history(*enumerate([_hole(1, 1, 2)] * 5 + [_hole(1, 1, 3, hidden=1)] * 4, start=1))
    assert hidden_of(e).left == pytest.approx(e.throw_left)


def test_missed_putts_are_no_longer_too_cheap_where_there_are_many():
    """Forty players with spit-outs: the mean cost of a missed putt, with the long holes and without them."""
    world = replace(worlds.WORLDS[3], alike=False, curve="spit-out", forgets_clean=0.1)
    g = np.random.default_rng(77)
    players = worlds.players_of(world, 40, g)
    true = worlds.truth_of(players, g).cost[:, PUTT]
    cards = list(worlds.cards_of(worlds.play(players, 40, g), g))
    with_long = np.array([costs_of(e).mean[PUTT] for e in cards]) - true
    # a score that is not known says nothing of what is hidden: those holes are left out, as they once were
    short = []
    for e in cards:
        whole = np.bincount(e.throw_hole, minlength=len(e.hole_score)) + e.hole_penalty >= e.hole_score
        short.append(replace(e, hole_score=np.where(whole, e.hole_score, np.nan)))
    without = np.array([costs_of(e).mean[PUTT] for e in short]) - true
    error = with_long.std(ddof=1) / np.sqrt(len(with_long))
    assert abs(with_long.mean()) < 0.03 + 2 * error
    assert without.mean() < -0.05


def test_hidden_approaches_are_told_apart_from_hidden_putts():
    """Two approaches and one putt are known: what is hidden is an approach."""
    usual = [_hole(1, 2, 1)] * 30 + [_hole(1, 1, 1)] * 30 + [_hole(1, 1, 3)] * 30
    e = _history(*enumerate([*usual, *[_hole(1, 2, 1, hidden=1)] * 10], start=1))
    found = hidden_of(e).between[:, 1]
    assert found[: len(usual)] == pytest.approx(0)
    assert found[len(usual) :] == pytest.approx(1)
