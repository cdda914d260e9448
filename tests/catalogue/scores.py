"""How good probabilities are: proper scores, the slope of outcomes on logits, and the reliability of each bin."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

FloatArray = NDArray[np.float64]

SURE = 1e-4
"""Probabilities nearer to 0 or 1 than this say nothing about a slope."""


def brier(outcome: ArrayLike, probability: ArrayLike) -> float:
    """Mean square of probability less outcome (0 or 1); of a table of classes, the squares summed over each row."""
    square = (np.asarray(probability, dtype=np.float64) - np.asarray(outcome, dtype=np.float64)) ** 2
    return float(square.sum(axis=1).mean() if square.ndim == 2 else square.mean())


def log_loss_nats(probability_of_truth: ArrayLike) -> float:
    """Mean of the negative natural logarithm of what the truth was given."""
    return float(-np.log(np.asarray(probability_of_truth, dtype=np.float64)).mean())


@dataclass(frozen=True)
class Reliability:
    """Bins of equal width that hold anything: mean probability, share that came true, count; one array each."""

    said: FloatArray
    came_true: FloatArray
    count: NDArray[np.int64]

    @property
    def expected_error(self) -> float:
        """Mean distance of the two, weighted by count (ECE)."""
        return float(np.abs(self.said - self.came_true) @ self.count / self.count.sum())


def reliability(outcome: ArrayLike, probability: ArrayLike, bins: int) -> Reliability:
    """Sort probabilities into bins that are open above but for the last."""
    came, said = np.asarray(outcome, dtype=np.float64), np.asarray(probability, dtype=np.float64)
    number = np.searchsorted(np.linspace(0, 1, bins + 1)[1:-1], said)
    count = np.bincount(number, minlength=bins)
    some = count > 0
    sums = [np.bincount(number, weights=each, minlength=bins)[some] / count[some] for each in (said, came)]
    return Reliability(sums[0], sums[1], count[some])


def logit_slope(outcome: ArrayLike, probability: ArrayLike) -> float:
    """Slope of the logistic regression of outcomes on the logits of their probabilities, by Newton's method.

    1 for calibrated probabilities, less for overconfident ones.
    """
    came, said = np.asarray(outcome, dtype=np.float64), np.asarray(probability, dtype=np.float64)
    unsure = (said > SURE) & (said < 1 - SURE)
    logit = np.log(said[unsure] / (1 - said[unsure]))
    design = np.column_stack([np.ones(len(logit)), logit])
    coefficients = np.array([0.0, 1.0])
    for _ in range(30):
        fitted = 1 / (1 + np.exp(-design @ coefficients))
        curvature = (design.T * (fitted * (1 - fitted))) @ design
        coefficients = coefficients + np.linalg.solve(curvature, design.T @ (came[unsure] - fitted))
    return float(coefficients[1])
