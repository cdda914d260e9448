"""Whether the readings can all be right: which of them the catalogue can only explain as grossly wrong."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import partial

import numpy as np

from catalogue.factor import Factor
from catalogue.hypotheses import Hypotheses
from catalogue.observation import EvidenceAxle
from catalogue.prepare import Prepared
from catalogue.rooms import spread_to_some
from catalogue.schema import FloatArray, IntArray
from catalogue.weigh import WeighedAxle

NEGLIGIBLE = 1e-6
"""Packages of less than this are not asked whether the readings are sound for them."""

MISREAD_FROM = 0.5
"""Chance of a gross error, the part being one of the catalogue's, from which on a reading is called misread."""


@dataclass(frozen=True, slots=True)
class Misread:
    """A reading that is likelier grossly wrong than not, if the part is one of the catalogue's."""

    axle: EvidenceAxle
    evidence: str
    said: str


@dataclass(frozen=True, slots=True)
class Soundness:
    """How far the readings can be believed together.

    Attributes
    ----------
    as_read : float
        Probability that it is one of the catalogue's and that no reading is grossly wrong.
    misread : tuple of Misread
    """

    as_read: float
    misread: tuple[Misread, ...]


def soundness_of(
    prepared: Prepared, hypotheses: Sequence[Hypotheses], weighed: Mapping[EvidenceAxle, WeighedAxle]
) -> Soundness:
    """Ask the packages in the running how sound each reading is."""
    as_read, whole = 0.0, 0.0
    of_factor: dict[tuple[EvidenceAxle, int], float] = {}
    for reading in hypotheses:
        matter = np.flatnonzero(reading.package_mass > NEGLIGIBLE)
        mass = reading.package_mass[matter]
        sound = mass
        for (axle, number), factor in _with_gross_errors(weighed):
            share = _share(prepared, factor, reading.rows[axle][matter])
            of_factor[axle, number] = of_factor.get((axle, number), 0.0) + float(mass @ share)
            sound = sound * share
        as_read, whole = as_read + float(sound.sum()), whole + float(mass.sum())
    misread = tuple(
        Misread(axle, factor.evidence, factor.said)
        for (axle, number), factor in _with_gross_errors(weighed)
        if of_factor[axle, number] < (1 - MISREAD_FROM) * whole
    )
    return Soundness(as_read, misread)


def _with_gross_errors(
    weighed: Mapping[EvidenceAxle, WeighedAxle],
) -> list[tuple[tuple[EvidenceAxle, int], Factor]]:
    return [
        ((axle, number), factor)
        for axle, each in weighed.items()
        for number, factor in enumerate(each.factors)
        if factor.log_sound is not None
    ]


def _share(prepared: Prepared, factor: Factor, rows: IntArray) -> FloatArray:
    """Return for some package rows, (S,), the probability that what was read of their part is no gross error."""
    assert factor.log_sound is not None
    sound, either = (
        spread_to_some(prepared, factor.room, partial(factor.at_rows, each), rows)
        for each in (factor.log_sound, factor.log_distinct)
    )
    share: FloatArray = np.exp(np.minimum(sound - either, 0.0))
    return share
