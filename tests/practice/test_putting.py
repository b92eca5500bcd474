from math import log, pi

import numpy as np
import pytest

from scan.practice import putting as p
from scan.practice.evidence import evidence_of
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
    fit = p.fit_angle(FEET, TRIES, HOLED, GOLF_REACH_FT)
    # published: about 1.5 degrees; recomputed (maximum likelihood): .0266454 rad = 1.52667, s.e. .0227
    # degrees
    assert fit.sigma_rad == pytest.approx(0.0266454, abs=2e-7)
    assert fit.error_rad * 180 / pi == pytest.approx(0.0227, abs=6e-5)
    assert deviance(p.angle_chance(FEET, fit.sigma_rad, GOLF_REACH_FT)) == pytest.approx(60.31, abs=6e-3)
    at = p.angle_chance([2, 3, 5, 10, 15, 20], fit.sigma_rad, GOLF_REACH_FT)
    assert at == pytest.approx([0.9556, 0.8197, 0.5785, 0.3122, 0.2112, 0.1593], abs=6e-5)


def test_golf_logistic_curve():
    fit = p.fit_logistic(np.column_stack([np.ones(19), FEET]), TRIES, HOLED)
    # published: a 2.23 (.06), b -.26 (.01); recomputed 2.23121 (.05846), -.255692 (.006691), deviance 255.34
    assert fit.coefficients == pytest.approx([2.23121, -0.255692], abs=6e-6)
    assert np.sqrt(np.diag(fit.covariance)) == pytest.approx([0.05846, 0.006691], abs=6e-6)
    chance = 1 / (1 + np.exp(-(fit.coefficients[0] + fit.coefficients[1] * FEET)))
    assert deviance(chance) == pytest.approx(255.34, abs=6e-3)
    assert chance[[0, 8, 18]] == pytest.approx([0.8481, 0.4193, 0.0530], abs=6e-5)


def test_logistic_regression_of_spector_and_mazzeo():
    # Greene's text; reference results in statsmodels (R, V): constant, GPA, TUCE, PSI, log-likelihood
    from statsmodels.datasets import spector

    data = spector.load()
    design = np.column_stack([np.ones(32), np.asarray(data.exog)])
    fit = p.fit_logistic(design, np.ones(32), np.asarray(data.endog))
    assert fit.coefficients == pytest.approx([-13.0213, 2.8261, 0.0952, 2.3787], abs=6e-5)
    assert np.sqrt(np.diag(fit.covariance)) == pytest.approx([4.9313, 1.2629, 0.1416, 1.0646], abs=6e-5)
    assert fit.log_likelihood == pytest.approx(-12.8896, abs=6e-5)


# The same geometry for a basket, our adaptation, recomputed with SciPy; w .285 m
BASKET_M = [3, 4, 5, 6, 7, 8, 9, 10, 12, 15, 20]
BASKET = {
    2.5: [0.9708, 0.8978, 0.8088, 0.7239, 0.6494, 0.5859, 0.5321, 0.4864, 0.4138, 0.3368, 0.2560],
    1.5: [0.9997, 0.9935, 0.9706, 0.9305, 0.8802, 0.8265, 0.7736, 0.7237, 0.6357, 0.5320, 0.4138],
}


@pytest.mark.parametrize("degrees", [2.5, 1.5])
def test_basket_curve(degrees):
    assert p.angle_chance(BASKET_M, degrees * pi / 180) == pytest.approx(BASKET[degrees], abs=6e-5)


def test_basket_fit():
    # own example, recomputed with SciPy
    x, n, k = [3, 5, 7, 9], [40] * 4, [38, 33, 26, 20]
    fit = p.fit_angle(x, n, k, p.HALF_WIDTH_M)
    assert fit.sigma_rad * 180 / pi == pytest.approx(2.57898, abs=1e-5)
    assert fit.error_rad * 180 / pi == pytest.approx(0.2029, abs=1e-4)
    assert -fit.log_likelihood == pytest.approx(80.4038, abs=6e-5)
    assert p.angle_chance(x, fit.sigma_rad) == pytest.approx([0.9655, 0.7949, 0.6344, 0.5183], abs=6e-5)
    assert p.even_chance_distance(fit.sigma_rad) == pytest.approx(9.389, abs=6e-4)


def test_only_the_ratio_of_width_and_angle_can_be_learnt():
    # own example: data made with (.285, 2.5) refit with w .18 gives 1.5785, with .33 gives 2.8952 degrees,
    # the curves within .0001
    x = np.array(BASKET_M, float)
    n = np.full(len(x), 1e6)
    k = n * p.angle_chance(x, 2.5 * pi / 180)
    for width, degrees in ((0.18, 1.5785), (0.33, 2.8952)):
        fit = p.fit_angle(x, n, k, width)
        assert fit.sigma_rad * 180 / pi == pytest.approx(degrees, abs=2e-4)
        curve = p.angle_chance(x, fit.sigma_rad, width)
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
    return evidence_of([one_round(str(i), holes) for i, holes in enumerate(made)])


BASKET_TEST = {3: (38, 2), 5: (33, 7), 7: (26, 14), 9: (20, 20)}


def test_even_chance_with_its_range():
    got = p.putting_of(putts(BASKET_TEST))
    assert got.curve.shape == "angle"
    # most likely 9.389 m; the weak prior (2.5 degrees) hardly moves it
    assert got.curve.even_m.middle == pytest.approx(9.39, abs=0.1)
    # profile likelihood, 95 %: sigma 2.2199 to 3.0230 degrees, so 8.01 to 10.90 m; 90 % is inside, but a
    # variance of up to 1.5 times chance makes ours a little wider than its likelihood alone
    assert 7.9 < got.curve.even_m.low < 8.6
    assert 10.2 < got.curve.even_m.high < 11.1
    assert got.curve.at(5) == pytest.approx(0.795, abs=0.01)
    assert np.all(got.curve.low <= got.curve.middle)
    assert np.all(got.curve.middle <= got.curve.high)


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
    assert "too few" in got.too_few


def test_logistic_takes_over_only_where_it_foretells_better():
    # a cliff: all in up to 5 m, almost none beyond, which no angle curve can follow
    cliff = {3: (40, 0), 4: (40, 0), 5: (38, 2), 7: (2, 38), 8: (0, 40), 9: (0, 40)}
    got = p.putting_of(putts(cliff))
    assert got.curve.shape == "logistic"
    assert got.curve.even_m.low < 6 < got.curve.even_m.high
    assert p.putting_of(putts(BASKET_TEST)).curve.shape == "angle"


def test_execution_is_counted_apart_from_the_result():
    got = p.putting_of(putts({5: (20, 20)}, clean=lambda i: i % 4 != 0))
    assert (got.inside.clean_count, got.inside.marked) == (30, 40)
    assert got.inside.holed_count == 20


def test_curve_from_prior_alone_is_wide():
    few = p.putting_of(putts({4: (9, 1), 8: (3, 3)})).curve.even_m
    many = p.putting_of(putts({4: (540, 60), 8: (300, 300)})).curve.even_m
    assert few.high - few.low > 3 * (many.high - many.low)
    assert log(few.high / few.low) < 2
