"""How likely the evidence is of a part that no fitment takes.

Such a part may be of any car: then each of its traits is drawn from the population. It may be of another class of car,
its lengths anywhere about the catalogue's: without that, a rotor beyond all of them would pass for one of them misread.
Or it is kin of a part that the catalogue has, another year's or another market's: alike in some traits, its hub more
often than not, and as of any car in the others, of which there is at least one. Without kin, a rotor of
another diameter on the hub that all of a line's cars share would pass for one of the line's with its diameter misread.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import reduce
from math import log, log1p
from typing import Protocol

import numpy as np

from catalogue.assumptions import Assumptions
from catalogue.factor import Factor
from catalogue.hypotheses import Way
from catalogue.observation import EvidenceAxle
from catalogue.prepare import Prepared
from catalogue.rooms import sum_over_rooms
from catalogue.schema import FloatArray

LEAST = 1e-300


@dataclass(frozen=True, eq=False, slots=True)
class Kin:
    """One axle's evidence as that of kin of each package row's parts.

    Attributes
    ----------
    log_likelihood : (P + 1,) ndarray
        Each trait alike or drawn from the population.
    traits : int
        How many there are that may be alike.
    numbered : bool
        Whether a number was read, which is the part's own: what is alike in all else differs in that.
    """

    log_likelihood: FloatArray
    traits: int
    numbered: bool


class Strange(Protocol):
    """One axle's evidence as weighed: for each package row, the unknown one last, and for kin."""

    @property
    def log_likelihood(self) -> FloatArray:
        """Return log p(evidence | row), (P + 1,)."""

    @property
    def kin(self) -> Kin:
        """Return the same of kin."""

    @property
    def log_other_class(self) -> float:
        """Return the same of a part of another class of car."""


def kin_of(prepared: Prepared, factors: Sequence[Factor], assumptions: Assumptions) -> Kin:
    """Weigh one axle's evidence as that of kin."""
    traits: dict[str, list[Factor]] = {}
    for factor in factors:
        if not factor.number:
            traits.setdefault(factor.trait or factor.evidence, []).append(factor)
    numbers = sum(factor.log_unknown for factor in factors if factor.number)
    rows = [(of_trait[0].room, _alike_or_any(of_trait, assumptions)) for of_trait in traits.values()]
    total = sum_over_rooms(prepared, rows) + numbers
    return Kin(total, len(traits), any(factor.number for factor in factors))


def _alike_or_any(of_trait: Sequence[Factor], assumptions: Assumptions) -> FloatArray:
    """Return log p(evidence of one trait | kin of each row's part), (N + 1,)."""
    first, alike = of_trait[0], assumptions.kin_alike
    together = all(each.place is first.place for each in of_trait)
    terms = [each.log_distinct if together else each.log_likelihood for each in of_trait]
    differs = of_any_class(
        sum(each.log_unknown for each in of_trait), sum(each.of_other_class for each in of_trait), assumptions
    )
    mixed: FloatArray = np.logaddexp(reduce(np.add, terms) + log(alike), differs + log1p(-alike))
    return first.of_rows(mixed) if together else mixed


def of_any_class(log_unknown: float, log_other: float, assumptions: Assumptions) -> float:
    """Return log p(evidence | of any car), of the catalogue's class or, now and then, of another."""
    share = assumptions.other_class
    return float(np.logaddexp(log1p(-share) + log_unknown, log(share) + log_other))


def log_stranger(
    fitted: Sequence[tuple[Way, FloatArray]], weighed: Mapping[EvidenceAxle, Strange], assumptions: Assumptions
) -> float:
    """Return log p(all measured evidence | none of these).

    Parameters
    ----------
    fitted : sequence of (Way, (K,) ndarray)
        Each way to read the axles, with log p(evidence | package).
    weighed : mapping of EvidenceAxle to WeighedAxle
    assumptions : Assumptions
    """
    log_any = of_any_class(
        sum(float(each.log_likelihood[-1]) for each in weighed.values()),
        sum(each.log_other_class for each in weighed.values()),
        assumptions,
    )
    traits = sum(each.kin.traits for each in weighed.values())
    numbered = any(each.kin.numbered for each in weighed.values())
    if traits == 0 or (traits == 1 and not numbered):
        return log_any
    same = 0.0 if numbered else assumptions.kin_alike**traits
    kin = {axle: each.kin.log_likelihood for axle, each in weighed.items()}
    logs = [(way, log_own, way.of_packages(kin)) for way, log_own in fitted]
    top = max(float(log_kin.max()) for _, _, log_kin in logs)
    masses = [
        (way.package_prior * _differing(log_kin - top, log_own - top, same)).sum() for way, log_own, log_kin in logs
    ]
    mean = float(sum(masses)) / (1 - same) / sum(float(way.package_prior.sum()) for way, _ in fitted)
    share = assumptions.kin_of_a_part
    return float(np.logaddexp(log1p(-share) + log_any, log(share) + top + log(max(mean, LEAST))))


def _differing(log_kin: FloatArray, log_own: FloatArray, same: float) -> FloatArray:
    """Return p(evidence and at least one trait differs | kin), of which ``same`` would be alike in all."""
    either = np.exp(log_kin)
    return either if same == 0 else np.maximum(either - same * np.exp(log_own), 0.0)
