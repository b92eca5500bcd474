"""Every rate, interval and probability against a published value; the source stands beside the number.

"V" after a source: the value was recomputed with SciPy 1.17.1 / statsmodels 0.15.0 and agrees to the digits
shown. "from memory": the source was not reopened.
"""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from shortpencil.scan.practice import model

FOUR_DIGITS = 6e-5  # a table printed to 4 decimals

# Newcombe 1998, Stat. Med. 17:857-872, Table I (quoted, V)
PROPORTIONS = ((81, 263), (15, 148), (0, 20), (1, 29))
WILSON = ((0.2553, 0.3662), (0.0624, 0.1605), (0.0, 0.1611), (0.0061, 0.1718))
# Jeffreys intervals of the same data (recomputed with SciPy, not in that table)
JEFFREYS = ((0.2545, 0.3656), (0.0604, 0.1576), (0.0, 0.1166), (0.0037, 0.1501))


@pytest.mark.parametrize(("data", "ends"), list(zip(PROPORTIONS, WILSON, strict=True)))
def test_wilson_of_published_table(data, ends):
    got = model.wilson(*data, level=0.95)
    assert (got.low, got.high) == pytest.approx(ends, abs=FOUR_DIGITS)


@pytest.mark.parametrize(("data", "ends"), list(zip(PROPORTIONS, JEFFREYS, strict=True)))
def test_jeffreys_of_the_same_data(data, ends):
    got = model.jeffreys(*data, level=0.95)
    assert (got.low, got.high) == pytest.approx(ends, abs=FOUR_DIGITS)


def test_wilson_of_7_in_50():
    # SciPy documentation, proportion_ci example (V): Wilson .0695083, .2618619
    got = model.wilson(7, 50, level=0.95)
    assert (got.low, got.high) == pytest.approx((0.0695083, 0.2618619), abs=1e-7)


def test_intervals_touch_the_ends_exactly_where_all_or_none_missed():
    for interval in (model.jeffreys, model.wilson):
        assert interval(0, 20).low == 0.0
        assert interval(20, 20).high == 1.0
        assert interval(0, 0).low == 0.0
        assert interval(0, 0).high == 1.0


@given(st.integers(1, 300).flatmap(lambda n: st.tuples(st.integers(0, n), st.just(n))))
def test_wilson_and_jeffreys_agree_and_mirror(data):
    misses, throws = data
    one, two = model.jeffreys(misses, throws), model.wilson(misses, throws)
    assert 0 <= one.low <= one.middle <= one.high <= 1
    assert abs(one.low - two.low) < 0.6 / throws**0.5
    mirrored = model.jeffreys(throws - misses, throws)
    assert (mirrored.low, mirrored.high) == pytest.approx((1 - one.high, 1 - one.low), abs=1e-9)


# Newcombe 1998, Stat. Med. 17:873-890, Table II, method 10 (quoted, V)
DIFFERENCES = {
    ((56, 70), (48, 80)): (0.0524, 0.3339),
    ((9, 10), (3, 10)): (0.1705, 0.8090),
    ((6, 7), (2, 7)): (0.0582, 0.8062),
    ((5, 56), (0, 29)): (-0.0381, 0.1926),
    ((0, 10), (0, 20)): (-0.1611, 0.2775),
    ((0, 10), (0, 10)): (-0.2775, 0.2775),
    ((10, 10), (0, 20)): (0.6791, 1.0),
    ((10, 10), (0, 10)): (0.6075, 1.0),
}


@pytest.mark.parametrize(("data", "ends"), list(DIFFERENCES.items()))
def test_difference_of_published_table(data, ends):
    assert model.difference(*data, level=0.95) == pytest.approx(ends, abs=FOUR_DIGITS)


def test_difference_of_a_second_source():
    # 7/34 - 1/34: .019 .34, Fagerland et al. 2015 as quoted in statsmodels' tests (V .0189 .3404)
    assert model.difference((7, 34), (1, 34), level=0.95) == pytest.approx((0.0189, 0.3404), abs=FOUR_DIGITS)


# -- which cause leads -----------------------------------------------------------------------------------


def test_poll_of_1988():
    # Gelman et al., Bayesian Data Analysis, ch. 3 (from memory; V): 727/583/137, uniform prior,
    # P(first > second) = .9999657. The third has no chance, so P(first leads) is the same number.
    p = model.p_most_frequent([727, 583, 137], prior=1)
    assert p[0] == pytest.approx(0.9999657, abs=2e-7)


