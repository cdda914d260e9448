"""Weighs what is told in a word or seen as probabilities: surface, construction, mount and the like, and counts."""

from collections.abc import Mapping, Sequence

import numpy as np

from catalogue.assumptions import Assumptions
from catalogue.observation import AxleEvidence
from catalogue.population import PRIOR_COUNT
from catalogue.schema import (
    CONSTRUCTIONS,
    MOUNTS,
    PARKING_BRAKES,
    SURFACES,
    VENTILATIONS,
    FloatArray,
)

KINDS: Mapping[str, tuple[str, ...]] = {
    "surface": SURFACES,
    "construction": CONSTRUCTIONS,
    "ventilation": VENTILATIONS,
    "caliper_mount": MOUNTS,
    "parking_brake": PARKING_BRAKES,
}
OTHER_COUNTS = 5
"""A wrong count is one of about so many."""


def kind_likelihood(axle: AxleEvidence, key: str, assumptions: Assumptions) -> FloatArray | None:
    """Return p(what was told and seen | kind), up to a factor, for each kind of ``key``; None where nothing was.

    A word goes through the table of how people mix the kinds up. Probabilities are likelihoods under equal priors;
    what several photos see is counted once and a bit, for they share light, dirt and eye.
    """
    likelihood = np.ones(len(KINDS[key]))
    if key in axle.words:
        likelihood *= assumptions.confusion[key][:, KINDS[key].index(axle.words[key])]
    tables = [table for table in (axle.seen.get(key), *_off_photos(axle, key)) if table is not None]
    if tables:
        likelihood *= np.exp(_pooled([_softened(table, key, assumptions) for table in tables], assumptions))
    return likelihood if key in axle.words or tables else None


def _off_photos(axle: AxleEvidence, key: str) -> list[Mapping[str, float] | None]:
    if key not in ("surface", "construction", "ventilation"):
        return []
    return [getattr(measured, key) for measured in axle.measurements]


def _softened(table: Mapping[str, float], key: str, assumptions: Assumptions) -> FloatArray:
    """Return log likelihoods, with the chance of a gross error that lets none be impossible."""
    seen = np.array([table[kind] for kind in KINDS[key]])
    gross = assumptions.gross_error
    return np.log((1 - gross) * seen + gross / len(seen))


def _pooled(logs: Sequence[FloatArray], assumptions: Assumptions) -> FloatArray:
    """Add log likelihoods of photos that share a part of their errors."""
    total: FloatArray = np.sum(logs, axis=0) / (1 + (len(logs) - 1) * assumptions.photo_shared_sight)
    return total


def replaced_surface(likelihood: FloatArray, axle: AxleEvidence, assumptions: Assumptions) -> FloatArray:
    """Return p(observed | surface of the catalogue's rotor): a used one may be a replacement with another surface."""
    if axle.condition == "new":
        return likelihood
    others: FloatArray = (likelihood.sum() - likelihood) / (len(likelihood) - 1)
    chance = assumptions.replaced_surface
    return (1 - chance) * likelihood + chance * others


def log_of_kinds(likelihood: FloatArray, shares: FloatArray) -> FloatArray:
    """Return log p(observed | kind), and last of a kind not known, drawn from the population's ``shares``."""
    logs: FloatArray = np.log(np.append(likelihood, shares @ likelihood))
    return logs


def log_of_counts(
    observed: Sequence[tuple[int, float]], counts: FloatArray, population: FloatArray, assumptions: Assumptions
) -> FloatArray:
    """Return log p(observed counts | count), (U,).

    Parameters
    ----------
    observed : sequence of (int, float)
        Each a count and the probability that it is right.
    counts : (U,) ndarray
        Different counts, NaN for not known.
    population : (U,) ndarray
        How often each stands in the population; a count that was observed and stands nowhere is not ruled out.
    assumptions : Assumptions
    """
    known = np.isfinite(counts)
    unheard = [count for count in dict.fromkeys(count for count, _ in observed) if count not in counts]
    each = np.concatenate([counts[known], unheard])
    chances = [(count, _never_sure(chance, assumptions)) for count, chance in observed]
    logs = [np.log(np.where(each == count, chance, (1 - chance) / OTHER_COUNTS)) for count, chance in chances]
    pooled = _pooled(logs, assumptions)
    weight = np.concatenate([population[known], np.zeros(len(unheard))])
    weight = np.where((weight > 0) | np.isin(each, [count for count, _ in observed]), weight + PRIOR_COUNT, 0.0)
    result = np.full(len(counts), np.log(weight @ np.exp(pooled) / weight.sum()))
    result[known] = pooled[: int(known.sum())]
    return result


def _never_sure(chance: float, assumptions: Assumptions) -> float:
    return (1 - assumptions.gross_error) * chance + assumptions.gross_error / OTHER_COUNTS


def piston_likelihood(told: int, pistons: FloatArray, assumptions: Assumptions) -> FloatArray:
    """Return p(pistons told | pistons), (N,): counted rightly, on one side only, or otherwise wrong."""
    right = assumptions.pistons_counted_rightly
    half = (1 - right) / 2
    other = (1 - right) / 2 / OTHER_COUNTS
    return np.where(pistons == told, right, np.where(pistons == 2 * told, half, other))
