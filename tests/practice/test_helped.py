"""Whether practice helped: said seldom without reason, and said where it did."""

from datetime import date, timedelta

import numpy as np
import pytest
from scipy.stats import combine_pvalues

from shortpencil.scan.practice.helped import (
    OTHER_REASONS,
    compared,
    judged,
    judged_sentence,
    p_fall,
    p_together,
    sentence,
    slope,
    worth_knowing,
)
from shortpencil.scan.practice.history import history_of
from shortpencil.scan.practice.model import throws_for
from shortpencil.scan.practice.sessions import Session
from tests.practice.invented import Player, only_marked, only_misses_marked, rounds_of
from tests.practice.test_effect import counted

START = date(2030, 4, 1)


def test_phases_together_by_stouffer_as_scipy_has_it():
    chances = [0.04, 0.3, 0.11]
    assert p_together(chances) == pytest.approx(combine_pvalues(chances, method="stouffer").pvalue)
    assert p_together([]) == 1.0


def test_the_rounds_that_chose_the_phase_are_left_out():
    dose = np.array([0, 0, 0, 0, 0, 0, 0, 1, 2.0])
    assert compared(dose).tolist() == [True, True, *[False] * 5, True, True]
    assert compared(np.zeros(9)).sum() == 4


def test_unchanged_misses_are_called_fallen_no_more_often_than_said():
    """2,000 players whose rounds differ (sd 0.3 of the log odds): 1 in 20, within three standard errors."""
    rng = np.random.default_rng(8)
    dose = np.minimum(np.arange(30.0), 20)
    told = 0
    for _ in range(2000):
        rate = 1 / (1 + np.exp(0.85 + 0.3 * rng.standard_normal(30)))
        told += p_fall(rng.binomial(24, rate).astype(float), np.full(30, 24.0), dose) < 0.05
    assert told / 2000 < 0.05 + 3 * (0.05 * 0.95 / 2000) ** 0.5


def _season(falls: float, seed: int, marked=lambda played: played):
    rng = np.random.default_rng(seed)
    rounds = []
    for i in range(24):
        miss = 1 / (1 + np.exp(0.4 + falls * (1 - np.exp(-0.25 * i))))
        day = START + timedelta(days=7 * i)
        rounds += rounds_of(Player(miss=(0.3, 0.3, miss)), 1, rng, start=day, prefix=f"r{i:02d}")
    sessions = [Session(START + timedelta(days=7 * i + 3), 2) for i in range(23)]
    return history_of([marked(played) for played in rounds]), sessions


def test_a_large_fall_is_told_with_counts_and_what_else_may_have_done_it():
    found = judged(*_season(1.6, 3))
    (putts,) = found.phases
    assert putts.verdict == "fell"
    assert found.verdict == "helped"
    assert found.helped("putt")
    assert not found.helped("drive")
    assert putts.last.middle < putts.first.middle
    assert "missed less since you practise them" in sentence(putts)
    assert "It helped" in judged_sentence(found)
    assert "by more than what you did not practise" in judged_sentence(found)
    assert "kinder or stricter eye" in OTHER_REASONS


def test_a_large_fall_is_told_in_most_seasons():
    """From 40 to about 12 % within ten sessions, seven rounds on either side."""
    told = [judged(*_season(1.6, seed)).verdict == "helped" for seed in range(12)]
    assert sum(told) >= 8


def test_without_a_fall_it_stays_open_with_what_it_would_take():
    found = judged(*_season(0.0, 3))
    (putts,) = found.phases
    assert putts.verdict == "open"
    assert "stands out from chance" in sentence(putts)
    assert "throws at first and as many lately" in sentence(putts)
    assert "open" in judged_sentence(found)


def test_two_sessions_are_too_early():
    e, sessions = _season(1.6, 1)
    found = judged(e, sessions[:2])
    (putts,) = found.phases
    assert putts.verdict == "early"
    assert "too early" in sentence(putts)
    assert judged_sentence(found) is None


def test_a_day_told_by_hand_is_judged_by_the_same_rule():
    e, sessions = _season(1.6, 3)
    found = judged(e, (), since=(2, START + timedelta(days=7 * 8)))
    assert found.verdict == "helped"
    assert found.phases[0].sessions == 0
    same = judged(e, sessions, since=(2, START))
    assert same.p == judged(e, sessions).p


@pytest.mark.parametrize(("falls", "said"), [(2.0, "missed less since"), (-2.0, "missed more, in spite of")])
def test_where_nothing_else_is_marked_nothing_stands_beside_it(falls, said):
    # It ended with an error: the change of no throws is no number.
    found = judged(*_season(falls, 3, lambda played: only_marked(played, "putt")))
    assert np.isnan(found.phases[0].others)
    told = sentence(found.phases[0])
    assert said in told
    assert "other" not in told
    assert "nan" not in told


