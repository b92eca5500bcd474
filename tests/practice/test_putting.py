from math import pi

import numpy as np
import pytest

from shortpencil.scan.practice import putting as p
from shortpencil.scan.practice.history import history_of
from tests.practice.invented import blank, hole, known, one_round, throw

# Golf putting: Berry 1995/96; Gelman & Nolan 2002; Gelman's case study of 2019 (R, V)
FEET = np.arange(2, 21)
TRIES = [1443, 694, 455, 353, 272, 256, 240, 217, 200, 237, 202, 192, 174, 167, 201, 195, 191, 147, 152]
HOLED = [1346, 577, 337, 208, 149, 136, 111, 69, 67, 75, 52, 46, 54, 28, 27, 31, 33, 20, 24]
GOLF_REACH_FT = 0.107083  # R - r: radius of the hole, 4.25/2 in, less that of the ball, 1.68/2 in


def deviance(chance):
    n, k = np.array(TRIES, float), np.array(HOLED, float)
    return 2 * float(np.sum(k * np.log(k / (n * chance)) + (n - k) * np.log((n - k) / (n * (1 - chance)))))


def test_golf_angle_curve():
    # published: about 1.5 degrees; by maximum likelihood .0266454 rad, deviance 60.31 on 18 degrees
    fitted = p.angle_chance(FEET, 0.0266454, GOLF_REACH_FT)
    assert deviance(fitted) == pytest.approx(60.31, abs=6e-3)
    assert deviance(p.angle_chance(FEET, 0.0266454 * 1.02, GOLF_REACH_FT)) > 60.4
    at = p.angle_chance([2, 3, 5, 10, 15, 20], 0.0266454, GOLF_REACH_FT)
    assert at == pytest.approx([0.9556, 0.8197, 0.5785, 0.3122, 0.2112, 0.1593], abs=6e-5)


def test_the_curve_follows_the_published_golf_putts():
    # In feet as if they were metres: the basket's curve before any putt is far off, the putts must win. The
    # published curves have deviances of 60.31 (angle) and 255.34 (logistic) on these 5,988 putts.
    fit = p.fit_curve(FEET.astype(float), TRIES, HOLED)
    low, middle, high = fit.band(FEET.astype(float))
    assert deviance(middle) < 60.31
    seen = np.array(HOLED) / np.array(TRIES)
    assert np.mean((low - 0.02 <= seen) & (seen <= high + 0.02)) > 0.8
    assert np.all(high - low < 0.12)


def test_the_fit_is_the_one_of_a_reference_library():
    # scikit-learn's classifier by Laplace's approximation, with the same covariance and no curve before
    from sklearn.gaussian_process import GaussianProcessClassifier
    from sklearn.gaussian_process.kernels import RBF, ConstantKernel, DotProduct

    x = np.array([2.0, 3.0, 4.0, 6.0, 8.0, 11.0])
    tries, holed = np.array([9, 8, 12, 10, 7, 5]), np.array([9, 7, 9, 6, 3, 1])
    with pytest.MonkeyPatch.context() as patch:
        # the reference knows no arms and no chains
        patch.setattr(p, "prior_log_odds", lambda at, sigma, spit_out: np.zeros((len(sigma), len(at))))
        ours = p.fit_curve(x, tries, holed)
        mean, sd = ours.log_odds(np.array([5.0, 9.0]))
    u = np.log(x / 5.0)
    kernel = (
        ConstantKernel(p.LEVEL_SD**2)
        + ConstantKernel(p.SLOPE_SD**2) * DotProduct(sigma_0=0.0, sigma_0_bounds="fixed")
        + ConstantKernel(p.BEND_SD**2) * RBF(p.BEND_LENGTH)
    )
    rows = np.repeat(u, tries)[:, None]
    labels = np.concatenate([np.arange(n) < k for n, k in zip(tries, holed, strict=True)]).astype(int)
    theirs = GaussianProcessClassifier(kernel, optimizer=None, random_state=0).fit(rows, labels)
    base = theirs.base_estimator_
    assert ours.log_evidence == pytest.approx(base.log_marginal_likelihood_value_, abs=1e-3)
    cross = kernel(np.log(np.array([[5.0], [9.0]]) / 5.0), rows)
    f = cross @ (labels - base.pi_)
    assert mean == pytest.approx(f, abs=1e-3)
    assert np.all(sd > 0)


