"""Can checking settle it: what all the checks that can still be made would leave to believe."""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from catalogue.checks import Check
from catalogue.field import Field
from catalogue.schema import FloatArray, IntArray

DRAWS = 6
"""Futures thought through for each package."""

GOLDEN = 0.6180339887498949
TINY = 1e-300


@dataclass(frozen=True, eq=False, slots=True)
class Futures:
    """What to believe after all physical checks, in D futures.

    Attributes
    ----------
    weight : (D,) ndarray
        Probability of each future; they sum to 1.
    after : (D, S) ndarray
        Probability of each package then; each row sums to 1.
    """

    weight: FloatArray
    after: FloatArray

    def chance_to_settle(self, parts: IntArray, ready_from: float) -> float:
        """Return the probability that a part then stands at ``ready_from`` or more.

        Parameters
        ----------
        parts : (S,) ndarray of int
            Number of the part that each package takes.
        ready_from : float
            Probability from which it may be ordered.
        """
        kinds, kind = np.unique(parts, return_inverse=True)
        of_kind = self.after @ np.equal.outer(kind, np.arange(len(kinds))).astype(np.float64)
        return float(self.weight @ (of_kind.max(axis=1) >= ready_from))


def futures_of(field: Field, checks: Sequence[Check]) -> Futures:
    """Think through each package's own futures, all checks together.

    Parameters
    ----------
    field : Field
    checks : sequence of Check
        Physical ones: this asks what measuring and looking can do.
    """
    truth = np.repeat(np.arange(len(field)), DRAWS)
    log_after = np.tile(np.log(np.maximum(field.mass, TINY)), (len(truth), 1))
    for number, check in enumerate(checks):
        outcome = check.outcome.draw(check.group[truth], _quantiles(len(field), number))
        log_after += check.outcome.log_density(outcome)[:, check.group]
    after = np.exp(log_after - log_after.max(axis=1, keepdims=True))
    return Futures(field.mass[truth] / DRAWS, after / after.sum(axis=1, keepdims=True))


@lru_cache(maxsize=256)
def _quantiles(packages: int, number: int) -> FloatArray:
    """Return (packages * DRAWS,) quantiles that fill 0 to 1 evenly and differ from check to check (a Kronecker
    sequence), so that the same question has the same answer.
    """
    places = np.arange(packages * DRAWS)
    quantiles: FloatArray = ((places + 0.5) / DRAWS + (number + 1) * GOLDEN * (1 + places // DRAWS)) % 1.0
    return np.clip(quantiles, 1e-6, 1 - 1e-6)