def test_cards_of_misses_alone_are_not_called_too_early_for_ever():
    """23 sessions and 24 rounds were "too early to judge: it takes 3 sessions and 6 rounds"."""
    found = judged(*_season(2.0, 3, only_misses_marked))
    assert judged_sentence(found) is None
    assert [h.verdict for h in found.phases] == ["no rates"]
    assert "can't be judged from cards that mark only misses" in sentence(found.phases[0])
    history, _ = _season(2.0, 3)
    few = judged(history, [Session(START, 2), Session(START + timedelta(days=2), 2)])
    assert [h.verdict for h in few.phases] == ["early"]


def test_a_phase_that_is_practised_and_never_marked_is_not_too_early_to_judge():
    history, _ = _season(2.0, 3, lambda played: only_marked(played, "putt"))
    found = judged(history, [Session(START + timedelta(days=7 * i + 3), 1) for i in range(9)])
    assert [h.verdict for h in found.phases] == ["unmarked"]
    assert sentence(found.phases[0]).startswith("Approaches: 9 sessions; none are marked in your rounds")
    assert judged_sentence(found) is None


def test_what_all_phases_did_is_no_help():
    """Every phase falls alike, one is practised: the fall is not beyond the others."""
    rng = np.random.default_rng(5)
    rounds = []
    for i in range(24):
        miss = 1 / (1 + np.exp(0.4 + 1.6 * (1 - np.exp(-0.25 * i))))
        day = START + timedelta(days=7 * i)
        rounds += rounds_of(Player(miss=(miss,) * 3), 1, rng, start=day, prefix=f"r{i:02d}")
    found = judged(history_of(rounds), [Session(START + timedelta(days=7 * i + 3), 2) for i in range(23)])
    assert found.p < 0.05
    assert found.verdict == "not beyond"
    assert "is missed less than before, but beside what you did not" in judged_sentence(found)
    # No word of the phase that the one statement contradicts: it did fall by more than chance.
    assert found.phases[0].verdict == "not beyond"
    said = sentence(found.phases[0])
    assert said.startswith("Putts: missed less than before, ")
    assert "stands out from chance" not in said
    assert not found.helped("putt")


def test_what_falls_only_together_is_said_to_be_open_by_itself():
    """Two phases that fall by so little each that only both together stand out."""
    rng = np.random.default_rng(8)
    for seed in range(60):
        rounds, sessions = [], []
        for i in range(24):
            gone = 1 - np.exp(-0.1 * i)
            miss = tuple(1 / (1 + np.exp(0.4 + fall * gone)) for fall in (0.8, 0.0, 0.8))
            day = START + timedelta(days=7 * i)
            rounds += rounds_of(Player(miss=miss), 1, rng, start=day, prefix=f"r{seed:02d}{i:02d}")
            sessions.append(Session(day + timedelta(days=3), 2 * (i % 2)))
        found = judged(history_of(rounds), sessions[:-1])
        told = [h.verdict for h in found.phases]
        if found.verdict in ("helped", "not beyond") and "alone open" in told:
            break
    assert "by itself no change that stands out" in sentence(found.phases[told.index("alone open")])
    assert "open" not in told


def test_the_slope_is_petos_one_step_log_odds_ratio_for_two_groups():
    """15 of 100 against 30 of 100: O - E = -7.5, V = n1 n2 m (N - m) / (N^2 (N - 1)), worked by hand."""
    log_odds, variance = slope(np.array([30.0, 15.0]), np.array([100.0, 100.0]), np.array([0.0, 1.0]))
    v = 100 * 100 * 45 * 155 / (200**2 * 199)
    assert log_odds == pytest.approx(-7.5 / v)
    assert variance == pytest.approx(1 / v)


def test_the_slope_is_near_logistic_regressions():
    sm = pytest.importorskip("statsmodels.api")
    score, throws = np.linspace(0, 1, 12), np.full(12, 60.0)
    misses = np.array([20, 19, 21, 18, 20, 17, 18, 16, 17, 15, 16, 14.0])
    fit = sm.GLM(
        np.column_stack([misses, throws - misses]), sm.add_constant(score), family=sm.families.Binomial()
    ).fit()
    log_odds, variance = slope(misses, throws, score)
    assert log_odds == pytest.approx(fit.params[1], rel=0.03)
    assert variance**0.5 == pytest.approx(fit.bse[1], rel=0.03)


def test_who_misses_little_is_told_of_a_fall_that_can_be():
    """It said "a fall of ten points" of somebody who misses 8 %, and counted throws for one to 2 %."""
    assert worth_knowing(0.46) == pytest.approx(0.36)
    assert worth_knowing(0.08) == pytest.approx(0.04)
    e = counted(*[(1, 17), (2, 16)] * 9)
    (one,) = judged(e, [Session(START + timedelta(days=i + 1), 0) for i in range(5)]).phases
    said = sentence(one)
    assert (
        f"A fall from 8 % to 4 % shows, four times in five, once there are about {one.throws_needed}" in said
    )
    assert one.throws_needed == throws_for(one.base, one.base / 2)


def test_where_nothing_was_missed_at_first_no_fall_is_told_of():
    e = counted(*[(0, 18)] * 9, *[(2, 16)] * 9)
    (one,) = judged(e, [Session(START + timedelta(days=i + 1), 0) for i in range(5)]).phases
    assert "A fall from" not in sentence(one)
