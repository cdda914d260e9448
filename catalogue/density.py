"""Normal densities and sums, in logarithms."""

from collections.abc import Sequence
from math import log, pi

import numpy as np

from catalogue.schema import FloatArray


def log_normal(deviation: FloatArray | float, std: FloatArray | float) -> FloatArray:
    """Return the natural logarithm of a normal density."""
    density: FloatArray = -0.5 * (np.asarray(deviation) / std) ** 2 - np.log(std) - 0.5 * log(2 * pi)
    return density


def log_sum(terms: Sequence[FloatArray]) -> FloatArray:
    """Return the logarithm of a sum of exponentials, term by term of several arrays of one shape."""
    if len(terms) < 3:
        return np.logaddexp(*terms) if len(terms) == 2 else terms[0]
    stacked = np.stack(terms)
    top = stacked.max(axis=0)
    total: FloatArray = top + np.log(np.exp(stacked - top).sum(axis=0))
    return total
