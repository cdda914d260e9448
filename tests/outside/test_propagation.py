"""Uncertainty carried from the fit to a length, against Monte Carlo (JCGM 101:2008, propagation of distributions)."""

import numpy as np
import pytest
from uncertainties import umath

from tests.vision.drawn_scene import draw, fitted


def test_a_diameter_s_deviation_is_monte_carlo_s() -> None:
    scene = fitted(draw(np.random.default_rng(2), 18.0))
    number = scene.numbers["log_rim"]
    stated = (2 * umath.exp(number)).std_dev
    names = list(scene.values)
    drawn = np.random.default_rng(4).multivariate_normal(list(scene.values.values()), scene.covariance, 20_000)
    simulated = (2 * np.exp(drawn[:, names.index("log_rim")])).std()
    assert stated == pytest.approx(simulated, rel=0.03)
