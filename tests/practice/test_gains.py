"""What practice changes: the law, what is learnt from counts, and what a group says."""

from itertools import pairwise

import numpy as np
import pytest

from shortpencil.scan.practice import gains
from shortpencil.scan.practice.gains import Counts, Laws, group_laws, learnt, usual_laws


def counts(misses, throws, sessions):
    return Counts(*(np.array(a, dtype=float) for a in (misses, throws, sessions)))


def test_each_session_takes_the_same_share_of_what_is_left():
    """Heathcote, Brown and Mewhort 2000: under an exponential the relative learning rate is constant."""
    s = np.arange(10.0)
    left = 1.2 - gains.fall(s, 1.2, 0.25)
    assert left[1:] / left[:-1] == pytest.approx(np.exp(-0.25))
    assert gains.fall(np.array(3.0), 1.2, 0.25) == pytest.approx(1.2 * (1 - np.exp(-0.75)))


def test_weights_of_the_laws_sum_to_one():
    laws = usual_laws()
    assert sum(laws.weight) == pytest.approx(1)
    assert laws.p_alike == pytest.approx(gains.WEIGHT_STEADY)
    assert laws.weight[laws.most.index(0.0)] == pytest.approx(gains.WEIGHT_NONE * (1 - gains.WEIGHT_STEADY))


def test_steady_gains_are_as_good_each_time():
    s = np.arange(30.0)
    steps = np.diff(gains.fall(s, gains.FAR, 0.03 / gains.FAR))
    assert steps == pytest.approx(0.03, rel=0.02)


def test_with_nothing_practised_the_rate_is_the_usual_posterior():
    """Placenta praevia, 437 of 980: posterior mean .446, 95 % .415 to .477 (Gelman et al., BDA, ch. 3).

    The prior of the start is weak beside 980 births, and its grid is 0.15 wide in log odds, so to .004.
    """
    belief = learnt(counts([[437]], [[980]], [[0]]), np.zeros(1), phases=1)
    assert belief.rate()[0] == pytest.approx(0.446, abs=0.004)


def test_more_sessions_bring_less_each():
    belief = learnt(counts([[60]], [[200]], [[0]]), np.zeros(1), phases=1)
    brought = [belief.gain(more)[0] for more in range(12)]
    assert all(a > b > 0 for a, b in pairwise(brought))


def test_a_fall_with_practice_is_believed_the_more_the_clearer_it_is():
    fell = learnt(counts([[60, 30]], [[150, 150]], [[0, 6]]), np.full(1, 6.0), phases=1)
    same = learnt(counts([[45, 45]], [[150, 150]], [[0, 6]]), np.full(1, 6.0), phases=1)
    none = fell.laws.most.index(0.0)
    assert fell.weight[0, :, none].sum() < 0.2 * gains.WEIGHT_NONE
    assert same.weight[0, :, none].sum() > gains.WEIGHT_NONE
    assert fell.rate()[0] == pytest.approx(0.21, abs=0.03)


def test_posterior_on_the_grid_is_bayes_rule_in_plain_loops():
    laws = Laws((0.0, 1.0), (0.1, 0.25), (0.3, 0.7), (False, False))
    belief = learnt(
        counts([[8, 5]], [[20, 20]], [[0, 4]]),
        np.full(1, 4.0),
        counts([[3]], [[10]], [[4]]),
        laws,
        phases=1,
    )
    by_hand = np.zeros((len(gains.START), 2))
    for i, start in enumerate(gains.START):
        for j in range(2):
            down = laws.most[j] * (1 - np.exp(-laws.speed[j] * 4))
            r0, r4 = (1 / (1 + np.exp(-(start - d))) for d in (0, down))
            told = 0.0
            for ease in gains._EASE:
                fail = 1 / (1 + np.exp(-(start - down - ease)))
                told += fail**3 * (1 - fail) ** 7 * np.exp(-0.5 * (ease / gains.EASE_SD) ** 2)
            prior = laws.weight[j] * np.exp(-0.5 * ((start - gains.START_MEAN) / gains.START_SD) ** 2)
            by_hand[i, j] = prior * told * r0**8 * (1 - r0) ** 12 * r4**5 * (1 - r4) ** 15
    assert belief.weight[0] == pytest.approx(by_hand / by_hand.sum())


def test_a_group_that_gains_nothing_lowers_the_hope():
    rng = np.random.default_rng(3)
    sessions = np.tile(np.arange(20.0), (60, 1))
    throws = np.full((60, 20), 40.0)
    same = Counts(rng.binomial(40, 0.3, (60, 20)).astype(float), throws, sessions)
    falling = rng.binomial(40, 1 / (1 + np.exp(0.8 + 1.2 * (1 - np.exp(-0.25 * sessions)))))
    fell = Counts(falling.astype(float), throws, sessions)
    none = usual_laws().most.index(0.0)
    assert group_laws([(same, None)]).weight[none] > 5 * usual_laws().weight[none]
    assert group_laws([(fell, None)]).weight[none] < usual_laws().weight[none]
    assert sum(group_laws([(fell, None)]).weight) == pytest.approx(1)


def test_no_group_is_the_usual():
    assert group_laws([]) == usual_laws()


def test_phases_that_learn_alike_are_judged_together_in_plain_loops():
    """Two laws of each phase's own and one that holds for all three: Bayes' rule over the nine cases."""
    laws = Laws((0.0, 1.0, 80.0), (0.1, 0.25, 0.03 / 80), (0.2, 0.4, 0.4), (False, False, True))
    log = np.log(np.array([[0.2, 0.5, 0.3], [0.1, 0.2, 0.4], [0.6, 0.3, 0.2]]))
    like = np.exp(log)
    cases = {}
    for a in range(2):
        for b in range(2):
            for c in range(2):
                own = [laws.weight[i] / 0.6 * like[k, i] for k, i in enumerate((a, b, c))]
                cases[a, b, c] = 0.6 * np.prod(own)
    cases[2, 2, 2] = 0.4 * np.prod(like[:, 2])
    total = sum(cases.values())
    expected = [
        [sum(p for case, p in cases.items() if case[k] == law) / total for law in range(3)] for k in range(3)
    ]
    assert gains._laws_of(log, laws, 3) == pytest.approx(np.array(expected))


def test_a_group_whose_gains_are_steady_raises_the_belief_in_steady_gains():
    rng = np.random.default_rng(4)
    sessions = np.tile(np.repeat(np.arange(0.0, 50.0, 5.0), 1), (120, 1))
    throws = np.full(sessions.shape, 60.0)

    def group(fall):
        rate = 1 / (1 + np.exp(0.4 + fall))
        return group_laws([(Counts(rng.binomial(60, rate).astype(float), throws, sessions), None)])

    assert group(0.03 * sessions).p_alike > 0.8
    assert group(0.6 * (1 - np.exp(-0.3 * sessions))).p_alike < 0.1