@pytest.mark.parametrize(
    ("counts", "expected"),
    [
        # exact fractions: counts 1,0,0 prior 1 -> 11/18; counts 1,0 prior 1 -> 3/4; equal counts -> 1/K
        ([1, 0, 0], [11 / 18, 7 / 36, 7 / 36]),
        ([1, 0], [0.75, 0.25]),
        ([4, 4, 4, 4], [0.25] * 4),
        ([0] * 10, [0.1] * 10),
        ([3], [1.0]),
    ],
)
def test_exact_anchors_of_the_leading_category(counts, expected):
    assert model.p_most_frequent(counts, prior=1) == pytest.approx(expected, abs=2e-6)


# Recomputed with SciPy 1.17.1 by integrating over u; counts over 8 codes, (prior 1/2), (prior 1)
LEADING = {
    (6, 3, 2, 1, 0, 0, 0, 0): ((0.7820, 0.1411), (0.7543, 0.1479)),
    (5, 4, 2, 1, 0, 0, 0, 0): ((0.5742, 0.3330), (0.5547, 0.3293)),
    (12, 6, 4, 2, 0, 0, 0, 0): ((0.9069, 0.0746), (0.8984, 0.0797)),
    (20, 8, 5, 3, 2, 1, 1, 0): ((0.9883, 0.0107), (0.9868, 0.0120)),
    (3, 1, 1, 0, 0, 0, 0, 0): ((0.6803, 0.1175), (0.6085, 0.1237)),
    (2, 2, 1, 1, 0, 0, 0, 0): ((0.3450, 0.3450), (0.3174, 0.3174)),
}


@pytest.mark.parametrize(("counts", "expected"), list(LEADING.items()))
def test_leading_cause_of_eight(counts, expected):
    for prior, (first, second) in zip((0.5, 1.0), expected, strict=True):
        p = model.p_most_frequent(counts, prior=prior)
        assert (p[0], p[1]) == pytest.approx((first, second), abs=FOUR_DIGITS)
        assert p.sum() == pytest.approx(1, abs=1e-12)


def test_leading_category_against_simulation():
    generator = np.random.default_rng(4)
    counts = np.array([5, 3, 3, 0, 1, 0])
    draws = generator.dirichlet(counts + 0.5, size=200_000)
    share = np.bincount(draws.argmax(axis=1), minlength=6) / len(draws)
    assert model.p_most_frequent(counts) == pytest.approx(share, abs=0.004)  # 3.5 standard errors


# -- before and after ------------------------------------------------------------------------------------


def test_beta_posterior_of_placenta_praevia():
    # Gelman et al., Bayesian Data Analysis, ch. 2 (quoted, V): 437/980, uniform prior, 95 % .41507-.47720
    low, high = model.beta_interval(438, 544, level=0.95)
    assert (low, high) == pytest.approx((0.41507, 0.47720), abs=6e-6)


def test_probability_that_a_rate_fell():
    # own example, SciPy: 24/60 -> 14/60: .9755 (Jeffreys), .9742 (uniform); 12/30 -> 7/30: .9178
    assert model.p_rate_fell((24, 60), (14, 60)) == pytest.approx(0.9755, abs=FOUR_DIGITS)
    assert model.p_rate_fell((24, 60), (14, 60), prior=1) == pytest.approx(0.9742, abs=FOUR_DIGITS)
    assert model.p_rate_fell((12, 30), (7, 30)) == pytest.approx(0.9178, abs=FOUR_DIGITS)
    assert model.difference((14, 60), (24, 60), level=0.95) == pytest.approx(
        (-0.3212, -0.0002), abs=FOUR_DIGITS
    )
    assert model.difference((7, 30), (12, 30), level=0.95) == pytest.approx(
        (-0.3778, 0.0672), abs=FOUR_DIGITS
    )


def test_probability_that_a_rate_fell_in_closed_form():
    # P(X < Y) = 1/3 for X ~ Beta(2,1), Y ~ Beta(1,1): the integral of x^2 over the unit interval
    assert model.p_largest_rate([1, 2], [1, 1])[0] == pytest.approx(1 / 3, abs=1e-6)
    assert model.p_largest_rate([7, 7], [3, 3]) == pytest.approx([0.5, 0.5], abs=1e-12)


def test_largest_of_three_rates_against_simulation():
    generator = np.random.default_rng(5)
    a, b = np.array([8.5, 6.5, 9.5]), np.array([10.5, 12.5, 18.5])
    draws = generator.beta(a, b, size=(200_000, 3))
    share = np.bincount(draws.argmax(axis=1), minlength=3) / len(draws)
    assert model.p_largest_rate(a, b) == pytest.approx(share, abs=0.004)


