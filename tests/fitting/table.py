"""Fit the table of `vision.surface`: broken-line logistic regression, and how sharp its probabilities may be."""

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
from scipy.optimize import minimize
from sklearn.linear_model import LogisticRegression

from vision.measurement import SURFACES, FloatArray
from vision.surface import FEATURES, SPOT_KINDS, Table, kinds, pieces

Example = tuple[str, Mapping[str, float]]

QUANTILES = (0.03, 0.25, 0.5, 0.75, 0.97)
# Of penalties that do about as well on renders left out, a strong one: real photos are farther off than those.
PENALTY = 0.01
FLOOR = 0.002


def fit_table(fitting: Sequence[Example], weights: FloatArray) -> dict[str, Any]:
    """Fit the scores.

    Parameters
    ----------
    fitting : sequence of (surface, features)
    weights : (N,) ndarray
        Of the examples.

    Returns
    -------
    dict
        The JSON form of `vision.surface.Table`, with a sharpness of 1.
    """
    knots = {name: _knots([features[name] for _, features in fitting]) for name in FEATURES}
    basis = np.array([pieces(features, knots) for _, features in fitting])
    return {
        "knots": {name: np.round(at, 5).tolist() for name, at in knots.items()},
        "slot_weights": _scores(basis, [slotted(kind) for kind, _ in fitting], weights, 2),
        "spot_weights": _scores(basis, [spotted(kind) for kind, _ in fitting], weights, 3),
        "sharpness": [1.0, 1.0],
        "floor": FLOOR,
    }


def sharpness(kept_out: Sequence[tuple[Mapping[str, Any], Sequence[Example]]]) -> list[float]:
    """Return the factors on slots' and spots' scores that make examples least surprising to tables fitted without them.

    Parameters
    ----------
    kept_out : sequence of (table, examples)
        Each table's JSON form and the examples that it doesn't know.
    """

    def loss(log_factors: FloatArray) -> float:
        factors = np.exp(log_factors).tolist()
        tables = [(examples, Table.of({**plain, "sharpness": factors})) for plain, examples in kept_out]
        return sum(len(examples) * log_loss(examples, table) for examples, table in tables)

    start = np.array([[0.0, 0.0], [0.3, 0.0], [0.0, 0.3]])
    steps = {"initial_simplex": start, "xatol": 0.01, "fatol": 0.05}
    found = minimize(loss, start[0], method="Nelder-Mead", options=steps)
    return [round(float(factor), 3) for factor in np.exp(found.x)]


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
