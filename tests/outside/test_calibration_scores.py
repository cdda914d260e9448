"""The scores that calibration is reported in, against the examples in scikit-learn's documentation.

Source: scikit-learn 1.9, docstrings of brier_score_loss, log_loss and calibration_curve; the expected calibration
error of the last example follows from its bin counts (3, 2, 4) by Guo et al. 2017 (arXiv 1706.04599), formula from
memory.
"""

import numpy as np
import pytest
from sklearn.calibration import calibration_curve
from sklearn.linear_model import LogisticRegression
from sklearn.metrics import brier_score_loss, log_loss

from tests.catalogue.scores import brier, log_loss_nats, logit_slope, reliability


def test_brier_score() -> None:
    outcome, probability = [0, 1, 1, 0], [0.1, 0.9, 0.8, 0.3]
    assert brier(outcome, probability) == pytest.approx(0.0375)
    assert brier(outcome, probability) == pytest.approx(brier_score_loss(outcome, probability))


def test_brier_score_of_three_classes() -> None:
    rows = np.array([[0.8, 0.1, 0.1], [0.2, 0.7, 0.1], [0.2, 0.2, 0.6]])
    assert brier(np.eye(3), rows) == pytest.approx(0.14667, abs=5e-6)


def test_log_loss() -> None:
    assert log_loss_nats([0.9, 0.9, 0.8, 0.65]) == pytest.approx(0.21616, abs=5e-6)
    table = [[0.1, 0.9], [0.9, 0.1], [0.8, 0.2], [0.35, 0.65]]
    assert log_loss_nats([0.9, 0.9, 0.8, 0.65]) == pytest.approx(log_loss([1, 0, 0, 1], table))


def test_calibration_curve() -> None:
    outcome = [0, 0, 0, 0, 1, 1, 1, 1, 1]
    probability = [0.1, 0.2, 0.3, 0.4, 0.65, 0.7, 0.8, 0.9, 1.0]
    bins = reliability(outcome, probability, 3)
    np.testing.assert_allclose(bins.came_true, [0, 0.5, 1])
    np.testing.assert_allclose(bins.said, [0.2, 0.525, 0.85])
    true, said = calibration_curve(outcome, probability, n_bins=3)
    np.testing.assert_allclose((bins.came_true, bins.said), (true, said))
    assert bins.expected_error == pytest.approx(0.138889, abs=5e-7)


def test_slope_of_outcomes_on_logits() -> None:
    """Against scikit-learn's logistic regression without a penalty worth the name."""
    random = np.random.default_rng(4)
    said = random.uniform(0.02, 0.98, 3000)
    came = random.random(3000) < said**1.2
    logit = np.log(said / (1 - said))[:, None]
    fitted = LogisticRegression(C=1e8, tol=1e-10).fit(logit, came)
    assert logit_slope(came, said) == pytest.approx(fitted.coef_[0, 0], abs=1e-4)
