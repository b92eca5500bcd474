"""Doubt in the advice: probabilities are means over whole rounds that may be true, ranges are wider."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from shortpencil.scan.practice.doubt import (
    doubt_remark,
    pooled_causes,
    pooled_interval,
    pooled_phases,
    pooled_putting,
    possible_evidence,
)
from shortpencil.scan.practice.evidence import evidence_of
from shortpencil.scan.practice.focus import focus_of
from shortpencil.scan.practice.model import Interval, normal_quantile
from shortpencil.scan.practice.phases import phases_of
from shortpencil.scan.practice.putting import putting_of
from shortpencil.scan.records.rounds import Round, Value
from tests.practice.invented import Player, rounds_of

RNG = np.random.default_rng(3)
ROUNDS = rounds_of(Player(name="Wren"), 6, RNG)


def doubted(played: Round, p: float = 0.6, holes: int = 18) -> Round:
    """The round with the drive of each hole doubtful."""
    changed = []
    for at, hole in enumerate(played.holes):
        drive = hole.throws[0]
        true = drive.execution.value
        other = "clean" if true == "miss" else "miss"
        unclear = Value(true, "read", p, "doubtful", alternatives=((other, 1 - p),))
        first = replace(drive, execution=unclear) if at < holes else drive
        changed.append(replace(hole, throws=(first, *hole.throws[1:])))
    return replace(played, holes=tuple(changed), tallies={})


DOUBTED = [*ROUNDS[:-1], doubted(ROUNDS[-1])]


def test_rounds_without_doubt_are_worked_out_once() -> None:
    assert possible_evidence(ROUNDS) == ()
    assert doubt_remark(ROUNDS) is None


def test_ranges_are_pooled_by_rubins_rules() -> None:
    """Rubin 1987, ch. 3: total variance = mean within + (1 + 1/M) between; worked by hand for two draws."""
    z = normal_quantile()
    found = pooled_interval([Interval(1 - z, 1.0, 1 + z), Interval(3 - z, 3.0, 3 + z)])
    # within 1, between 2, so that 1 + 1.5 * 2 = 4: a standard deviation of 2
    assert found.middle == pytest.approx(2.0)
    assert (found.low, found.high) == pytest.approx((2 - 2 * z, 2 + 2 * z))


def test_draws_that_agree_pool_to_themselves() -> None:
    one = evidence_of(ROUNDS)
    (pooled, *_), (alone, *_) = pooled_phases([phases_of(one)] * 4), phases_of(one)
    assert pooled.p_costs_most == pytest.approx(alone.p_costs_most)
    assert pooled.strokes_a_round.high == pytest.approx(alone.strokes_a_round.high)
    assert pooled.all.misses == alone.all.misses


def test_a_pooled_range_is_never_narrower_than_those_it_is_made_of_on_average() -> None:
    draws = [phases_of(one) for one in possible_evidence(DOUBTED)]
    pooled = pooled_phases(draws)
    for k, phase in enumerate(pooled):
        widths = [one[k].strokes_a_round.high - one[k].strokes_a_round.low for one in draws]
        width = phase.strokes_a_round.high - phase.strokes_a_round.low
        assert width >= 0.99 * float(np.mean(widths))


def test_doubtful_drives_count_by_their_probability() -> None:
    p = 0.6
    true = ROUNDS[-1]
    missed = sum(hole.throws[0].execution.value == "miss" for hole in true.holes)
    expected = p * missed + (1 - p) * (18 - missed)
    counts = [int(one.misses[-1, 0]) for one in possible_evidence(DOUBTED, 40)]
    assert np.mean(counts) == pytest.approx(expected, abs=0.5)
    assert int(evidence_of(DOUBTED).misses[-1, 0]) == 0, "as known facts none of them counts"


def test_the_focus_under_doubt_has_probabilities_that_sum_to_one_and_says_so() -> None:
    said = [str(doubt_remark(DOUBTED))]
    focus = focus_of(evidence_of(DOUBTED), possible=possible_evidence(DOUBTED), remarks=said)
    assert focus is not None
    assert sum(phase.p_costs_most for phase in focus.phases) == pytest.approx(1.0)
    assert any(
        "18 values on your cards are doubtful and count by their probability" in r for r in focus.remarks
    )


def test_causes_and_putts_under_doubt_lie_between_those_of_the_draws() -> None:
    draws = possible_evidence(DOUBTED)
    focus = focus_of(evidence_of(ROUNDS))
    assert focus is not None
    putting = [putting_of(one) for one in draws]
    pooled = pooled_putting(putting)
    assert pooled.curve is not None
    middles = [one.curve.at(5.0) for one in putting if one.curve]
    assert min(middles) - 1e-9 <= pooled.curve.at(5.0) <= max(middles) + 1e-9
    causes = pooled_causes([focus.causes] * 3)
    assert causes.leading == focus.causes.leading or causes.leading is None


def test_one_doubtful_value_is_told_in_the_singular() -> None:
    one = [*ROUNDS[:-1], doubted(ROUNDS[-1], holes=1)]
    assert "1 value on your cards is doubtful and counts by its probability" in str(doubt_remark(one))


def test_a_distance_of_0_is_no_bug_whether_known_or_drawn() -> None:
    played = ROUNDS[-1]
    holes = []
    for hole in played.holes:
        throws = [
            replace(t, distance=Value(0, "read", 0.6, "doubtful", alternatives=((8, 0.4),)), distance_m=None)
            if t.distance_m is not None
            else t
            for t in hole.throws
        ]
        holes.append(replace(hole, throws=tuple(throws)))
    unclear = [*ROUNDS[:-1], replace(played, holes=tuple(holes))]
    focus = focus_of(evidence_of(unclear), possible=possible_evidence(unclear))
    assert focus is not None
    assert pooled_putting([putting_of(one) for one in possible_evidence(unclear)]).putts > 0


def test_the_group_weighs_doubt_as_each_player_does() -> None:
    from shortpencil.scan.practice.players import group_of

    draws = possible_evidence(DOUBTED)
    own = focus_of(evidence_of(DOUBTED), possible=draws)
    group = group_of({"Wren": evidence_of(DOUBTED)}, possible={"Wren": draws})
    assert own is not None
    assert group.foci["Wren"].p == pytest.approx(own.p)
