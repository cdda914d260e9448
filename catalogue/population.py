"""How the lengths and kinds of all rotors of a catalogue are spread: what a cell that is not known may hold.

Every hypothesis explains the same data: where a candidate's cell is empty, and for "none of these", a reading is
weighed against this population.
"""

from dataclasses import dataclass, replace
from math import log, log1p

import numpy as np

from catalogue.assumptions import Assumptions
from catalogue.density import log_normal, log_sum
from catalogue.schema import UNKNOWN, FloatArray, IntArray

PRIOR_COUNT = 0.5
"""Counted to each kind beforehand (Jeffreys), so that none is impossible."""


@dataclass(frozen=True, slots=True)
class Spread:
    """Normal density of one length over the population, mm, and what a gross error may read instead.

    Attributes
    ----------
    mean, std : float
        Of the population, widened.
    wide : float
        Standard deviation, about the same mean, of readings in another unit or at another place altogether.
    elsewhere : float
        Share of gross errors that are such; the others read another rotor of the population.
    """

    mean: float
    std: float
    wide: float = 1.0
    elsewhere: float = 0.0

    def of_another_class(self, assumptions: Assumptions) -> "Spread":
        """Return how the length is spread over the parts of other classes of car."""
        return replace(self, std=self.std * assumptions.other_class_widening)

    def log_gross(self, value: FloatArray | float, std: float) -> FloatArray:
        """Return the log density of a grossly wrong reading with error ``std``."""
        another = log_normal(np.asarray(value) - self.mean, float(np.hypot(self.std, std)))
        if self.elsewhere == 0:
            return another
        anywhere = log_normal(np.asarray(value) - self.mean, float(np.hypot(self.wide, std)))
        return log_sum([log1p(-self.elsewhere) + another, log(self.elsewhere) + anywhere])


def spread_of(values: FloatArray, assumptions: Assumptions, name: str = "") -> Spread | None:
    """Return the widened normal density of what is known among ``values`` of a column; None where nothing is."""
    known = values[np.isfinite(values)]
    if not len(known):
        return None
    mean = float(known.mean())
    least = assumptions.least_spread(name) * abs(mean)
    return Spread(
        mean,
        assumptions.population_widening * max(float(known.std()), least),
        assumptions.gross_width * abs(mean),
        assumptions.gross_elsewhere,
    )


def frequencies(codes: IntArray, kinds: int) -> FloatArray:
    """Return how often each of ``kinds`` stands among ``codes``, (kinds,), with a sum of 1."""
    counts = np.bincount(codes[codes != UNKNOWN], minlength=kinds) + PRIOR_COUNT
    shares: FloatArray = counts / counts.sum()
    return shares
