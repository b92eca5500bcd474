import numpy as np
import pytest

from shortpencil.scan.practice import causes as c
from shortpencil.scan.practice.history import history_of
from tests.practice.invented import Player, hole, known, one_round, rounds_of, throw


def noted(*notes, hand="right"):
    """A round with one missed drive a hole, noted as (cause, ways, forehand)."""
    holes = [
        hole(
            n,
            [
                throw(
                    1,
                    "drive",
                    "miss",
                    directions=tuple(ways),
                    forehand=forehand,
                    cause=known(cause) if cause else None,
                ),
                throw(2, "putt", "clean", True),
            ],
        )
        for n, (cause, ways, forehand) in enumerate(notes, start=1)
    ]
    return history_of([one_round("a", holes, hand=known(hand))])


# Common practice of the trade: where a late release lands, as the thrower sees it.
LATE = {
    ("right", False): "right",
    ("right", True): "left",
    ("left", False): "left",
    ("left", True): "right",
}


@pytest.mark.parametrize(("throw_", "side"), list(LATE.items()))
def test_late_side_by_hand_and_throw(throw_, side):
    assert c.late_side(*throw_) == side


def test_sides_are_mirrored_before_they_are_added():
    right = noted(("late", ["right"], False), ("late", ["left"], True))
    left = noted(("late", ["left"], False), ("late", ["right"], True), hand="left")
    for e in (right, left):
        side = c.causes_of(e, 0, "drive").side
        assert (side.late, side.early) == (2, 0)


def test_counts_and_probability_of_the_leading_cause():
    notes = [("late", ["right"], False)] * 3 + [("nose", ["short"], False), ("tilt", ["left"], False)]
    got = c.causes_of(noted(*notes), 0, "drive", labels={k: k for k in list(c.CAUSE_WORDS)[:8]})
    assert [(s.id, s.count) for s in got.causes[:3]] == [("late", 3), ("nose", 1), ("tilt", 1)]
    # recomputed with SciPy: counts 3 1 1 0 0 0 0 0, prior 1/2, P(first leads) .6803
    assert got.leading.p_leads == pytest.approx(0.6803, abs=6e-5)
    assert got.level == "not settled"
    assert got.table[("late", "right")] == 3
    assert got.more_rounds is not None
    assert 1 <= got.more_rounds <= 4


def test_causes_of_ones_own_are_counted_and_read_out():
    got = c.causes_of(noted(*[("loose_grip", ["left"], False)] * 4), 0, "drive")
    assert got.leading.words == "loose grip"
    assert len(got.causes) == 11
    named = c.causes_of(noted(("x", [], False)), 0, "drive", labels={"x": "sun in my eyes"})
    assert named.leading.words == "sun in my eyes"


def test_a_side_suggests_and_never_overwrites():
    got = c.causes_of(noted(*[("nose", ["right"], False)] * 6), 0, "drive")
    assert got.leading.id == "nose"
    assert "late" in got.suggestion
    assert got.agrees is False
    agreeing = c.causes_of(noted(*[("late", ["right"], False)] * 6), 0, "drive")
    assert agreeing.agrees is True
    blank = c.causes_of(noted(*[(None, ["left"], False)] * 6), 0, "drive")
    assert blank.leading is None
    assert "early" in blank.suggestion
    assert blank.agrees is None


def test_a_few_sides_or_both_sides_suggest_nothing():
    assert c.causes_of(noted(*[(None, ["right"], False)] * 3), 0, "drive").suggestion is None
    even = [(None, ["right"], False)] * 5 + [(None, ["left"], False)] * 4
    assert c.causes_of(noted(*even), 0, "drive").suggestion is None
    both = c.causes_of(noted(*[(None, ["left", "right"], False)] * 8), 0, "drive")
    assert (both.side.late, both.side.early) == (0, 0)


def test_notes_of_other_phases_and_of_old_rounds_stay_out():
    e = history_of(rounds_of(Player(notes="putt"), 6, np.random.default_rng(3)))
    assert c.causes_of(e, 0, "drive").notes == 0
    every = c.causes_of(e, 2, "putt")
    late = c.causes_of(e, 2, "putt", recent=[False] * 4 + [True] * 2)
    assert 0 < late.notes < every.notes
    assert late.rounds == 2


def test_a_level_goes_by_the_percent_that_are_told():
    # .896 is told as 90 %: it would be likely in one week and clear in the next, both with 90 %.
    assert [c.level_of(p) for p in (0.8951, 0.8949, 0.6951, 0.6949)] == [
        "clear",
        "likely",
        "likely",
        "not settled",
    ]


def test_levels_in_words():
    assert [c.level_of(p) for p in (0.95, 0.90, 0.75, 0.70, 0.69)] == [
        "clear",
        "clear",
        "likely",
        "likely",
        "not settled",
    ]


def test_equal_causes_are_out_of_sight_and_none_is_none():
    even = [(cause, [], False) for cause in ("late", "nose")] * 2
    assert c.causes_of(noted(*even), 0, "drive").more_rounds is None
    assert c.causes_of(noted(), 0, "drive").leading is None


def test_own_words_come_newest_first():
    rounds = [
        one_round(
            name,
            [hole(4, [throw(1, "drive", "miss", words=name, words_picture=f"{name}.png")])],
        )
        for name in ("a", "b")
    ]
    got = c.causes_of(history_of(rounds), 0, "drive")
    assert [(w.text, w.picture, w.hole) for w in got.own_words] == [("b", "b.png", 4), ("a", "a.png", 4)]


def test_a_share_is_that_of_its_dirichlet():
    # the poll of 1988, uniform prior: Dirichlet(728, 584, 138) (Gelman et al., Bayesian Data Analysis, ch. 3)
    from scipy.stats import beta

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(c, "_EVENNESS", np.array([1.0]))
        patch.setattr(c, "ALONE", 0.0)
        got = c.shares_of([727, 583, 137], 727)
    assert got.middle == pytest.approx(728 / 1450)
    assert (got.low, got.high) == pytest.approx(beta(728, 722).ppf([0.05, 0.95]), abs=2e-3)


def test_the_share_of_the_one_picked_for_leading_is_held():
    g = np.random.default_rng(14)
    held, counted = [], []
    for _ in range(300):
        true = np.insert(g.dirichlet(np.ones(9)) * 0.6, 0, 0.4)
        counts = g.multinomial(8, true)
        top = int(counts.argmax())
        share = c.shares_of(counts.tolist(), int(counts[top]))
        held.append(share.low <= true[top] <= share.high)
        counted.append(counts[top] / 8 - share.middle)
    # nine in ten of 300: below .85 has a chance of under 1 %
    assert np.mean(held) >= 0.85
    assert np.mean(counted) > 0.03, "the share counted is too high, having been picked"
