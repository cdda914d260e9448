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
    total = terms[0]
    for term in terms[1:]:
        total = np.logaddexp(total, term)
    return total