# -- rounds differ ---------------------------------------------------------------------------------------

# NIST/SEMATECH e-Handbook 6.3.3.2, 30 samples of 50 (quoted, V)
NIST_COUNTS = [12, 15, 8, 10, 4, 7, 16, 9, 14, 10, 5, 6, 17, 12, 22, 8, 10, 5, 13, 11, 20, 18, 24, 15, 9, 12]
NIST_COUNTS += [7, 13, 9, 6]


def test_homogeneity_of_the_handbook_data():
    spread = model.spread_between(NIST_COUNTS, [50] * 30)
    # chi-square 85.409 on 29 df, ratio 2.945 (recomputed with SciPy)
    assert spread.chi_square == pytest.approx(85.409, abs=6e-4)
    assert spread.degrees == 29
    assert spread.ratio == pytest.approx(2.945, abs=6e-4)
    assert 2.5 < spread.factor < spread.ratio


def test_one_round_says_nothing_about_spread():
    spread = model.spread_between([7], [18])
    assert (spread.degrees, spread.factor) == (0, model.USUAL_FACTOR)
    assert model.spread_between([0, 0], [18, 18]).factor == model.USUAL_FACTOR


def test_equal_rounds_never_narrow_the_interval():
    assert model.spread_between([6] * 40, [18] * 40).factor == 1.0


def test_pooled_rate_with_half_life_three():
    # own example, arithmetic: misses 9 7 8 5 6 4 of 18 each, half-life 3 rounds
    w = model.weights(6, 3)
    assert w == pytest.approx([0.3150, 0.3969, 0.5, 0.63, 0.7937, 1], abs=FOUR_DIGITS)
    got = model.pooled([9, 7, 8, 5, 6, 4], [18] * 6, w)
    assert got.rate == pytest.approx(0.32893, abs=6e-6)
    assert got.throws == pytest.approx(93.90, abs=6e-3)


# -- tables and many comparisons -------------------------------------------------------------------------


def test_fisher_exact():
    # Fisher's tea table (from memory, V): two-sided .4857, one-sided .2429
    assert model.fisher_exact([[3, 1], [1, 3]]) == pytest.approx((0.4857, 0.2429), abs=FOUR_DIGITS)
    # SciPy documentation, fisher_exact (V): [[6, 2], [1, 4]] two-sided .102564, greater .086247
    assert model.fisher_exact([[6, 2], [1, 4]]) == pytest.approx((0.102564, 0.086247), abs=1e-6)
    # own example, recomputed with SciPy: executed/good 52, executed/bad 10, missed/good 8, missed/bad 20
    assert model.fisher_exact([[52, 10], [8, 20]])[0] == pytest.approx(5.34e-7, rel=2e-3)


def test_trend_in_proportions():
    # Agresti, alcohol and malformation (quoted, V): M^2 6.5699, p .0104
    cases, others = np.array([48, 38, 5, 1, 1]), np.array([17066, 14464, 788, 126, 37])
    z, p = model.trend(cases, cases + others, [0, 0.5, 1.5, 4, 7])
    assert z**2 == pytest.approx(6.5699, abs=FOUR_DIGITS)
    assert z > 0
    assert p == pytest.approx(0.0104, abs=FOUR_DIGITS)
    assert model.trend([0, 0], [18, 18]) == (0.0, 1.0)


def test_benjamini_and_hochberg_1995():
    # their 15 p values, q .05: 4 rejected; adjusted values as in SciPy's documentation (V)
    p = [
        0.0001,
        0.0004,
        0.0019,
        0.0095,
        0.0201,
        0.0278,
        0.0298,
        0.0344,
        0.0459,
        0.3240,
        0.4262,
        0.5719,
        0.6528,
    ]
    p += [0.7590, 1.0]
    expected = [
        0.0015,
        0.0030,
        0.0095,
        0.035625,
        0.0603,
        0.063857,
        0.063857,
        0.0645,
        0.0765,
        0.4860,
        0.581182,
    ]
    expected += [0.714875, 0.753231, 0.813214, 1]
    got = model.adjusted(p)
    assert got == pytest.approx(expected, abs=1e-6)
    assert int((got <= 0.05).sum()) == 4
    assert list(model.adjusted(p[::-1])) == pytest.approx(expected[::-1], abs=1e-6)
    assert model.adjusted([]).size == 0


@given(st.integers(1, 60), st.integers(1, 80))
def test_first_number_that_holds(most, at):
    got = model.first_that(lambda n: n >= at, most)
    assert got == (at if at <= most else None)
