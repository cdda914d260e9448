"""Weighs option codes read off a car's records: they say what was built, not what is fitted today."""

from collections.abc import Sequence

import numpy as np

from catalogue.assumptions import Assumptions
from catalogue.schema import OFFERS, UNKNOWN, Fitments, FloatArray, folded

DEALER = OFFERS.index("dealer")


def known_codes(fitments: Fitments, codes: Sequence[str]) -> tuple[list[int], list[str]]:
    """Return the numbers of the codes that the catalogue knows, and the codes that it doesn't."""
    numbers = {folded(code): number for number, code in enumerate(fitments.codes)}
    known = [numbers[folded(code)] for code in codes if folded(code) in numbers]
    return known, [code for code in codes if folded(code) not in numbers]


def record_likelihood(
    fitments: Fitments, codes: Sequence[int], weight: FloatArray, assumptions: Assumptions
) -> FloatArray:
    """Return p(codes in the records | fitment), (F,), up to a factor.

    A code stands in the records of a car that was built with it, and hardly in another's. A dealer-fitted package is
    in no record: such a car was built with one of its model's other packages, and its records say which.

    Parameters
    ----------
    fitments : Fitments
    codes : sequence of int
        Numbers of the codes read, at least one.
    weight : (F,) ndarray
        Prior weight of each fitment, by which a dealer's car had been built.
    assumptions : Assumptions
    """
    read = np.zeros(len(fitments.codes) + 1, dtype=np.bool_)
    read[list(codes)] = True
    factory = fitments.offered != DEALER
    has_own = factory & (fitments.code != UNKNOWN)
    own = read[fitments.code] & has_own
    right, wrong = 1 - assumptions.record_omits, assumptions.record_error
    among_others = len(codes) - own
    likelihood = np.where(own, right, np.where(has_own, assumptions.record_omits, 1.0)) * wrong**among_others
    return np.where(factory, likelihood, _as_built(fitments, likelihood * factory, weight * factory))


def _as_built(fitments: Fitments, likelihood: FloatArray, weight: FloatArray) -> FloatArray:
    """Return the mean likelihood over the factory's fitments of each fitment's model."""
    models = len(fitments.models)
    total = np.bincount(fitments.model, weights=weight, minlength=models)
    sum_of = np.bincount(fitments.model, weights=weight * likelihood, minlength=models)
    overall = likelihood.max() if not total.any() else (weight * likelihood).sum() / total.sum()
    mean = np.where(total > 0, sum_of / np.where(total > 0, total, 1), overall)
    return mean[fitments.model]