def test_without_bends_the_curve_is_the_mean_over_arms_and_chains():
    # by SciPy's quadrature over the arm, and a sum over what the chains let out
    from scipy.integrate import quad

    x, tries, holed = np.array([2.0, 4.0, 6.0, 9.0]), np.array([3, 4, 3, 2]), np.array([3, 3, 2, 0])

    def chance(arm, spit_out):
        return (1 - spit_out) * p.angle_chance(x, p.PRIOR_SIGMA_RAD * np.exp(p.STEADY_SD * arm))

    def weight(arm, spit_out):
        c = chance(arm, spit_out)
        return float(np.exp(-0.5 * arm**2) * np.prod(c**holed * (1 - c) ** (tries - holed)))

    def mean(of):
        return sum(
            share * quad(lambda a, out=out: of(a, out) * weight(a, out), -4, 4)[0]
            for out, share in p.SPIT_OUT
        )

    def log_odds_at(i):
        return lambda arm, out: np.log(chance(arm, out)[i] / (1 - chance(arm, out)[i]))

    with pytest.MonkeyPatch.context() as patch:
        for name in ("LEVEL_SD", "SLOPE_SD", "BEND_SD"):
            patch.setattr(p, name, 1e-6)
        ours = p.fit_curve(x, tries, holed)
        curve, _ = ours.log_odds(x)
    whole = mean(lambda arm, out: 1.0)
    expected = [mean(log_odds_at(i)) / whole for i in range(1, 4)]
    assert curve[1:] == pytest.approx(expected, abs=0.01)
    assert ours.log_evidence == pytest.approx(np.log(whole / np.sqrt(2 * pi)), abs=0.02)


def test_a_band_holds_nine_tenths_of_what_is_believed():
    # drawn curves by the mixture's parts: a tenth lies outside of the band, a twentieth on either side
    fit = p.fit_curve([2.0, 4.0, 6.0, 9.0], [9, 8, 8, 6], [9, 6, 4, 1])
    at = np.array([2.5, 5.0, 8.0])
    mean, sd = fit._each(at)
    draws = np.random.default_rng(3)
    which = draws.choice(len(fit.share), 20_000, p=fit.share)
    odds = mean[which] + sd[which] * draws.standard_normal((20_000, len(at)))
    low, middle, high = fit._quantiles(at, (0.05, 0.5, 0.95))
    assert (odds < low).mean(axis=0) == pytest.approx(0.05, abs=0.006)
    assert (odds < middle).mean(axis=0) == pytest.approx(0.5, abs=0.015)
    assert (odds > high).mean(axis=0) == pytest.approx(0.05, abs=0.006)


def test_chains_that_spit_out_are_told_from_an_arm():
    # 8 of 100 stay out from 2 m as from 3: no arm does that, and a steady one would hole them all
    spat = p.fit_curve([2.0, 3.0, 6.0], [100, 100, 60], [92, 91, 45])
    steady = p.fit_curve([2.0, 3.0, 6.0], [100, 100, 60], [100, 100, 45])
    believed = sum(share for out, share in p.SPIT_OUT if out)
    assert spat.share[spat.spit_out > 0].sum() > 0.8 > believed
    assert steady.share[steady.spit_out > 0].sum() < 0.1 < believed
    low, _, high = spat.band(np.array([1.5, 2.0, 3.0]))
    assert low[1] < 0.92 < high[1]
    assert high[1] < steady.band(np.array([1.5, 2.0, 3.0]))[0][1]


# The same geometry for a basket, our adaptation, recomputed with SciPy; w .285 m
BASKET_M = [3, 4, 5, 6, 7, 8, 9, 10, 12, 15, 20]
BASKET = {
    2.5: [0.9708, 0.8978, 0.8088, 0.7239, 0.6494, 0.5859, 0.5321, 0.4864, 0.4138, 0.3368, 0.2560],
    1.5: [0.9997, 0.9935, 0.9706, 0.9305, 0.8802, 0.8265, 0.7736, 0.7237, 0.6357, 0.5320, 0.4138],
}


@pytest.mark.parametrize("degrees", [2.5, 1.5])
def test_basket_curve(degrees):
    assert p.angle_chance(BASKET_M, degrees * pi / 180) == pytest.approx(BASKET[degrees], abs=6e-5)


def test_only_the_ratio_of_width_and_angle_can_be_learnt():
    # own example: data made with (.285, 2.5) refit with w .18 gives 1.5785, with .33 gives 2.8952 degrees,
    # the curves within .0001
    x = np.array(BASKET_M, float)
    for width, degrees in ((0.18, 1.5785), (0.33, 2.8952)):
        curve = p.angle_chance(x, degrees * pi / 180, width)
        assert curve == pytest.approx(p.angle_chance(x, 2.5 * pi / 180), abs=1.5e-4)


