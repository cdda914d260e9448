"""Fit `vision.edge_judge`'s tables: support vectors after a principal component analysis, true on what was left out."""

from dataclasses import dataclass
from statistics import NormalDist
from typing import Any

import numpy as np
from sklearn.decomposition import PCA
from sklearn.model_selection import KFold
from sklearn.preprocessing import StandardScaler
from sklearn.svm import SVR

from vision.edge_judge import Judge
from vision.measurement import FloatArray

AXES, COST = 20, 1.0
# The error's logarithm: an error so small is none; its own slack.
LEAST_MM, LOG_COST, LOG_SLACK, LOG_WIDTH = 0.03, 0.5, 0.1, 0.3
FOLDS = 10
# Share of the errors that deviations are made true for: what lies beyond is outliers, which the fit's weights let go.
HELD = 0.9


@dataclass(frozen=True)
class Examples:
    """Edges as they were followed.

    Attributes
    ----------
    features : (N, F) ndarray
    gap_mm : (N,) ndarray
        How far outward of the edge that counts each was followed.
    width : float
        Of the bumps, for each feature.
    slack_mm : float
        Errors that small are none.
    """

    features: FloatArray
    gap_mm: FloatArray
    width: float
    slack_mm: float

    def chosen(self, which: np.ndarray[Any, np.dtype[np.intp]]) -> "Examples":
        """Return some of the examples."""
        return Examples(self.features[which], self.gap_mm[which], self.width, self.slack_mm)


def fit_judge(examples: Examples) -> dict[str, Any]:
    """Fit a judge; its errors are those of examples left out."""
    off = np.abs(examples.gap_mm - left_out(examples)[:, 0])
    plain = _fitted(examples, off)
    spread = left_out(examples, off)[:, 1]
    plain["doubt"] = round(float(np.quantile(off / spread, HELD)) / NormalDist().inv_cdf((1 + HELD) / 2), 4)
    return plain


def left_out(examples: Examples, off_mm: FloatArray | None = None) -> FloatArray:
    """Judge each example by the others but a tenth: (N, 2), means and bare deviations, mm.

    Tenths are runs: what is of its photo is left out with it, but for nine photos that runs may part.
    """
    off = np.full(len(examples.gap_mm), LEAST_MM) if off_mm is None else off_mm
    told = np.empty((len(off), 2))
    for rest, out in KFold(FOLDS).split(examples.features):
        judge = Judge.of(_fitted(examples.chosen(rest), off[rest]))
        told[out] = [judge.judge(each) for each in examples.features[out]]
    return told


def print_errors(name: str, examples: Examples) -> None:
    """Print the errors of examples left out, then with one place for all."""
    off = np.abs(examples.gap_mm - left_out(examples)[:, 0])
    same = np.abs(examples.gap_mm - np.median(examples.gap_mm))
    print(f"{name}: {len(off)} edges, errors in the median and at 95 %, mm; then with one place for all:")
    print(*(f"{np.quantile(errors, share):.3f}" for errors in (off, same) for share in (0.5, 0.95)))


def _fitted(examples: Examples, off_mm: FloatArray) -> dict[str, Any]:
    scaled = StandardScaler().fit(examples.features)
    main = PCA(AXES, random_state=1).fit(scaled.transform(examples.features))
    axes = main.components_ / scaled.scale_
    at = (examples.features - scaled.mean_) @ axes.T
    weights = np.zeros((len(at), 2))
    base = np.zeros(2)
    width = np.array([examples.width, LOG_WIDTH]) / examples.features.shape[1]
    logs = np.log(off_mm + LEAST_MM)
    manners = ((examples.gap_mm, COST, examples.slack_mm), (logs, LOG_COST, LOG_SLACK))
    for column, (target, cost, slack) in enumerate(manners):
        model = SVR(C=cost, epsilon=slack, gamma=width[column]).fit(at, target)
        weights[model.support_, column], base[column] = model.dual_coef_[0], model.intercept_[0]
    used = np.any(weights != 0, axis=1)
    return {
        "middle": np.round(scaled.mean_, 3).tolist(),
        "axes": np.round(axes, 4).tolist(),
        "examples": np.round(at[used], 1).tolist(),
        "weights": np.round(weights[used], 3).tolist(),
        "width": np.round(width, 6).tolist(),
        "base": np.round(base, 4).tolist(),
        "doubt": 1.0,
    }
