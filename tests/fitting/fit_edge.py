"""Fit what `vision.edge_rims` and `vision.edge_look` weigh: ``python -m tests.fitting.fit_edge FOLDER [FOLDER ...]``.

Each FOLDER holds sample photos of edges with their ``truth.json``: the fitting set, or more of its kind rendered by
``python -m sample_images_synthetic.studio fitting --first 271 --last 1300 --only edge --out FOLDER``. Writes the
table beside `vision.edge_rims`, and prints how well it does on photos that were left out in turn, and the constants of
`vision.edge_look`.
"""

import argparse
import json
from collections.abc import Sequence
from pathlib import Path

import numpy as np
from scipy.optimize import minimize
from sklearn.linear_model import LogisticRegression

import vision
from tests.fitting.edge_examples import Choice, Example, examples_of
from vision.edge_rims import TABLE
from vision.edge_view import NEAR_MM, UNSURE
from vision.measurement import FloatArray

# How much weights are held to nothing (of 0.2 to 8, what does best on photos left out), and how little the odds of
# none; parts of the photos that are left out in turn.
PENALTY, ANY_PENALTY, FOLDS = 2.0, 0.01, 5
# What a photo counts one of whose edges was taken away.
TAKEN = 0.15


def main() -> None:
    """Fit, write the table, and print its scores."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("folders", nargs="+", type=Path)
    folders = parser.parse_args().folders
    examples = [example for folder in folders for example in examples_of(folder)]
    _print_scores(examples)
    *weights, any_ = fit(examples)
    provenance = f"tests/fitting/fit_edge.py: {len(examples)} edge photos, the fitting set's and more of its kind"
    plain = {"provenance": provenance, "any": round(any_, 2), "weights": [round(weight, 2) for weight in weights]}
    Path(vision.__file__).with_name(TABLE).write_text(json.dumps(plain, indent=0) + "\n", encoding="utf-8")
    _print_ventilation(examples)


def _print_scores(examples: Sequence[Example]) -> None:
    """Print how the weights do on photos left out of their fit."""
    seen, taken = [], []
    for fold in range(FOLDS):
        weights = fit([example for number, example in enumerate(examples) if number % FOLDS != fold])
        seen += [_score(example.seen[0], weights) for example in examples[fold::FOLDS]]
        taken += [_score(choice, weights) for example in examples[fold::FOLDS] for choice in example.taken]
    first, loss, sure, off = np.mean(seen, axis=0)
    print(f"left out, of {len(seen)} photos: edges first in {first:.3f}, log loss {loss:.3f}; sure in {sure:.3f}, and")
    print(f"over {NEAR_MM} mm off in {off:.3f}; an edge taken away, sure in {np.mean(taken, axis=0)[2]:.3f}")


def _score(choice: Choice, weights: FloatArray) -> tuple[float, float, float, float]:
    """Tell whether edges come first, their log loss, whether a thickness is sure, and sure but far off."""
    odds, right = _odds(choice, weights), _or_none(choice)
    best = int(odds[:-1].argmax())
    near = np.abs(choice.over_mm - choice.over_mm[best]) < NEAR_MM
    sure = float(odds[:-1][near].sum()) > UNSURE
    off = sure and abs(float(choice.over_mm[best])) > NEAR_MM
    return float(right[best]), -float(np.log(odds[right].sum())), float(sure), float(off)


def _print_ventilation(examples: Sequence[Example]) -> None:
    looked = [(example.wall, example.vented) for example in examples if example.wall is not None]
    looks, vented = np.array([look for look, _ in looked]), [vented for _, vented in looked]
    model = LogisticRegression(C=10.0, class_weight="balanced").fit(looks, vented)
    constants = np.round([model.intercept_[0], *model.coef_[0]], 2).tolist()
    print(f"VENTED = {tuple(constants)}: right in {model.score(looks, vented):.3f}")


def fit(examples: Sequence[Example]) -> FloatArray:
    """Fit a conditional logit: of all pairs of a photo, or none of them, the edges are chosen.

    Returns
    -------
    (F + 1,) ndarray
        The weights, and what each pair has over none.
    """
    spread = np.concatenate([example.seen[0].pairs for example in examples]).std(axis=0)
    # What never varies tells nothing, and weighs nothing.
    spread = np.append(np.where(spread > 0, spread, np.inf), 1.0)
    choices = [(choice, 1.0) for example in examples for choice in example.seen]
    choices += [(choice, TAKEN) for example in examples for choice in example.taken]
    scaled = [(_with_none(choice) / spread, _or_none(choice), counts) for choice, counts in choices]
    held = np.append(np.full(len(spread) - 1, PENALTY), ANY_PENALTY)

    def loss(weights: FloatArray) -> tuple[float, FloatArray]:
        total, slope = float(held * weights @ weights) / 2, held * weights
        for pairs, right, counts in scaled:
            odds = _shares(pairs @ weights)
            chosen = odds * right
            total -= counts * float(np.log(chosen.sum() + 1e-12))
            slope = slope - counts * (chosen / (chosen.sum() + 1e-12) - odds) @ pairs
        return total, slope

    return np.asarray(minimize(loss, np.zeros(len(spread)), jac=True, method="L-BFGS-B").x / spread, np.float64)


def _with_none(choice: Choice) -> FloatArray:
    """Return the pairs with a constant, and none of them last, (N + 1, F + 1)."""
    pairs = np.hstack([choice.pairs, np.ones((len(choice.pairs), 1))])
    return np.vstack([pairs, np.zeros((1, pairs.shape[1]))])


def _or_none(choice: Choice) -> FloatArray:
    """Tell which pairs, or none of them last, are right, (N + 1,)."""
    return np.append(choice.right, not choice.right.any())


def _odds(choice: Choice, weights: FloatArray) -> FloatArray:
    return _shares(_with_none(choice) @ weights)


def _shares(rated: FloatArray) -> FloatArray:
    odds = np.exp(rated - rated.max())
    return np.asarray(odds / odds.sum(), np.float64)


if __name__ == "__main__":
    main()