def putts(counts, straddle=(), rounds=4, clean=lambda i: True):
    """Rounds of putts: counts is {metres: (holed, missed)}, spread evenly over the rounds."""
    made = [[] for _ in range(rounds)]
    at = 0
    for metres, (holed, missed) in counts.items():
        for i in range(holed + missed):
            made[at % rounds].append(
                hole(
                    1,
                    [
                        throw(
                            1,
                            "putt",
                            "clean" if clean(i) else "miss",
                            holed=i < holed,
                            distance=known(metres),
                            distance_m=float(metres),
                            stance=known("straddle") if metres in straddle else blank(),
                        )
                    ],
                )
            )
            at += 1
    return history_of([one_round(str(i), holes) for i, holes in enumerate(made)])


BASKET_TEST = {3: (38, 2), 5: (33, 7), 7: (26, 14), 9: (20, 20)}


def test_even_chance_with_its_range():
    got = p.putting_of(putts(BASKET_TEST))
    # the angle curve's most likely distance is 9.389 m (own example, recomputed with SciPy); the curve here
    # is freer, so its range is wider than that of sigma alone (8.01 to 10.90 m at 95 %)
    assert got.curve.even_m.middle == pytest.approx(9.39, abs=0.4)
    assert 6.5 < got.curve.even_m.low < 8.5
    assert got.curve.even_m.high > 10.2
    assert got.curve.at(5) == pytest.approx(0.795, abs=0.04)
    assert np.all(got.curve.low <= got.curve.middle)
    assert np.all(got.curve.middle <= got.curve.high)
    for curve in (got.curve.low, got.curve.middle, got.curve.high):
        assert np.all(np.diff(curve) <= 1e-12), "nobody holes more from further away"


def test_bands_and_areas_count_each_putt_once():
    got = p.putting_of(putts(BASKET_TEST | {12: (5, 15)}, straddle=(5,)))
    assert [(b.holed_count, b.tries) for b in got.bands] == [(38, 40), (33, 40), (26, 40), (20, 40), (5, 20)]
    assert (got.inside.tries, got.beyond.tries) == (160, 20)
    assert [g.tries for g in got.stances] == [40, 120]
    assert got.stances[0].expected == pytest.approx(0.8, abs=0.03)
    assert got.putts == 180


def test_thirty_three_feet_is_inside_the_putting_area():
    got = p.putting_of(putts({10.058: (3, 3), 10.4: (1, 1)}))
    assert (got.inside.tries, got.beyond.tries, got.edge) == (6, 2, 6)


def test_labels_in_the_players_unit():
    assert p.putting_of(putts(BASKET_TEST), "ft").bands[1].label == "11 to 18 ft"
    assert p.putting_of(putts(BASKET_TEST)).bands[0].label == "up to 3.5 m"
    assert p.putting_of(putts(BASKET_TEST), "ft").inside.label == "inside the putting area (33 ft)"


@pytest.mark.parametrize("counts", [{5: (9, 0)}, {5: (4, 4)}, {5: (30, 0)}, {5: (30, 1)}, {}, {4: (0, 20)}])
def test_too_few_putts_make_no_curve_and_say_so(counts):
    got = p.putting_of(putts(counts))
    assert got.curve is None
    assert "no curve yet" in got.too_few


def test_a_cliff_is_followed():
    # all in up to 5 m, almost none beyond, which no angle curve can follow
    cliff = {3: (40, 0), 4: (40, 0), 5: (38, 2), 7: (2, 38), 8: (0, 40), 9: (0, 40)}
    curve = p.putting_of(putts(cliff)).curve
    assert curve.even_m.low < 6 < curve.even_m.high
    assert curve.at(4) > 0.9
    assert curve.at(8) < 0.15


def test_holes_with_an_unknown_last_throw_are_left_out_whole():
    # seven throws by the score, four known: the putt that stayed out is known to, the last may have dropped
    throws = [
        throw(1, "drive", "clean"),
        throw(2, "putt", "miss", distance=known(6), distance_m=6.0),
        throw(3, "putt", "clean", None, distance=known(2), distance_m=2.0),
    ]
    from dataclasses import replace

    h = replace(hole(1, throws), score=known(7))
    assert p.putting_of(history_of([one_round("a", [h])])).inside.tries == 0


def test_execution_is_counted_apart_from_the_result():
    got = p.putting_of(putts({5: (20, 20)}, clean=lambda i: i % 4 != 0))
    assert (got.inside.clean_count, got.inside.marked) == (30, 40)
    assert got.inside.holed_count == 20


def test_curve_from_prior_alone_is_wide():
    few = p.putting_of(putts({4: (9, 1), 8: (3, 3), 12: (1, 3)})).curve.even_m
    many = p.putting_of(putts({4: (540, 60), 8: (300, 300), 12: (150, 450)})).curve.even_m
    assert few.high - few.low > 3 * (many.high - many.low)
    assert 7 < many.low < 8.1 < many.high < 9
