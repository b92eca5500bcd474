"""Probabilities that can be believed: by hand, then on draws whose truth is known."""

import numpy as np
import pytest

from shortpencil.scan.vision.seeing import calibration as cal

EVEN = (0.25,) * 4


def test_calibration_error_by_hand():
    # Ten cells at 0.95 of which nine are right, ten at 0.55 of which eight are: (10 * 0.05 + 10 * 0.25) / 20.
    confidence = np.array([0.95] * 10 + [0.55] * 10)
    right = np.array([True] * 9 + [False] + [True] * 8 + [False] * 2)
    assert cal.expected_calibration_error(confidence, right) == pytest.approx(0.15)


def test_certain_and_right_has_no_calibration_error():
    assert cal.expected_calibration_error(np.ones(5), np.ones(5, bool)) == 0


def test_flagging_takes_the_least_sure_first():
    confidence = np.array([0.9, 0.5, 0.99, 0.6])
    right = np.array([True, False, True, False])
    assert cal.error_after_flagging(confidence, right, 0.0) == (2, 4)
    assert cal.error_after_flagging(confidence, right, 0.25) == (1, 3)
    assert cal.error_after_flagging(confidence, right, 0.5) == (0, 2)


def test_log_p_is_a_softmax_when_nothing_is_doubted():
    scores = np.log(np.array([[0.5, 0.25, 0.125, 0.125]]))
    np.testing.assert_allclose(np.exp(cal.log_p(scores, cal.Calibration(1.0, 0.0, EVEN))), np.exp(scores))


def test_doubt_bounds_every_probability_from_below():
    p = np.exp(cal.log_p(np.array([[100.0, 0, 0, 0]]), cal.Calibration(1.0, 0.01, EVEN)))
    np.testing.assert_allclose(p, [[0.9925, 0.0025, 0.0025, 0.0025]])


def test_fit_finds_the_temperature_and_doubt_of_a_boastful_reader():
    rng = np.random.default_rng(5)
    honest = rng.normal(0, 2.5, (40_000, 4))
    p = np.exp(honest)
    p /= p.sum(axis=1, keepdims=True)
    p = 0.98 * p + 0.02 / 4
    truth = (rng.random((len(p), 1)) > p.cumsum(axis=1)).sum(axis=1)
    fitted = cal.fit(honest * 1.8, truth, EVEN)
    assert fitted.temperature == pytest.approx(1.8, rel=0.08)
    assert fitted.doubt == pytest.approx(0.02, rel=0.4)
    log_p = cal.log_p(honest * 1.8, fitted)
    right = log_p.argmax(axis=1) == truth
    assert cal.expected_calibration_error(np.exp(log_p.max(axis=1)), right) < 0.01
    boast = cal.log_p(honest * 1.8, cal.Calibration(1.0, 0.0, EVEN))
    assert cal.expected_calibration_error(np.exp(boast.max(axis=1)), right) > 0.03
