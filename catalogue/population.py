"""How the lengths and kinds of all rotors of a catalogue are spread: what a cell that is not known may hold.

Every hypothesis explains the same data: where a candidate's cell is empty, and for "none of these", a reading is
weighed against this population.
"""

from dataclasses import dataclass

import numpy as np

from catalogue.assumptions import Assumptions
from catalogue.schema import UNKNOWN, FloatArray, IntArray

PRIOR_COUNT = 0.5
"""Counted to each kind beforehand (Jeffreys), so that none is impossible."""


@dataclass(frozen=True, slots=True)
class Spread:
    """Normal density of one length over the population, mm."""

    mean: float
    std: float


def spread_of(values: FloatArray, assumptions: Assumptions) -> Spread | None:
    """Return the widened normal density of what is known among ``values``; None where nothing is."""
    known = values[np.isfinite(values)]
    if not len(known):
        return None
    mean = float(known.mean())
    least = assumptions.population_least_spread * abs(mean)
    return Spread(mean, assumptions.population_widening * max(float(known.std()), least))


def frequencies(codes: IntArray, kinds: int) -> FloatArray:
    """Return how often each of ``kinds`` stands among ``codes``, (kinds,), with a sum of 1."""
    counts = np.bincount(codes[codes != UNKNOWN], minlength=kinds) + PRIOR_COUNT
    shares: FloatArray = counts / counts.sum()
    return shares
