"""The packages still in the running, few enough to think each further check through for all of them."""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from catalogue.observation import PARTS, Evidence, EvidenceAxle, Part
from catalogue.posterior import Posterior
from catalogue.schema import AXLES, UNKNOWN, FloatArray, IntArray

MOST = 24
"""So many packages at most; of more, a sample in proportion to their probability stands for all."""

NEGLIGIBLE = 1e-4
"""Packages of less than this share are left out while there are few enough others."""


@dataclass(frozen=True, eq=False, slots=True)
class Field:
    """S packages in the running, given that it is one of the catalogue's.

    Attributes
    ----------
    package : (S,) ndarray of int
        Index into ``PackageAxles.keys``.
    reading : (S,) ndarray of int
        Which of the posterior's ways to read the axles.
    mass : (S,) ndarray
        Probability; they sum to 1.
    rows : mapping of EvidenceAxle to (S,) ndarray of int
        Package row on each axle that is observed or wanted or, the car being at hand, could be looked at.
    asked : tuple of EvidenceAxle
        The axles that are observed or wanted.
    wanted : mapping of (EvidenceAxle, Part) to (S,) ndarray of int
        Number of the wanted part that each package takes, alike for the same part.
    """

    package: IntArray
    reading: IntArray
    mass: FloatArray
    rows: Mapping[EvidenceAxle, IntArray]
    asked: tuple[EvidenceAxle, ...]
    wanted: Mapping[tuple[EvidenceAxle, Part], IntArray]

    def __len__(self) -> int:
        return len(self.package)


def field_of(belief: Posterior, evidence: Evidence) -> Field:
    """Pick the packages in the running."""
    masses = [each.package_mass for each in belief.hypotheses]
    flat = np.concatenate(masses)
    chosen, mass = _pick(flat)
    reading, package = np.divmod(chosen, len(masses[0]))
    parts = evidence.wanted or tuple((axle, part) for axle in _axles_there(belief) for part in PARTS)
    asked = tuple(dict.fromkeys([*evidence.axles, *(axle for axle, _ in parts)]))
    at_hand: tuple[EvidenceAxle, ...] = () if "unknown" in asked else ("front", "rear")
    rows = {axle: _rows(belief, axle, (reading, package)) for axle in dict.fromkeys([*asked, *at_hand])}
    wanted = {(axle, part): _part_numbers(belief, rows[axle], part) for axle, part in parts}
    return Field(package, reading, mass, rows, asked, wanted)


def _axles_there(belief: Posterior) -> list[EvidenceAxle]:
    """Return the axles that the catalogue has parts of, for any of the packages that the car may have."""
    both: tuple[EvidenceAxle, ...] = ("front", "rear")
    possible = np.any([each.package_prior > 0 for each in belief.hypotheses], axis=0)
    has = (belief.prepared.catalogue.packages.row[possible] != UNKNOWN).any(axis=0).tolist()
    return [axle for axle, there in zip(both, has, strict=True) if there] or list(both)


def _pick(mass: FloatArray) -> tuple[IntArray, FloatArray]:
    """Return places and shares: all that matter where they are few, else a systematic sample."""
    total = float(mass.sum())
    if total <= 0:
        return np.zeros(0, dtype=np.int64), np.zeros(0)
    matter = np.flatnonzero(mass > NEGLIGIBLE * total)
    if len(matter) <= MOST:
        return matter, mass[matter] / mass[matter].sum()
    edges = np.cumsum(mass) / total
    drawn = np.searchsorted(edges, (np.arange(MOST) + 0.5) / MOST)
    places, count = np.unique(np.minimum(drawn, len(mass) - 1), return_counts=True)
    return places, count / MOST


def _rows(belief: Posterior, axle: EvidenceAxle, at: tuple[IntArray, IntArray]) -> IntArray:
    """Return the package rows on an axle; an unknown axle is the one that each reading takes it for."""
    reading, package = at
    row = belief.prepared.catalogue.packages.row
    if axle != "unknown":
        known: IntArray = row[package, AXLES.index(axle)]
        return known
    side = np.array([AXLES.index(each.axle) if each.axle in AXLES else 0 for each in belief.hypotheses])
    either: IntArray = row[package, side[reading]]
    return either


def _part_numbers(belief: Posterior, rows: IntArray, part: Part) -> IntArray:
    prepared = belief.prepared
    numbers: IntArray = (prepared.pads if part == "pads" else prepared.rotor_set)[rows]
    return numbers
