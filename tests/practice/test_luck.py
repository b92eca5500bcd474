from dataclasses import replace

import numpy as np
import pytest

from shortpencil.scan.practice import luck
from shortpencil.scan.practice.focus import focus_of
from shortpencil.scan.practice.history import history_of
from shortpencil.scan.practice.model import Interval
from shortpencil.scan.practice.plan import plan_of
from shortpencil.scan.practice.report import luck_sentence, report_of
from tests.practice.invented import Player, blank, hole, known, one_round, rounds_of, throw
from tests.practice.test_plan import DRILLS


def test_luck_is_score_minus_what_the_marks_would_bring():
    rounds = rounds_of(Player(), 30, np.random.default_rng(8))
    # the last round again, but each hole took one throw more, after the same marks
    worse = replace(
        rounds[-1],
        id="z",
        holes=tuple(replace(h, score=known(h.score.value + 1)) for h in rounds[-1].holes),
    )
    e = history_of([*rounds, worse])
    same, more = luck.luck_of(e, 29), luck.luck_of(e, 30)
    assert more.score == same.score + 18
    assert more.strokes.middle - same.strokes.middle == pytest.approx(18, abs=1.5)
    assert more.strokes.low < more.strokes.middle < more.strokes.high
    assert more.surprises[0].strokes > 1


def test_a_last_round_as_usual_is_not_told_as_0_strokes_more():
    e = history_of(rounds_of(Player(), 12, np.random.default_rng(8)))
    f = focus_of(e)
    report = report_of(e, f, plan_of(f, 30, DRILLS))
    for strokes, said in (
        (0.04, ", as many as your marks usually bring"),
        (-0.04, ", as many as your marks usually bring"),
        (0.06, ", 0.1 more than"),
        (-0.06, ", 0.1 fewer than"),
    ):
        one = replace(report.luck, strokes=Interval(strokes - 1, strokes, strokes + 1))
        assert said in luck_sentence(replace(report, luck=one))


def test_prediction_against_ordinary_least_squares():
    import statsmodels.api as sm  # outside check

    e = history_of(rounds_of(Player(), 100, np.random.default_rng(2)))
    design = np.column_stack([np.ones(len(e.hole_score)), e.hole_misses])
    fit = sm.OLS(e.hole_score - e.hole_par, design)
    last = e.hole_round == 99
    outside = sm.OLS(fit.endog[~last], design[~last]).fit()
    expected = float((fit.endog[last] - design[last] @ outside.params).sum())
    assert luck.luck_of(e, 99).strokes.middle == pytest.approx(expected, abs=0.05)


def test_luck_needs_other_rounds_and_a_score():
    rounds = rounds_of(Player(), 3, np.random.default_rng(9))
    assert luck.luck_of(history_of(rounds), 2) is None
    bare = one_round("x", [replace(hole(1, [throw(1, "drive", "miss")]), score=blank())])
    assert luck.luck_of(history_of([bare]), 0) is None


def test_a_hard_course_is_no_bad_luck():
    easy = rounds_of(Player(), 6, np.random.default_rng(10))
    hard = [
        replace(
            r,
            id=f"h{r.id}",
            course="Quarry",
            holes=tuple(replace(h, score=known(h.score.value + 1)) for h in r.holes),
        )
        for r in rounds_of(Player(), 6, np.random.default_rng(11))
    ]
    e = history_of([*easy, *hard])
    at = next(i for i, h in enumerate(e.heads) if h.id == hard[-1].id)
    assert abs(luck.luck_of(e, at).strokes.middle) < 8  # against all rounds it would be about 9 more
    assert luck.luck_of(e, at).compared_rounds == 5


def test_luck_interval_holds_its_share_of_repeated_worlds():
    # True expectation by brute force: the mean score of holes with the same misses in a large sample.
    big = history_of(rounds_of(Player(), 400, np.random.default_rng(10)))
    x, y, known_ = luck._design(big)
    truth = luck._fit(x[known_], y[known_]).coefficients
    inside = 0
    for seed in range(24):
        e = history_of(rounds_of(Player(), 12, np.random.default_rng(100 + seed)))
        got = luck.luck_of(e, 11)
        x, y, _ = luck._design(e)
        last = e.hole_round == 11
        true_luck = float((y[last] - x[last] @ truth).sum())
        inside += got.strokes.low <= true_luck <= got.strokes.high
    assert 18 <= inside <= 24
