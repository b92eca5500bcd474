"""Whether practice helped: said seldom without reason, and said where it did."""

from datetime import date, timedelta

import numpy as np
import pytest
from scipy.stats import combine_pvalues

from scan.practice.evidence import evidence_of
from scan.practice.helped import compared, helped_of, p_fall, p_together, sentence, together_sentence
from scan.practice.sessions import Session
from tests.practice.invented import Player, rounds_of

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


def _season(falls: float, seed: int):
    rng = np.random.default_rng(seed)
    rounds = []
    for i in range(24):
        miss = 1 / (1 + np.exp(0.4 + falls * (1 - np.exp(-0.25 * i))))
        day = START + timedelta(days=7 * i)
        rounds += rounds_of(Player(miss=(0.3, 0.3, miss)), 1, rng, start=day, prefix=f"r{i:02d}")
    sessions = [Session(START + timedelta(days=7 * i + 3), 2) for i in range(23)]
    return evidence_of(rounds), sessions


def test_a_large_fall_is_told_with_counts_and_what_else_may_have_done_it():
    (putts,) = helped_of(*_season(1.6, 3))
    assert putts.verdict == "fell"
    assert putts.last.middle < putts.first.middle
    assert "missed less since you practise them" in sentence(putts)
    assert "It helped" in together_sentence([putts])


def test_a_large_fall_is_told_in_most_seasons():
    """From 40 to about 12 % within ten sessions, seven rounds on either side."""
    told = [helped_of(*_season(1.6, seed))[0].verdict == "fell" for seed in range(12)]
    assert sum(told) >= 8


def test_without_a_fall_it_stays_open_with_what_it_would_take():
    (putts,) = helped_of(*_season(0.0, 3))
    assert putts.verdict == "open"
    assert "stands out from chance" in sentence(putts)
    assert "throws at first and as many lately" in sentence(putts)
    assert "open" in together_sentence([putts])


def test_two_sessions_are_too_early():
    e, sessions = _season(1.6, 1)
    (putts,) = helped_of(e, sessions[:2])
    assert putts.verdict == "early"
    assert "too early" in sentence(putts)
    assert together_sentence([putts]) is None
