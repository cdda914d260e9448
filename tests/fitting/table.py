"""Fit the table of `vision.surface`: broken-line logistic regression, its sharpness set on photos kept out."""

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
from scipy.optimize import minimize_scalar
from sklearn.linear_model import LogisticRegression

from vision.measurement import SURFACES, FloatArray
from vision.surface import FEATURES, SPOT_KINDS, Table, kinds, pieces

Example = tuple[str, Mapping[str, float]]

QUANTILES = (0.03, 0.25, 0.5, 0.75, 0.97)
PENALTY = 0.5
FLOOR = 0.002


def fit_table(fitting: Sequence[Example], calibrating: Sequence[Example], weights: FloatArray) -> dict[str, Any]:
    """Fit the scores on one set of examples and their sharpness on another.

    Parameters
    ----------
    fitting, calibrating : sequence of (surface, features)
    weights : (N,) ndarray
        Of the fitting examples.

    Returns
    -------
    dict
        The JSON form of `vision.surface.Table`.
    """
    knots = {name: _knots([features[name] for _, features in fitting]) for name in FEATURES}
    basis = np.array([pieces(features, knots) for _, features in fitting])
    plain: dict[str, Any] = {
        "knots": {name: np.round(at, 5).tolist() for name, at in knots.items()},
        "slot_weights": _scores(basis, [slotted(kind) for kind, _ in fitting], weights, 2),
        "spot_weights": _scores(basis, [spotted(kind) for kind, _ in fitting], weights, 3),
        "sharpness": [1.0, 1.0],
        "floor": FLOOR,
    }
    for place in (0, 1):
        plain["sharpness"][place] = _sharpness(plain, place, calibrating)
    return plain


def slotted(surface: str) -> int:
    """Whether a kind has slots."""
    return int("slotted" in surface)


def spotted(surface: str) -> int:
    """Which spots a kind has, as a place in `SPOT_KINDS`."""
    return next((i for i, word in enumerate(SPOT_KINDS) if word in surface), 0)


def log_loss(examples: Sequence[Example], table: Table) -> float:
    """Mean negative logarithm of the probability of the truth, nats."""
    return float(-np.mean([np.log(kinds(features, table)[kind]) for kind, features in examples]))


def confusion(examples: Sequence[Example], table: Table) -> FloatArray:
    """Count truths (rows) by likeliest kinds (columns), in the order of `SURFACES`."""
    counts = np.zeros((len(SURFACES), len(SURFACES)))
    for kind, features in examples:
        said = kinds(features, table)
        counts[SURFACES.index(kind), SURFACES.index(max(said, key=lambda k: said[k]))] += 1
    return counts


def _knots(values: Sequence[float]) -> FloatArray:
    at = np.unique(np.round(np.quantile(values, QUANTILES), 4))
    return at if len(at) > 1 else np.array([at[0], at[0] + 1.0])


def _scores(basis: FloatArray, labels: Sequence[int], weights: FloatArray, classes: int) -> list[list[float]]:
    model = LogisticRegression(C=PENALTY, max_iter=5000, tol=1e-6)
    model.fit(basis[:, 1:], labels, sample_weight=weights)
    scores = np.column_stack([model.intercept_, model.coef_]).T
    if classes == 2:
        scores = np.column_stack([np.zeros(len(scores)), scores])
    return [[round(float(w), 4) for w in row] for row in scores]


def _sharpness(plain: Mapping[str, Any], place: int, examples: Sequence[Example]) -> float:
    """The factor under which the kept-out examples are least surprising; hardly above 1."""

    def loss(log_factor: float) -> float:
        sharpness = list(plain["sharpness"])
        sharpness[place] = float(np.exp(log_factor))
        return log_loss(examples, Table.of({**plain, "sharpness": sharpness}))

    found = minimize_scalar(loss, bounds=(np.log(0.2), np.log(1.1)), method="bounded")
    return round(float(np.exp(found.x)), 3)
