"""What tells packages of one axle apart: every pair of a set of them at once."""

from collections.abc import Iterator
from dataclasses import dataclass
from functools import cached_property
from typing import Any, Literal

import numpy as np
from numpy.typing import NDArray

from catalogue.mass import IRON_G_PER_CM3
from catalogue.schema import UNKNOWN, Catalogue, FloatArray, IntArray

BoolArray = NDArray[np.bool_]
Kind = Literal["length", "lip", "mass", "look", "number"]

ROTOR_LENGTHS = ("diameter_mm", "ring_inner_mm", "hat_mm", "centre_bore_mm", "bolt_circle_mm", "height_mm")
PAD_LENGTHS = {"pad_height_mm": "height_mm", "pad_length_mm": "length_mm"}
ROTOR_LOOKS = ("surface", "construction", "ventilation")
CALIPER_LOOKS = {"caliper_mount": "mount", "parking_brake": "parking_brake"}

USUAL_WEAR_MM = 2.0
"""New thickness less discard thickness where the catalogue doesn't say; common practice: 1 to 2 mm."""

USUAL_INNER_SHARE = 0.65
"""Inner edge of the ring over the diameter where the catalogue doesn't say; common practice."""

IRON_KG_PER_MM3 = IRON_G_PER_CM3[0] * 1e-6

TOLD_APART_STDS = 2 * 1.6449
"""Two lengths this many standard deviations apart are told apart rightly 95 times in 100, from the middle of the gap
(twice the normal distribution's 95 % quantile)."""

SAME_MM = 0.05
"""Nominal lengths closer than this are the same."""

SAME_KG = 0.2
"""Masses closer than this are the same: a catalogue rounds them, castings vary."""


@dataclass(frozen=True, slots=True)
class Separation:
    """One piece of evidence that tells two packages apart.

    Attributes
    ----------
    evidence : str
        Its name in the contract.
    kind : {"length", "lip", "mass", "look", "number"}
        ``lip``: thickness, but only of a new rotor or over the unworn lip. ``number``: read off the part.
    gap : float or None
        mm or kg between the two; None for looks and numbers.
    """

    evidence: str
    kind: Kind
    gap: float | None = None

    @property
    def needs_std(self) -> float | None:
        """Standard deviation, mm or kg, that a reading may have at most; None for looks and numbers."""
        return None if self.gap is None else self.gap / TOLD_APART_STDS

    def to_json(self) -> dict[str, Any]:
        """Return the wire form."""
        answer: dict[str, Any] = {"evidence": self.evidence, "kind": self.kind}
        if self.gap is not None and self.needs_std is not None:
            unit = "kg" if self.kind == "mass" else "mm"
            answer |= {f"gap_{unit}": round(self.gap, 3), f"needs_std_{unit}": round(self.needs_std, 3)}
        return answer


@dataclass(frozen=True, eq=False)
class Separations:
    """All that separates the pairs of N package rows of one axle.

    A cell that the catalogue lacks separates nothing.

    Attributes
    ----------
    catalogue : Catalogue
    rows : (N,) ndarray of int
        Rows of ``catalogue.packages``, all of one axle.
    """

    catalogue: Catalogue
    rows: IntArray

    @cached_property
    def lengths_mm(self) -> dict[str, FloatArray]:
        """(N, N) gaps in mm of each length; thickness counts as worn by anything down to its discard limit."""
        rotors, pads = self.catalogue.rotors, self.catalogue.pads
        columns = {name: getattr(rotors, name)[self._rotor] for name in ROTOR_LENGTHS}
        columns |= {name: getattr(pads, column)[self._pads] for name, column in PAD_LENGTHS.items()}
        gaps = {name: _gaps(column, SAME_MM) for name, column in columns.items()}
        new_mm, least_mm = self._thickness_mm
        return {**gaps, "thickness_mm": _between(least_mm, new_mm, SAME_MM)}

    @cached_property
    def lip_mm(self) -> FloatArray:
        """(N, N) gaps in mm between the thicknesses of new rotors."""
        return _gaps(self._thickness_mm[0], SAME_MM)

    @cached_property
    def mass_kg(self) -> FloatArray:
        """(N, N) gaps in kg between the rotors' masses, new or worn down to their discard limits."""
        rotors, (new_mm, least_mm) = self.catalogue.rotors, self._thickness_mm
        diameter_mm, inner_mm = rotors.diameter_mm[self._rotor], rotors.ring_inner_mm[self._rotor]
        inner_mm = np.where(np.isnan(inner_mm), diameter_mm * USUAL_INNER_SHARE, inner_mm)
        worn_off_kg = np.pi / 4 * (diameter_mm**2 - inner_mm**2) * (new_mm - least_mm) * IRON_KG_PER_MM3
        new_kg = rotors.mass_kg[self._rotor]
        return _between(new_kg - worn_off_kg, new_kg, SAME_KG)

    @cached_property
    def looks(self) -> dict[str, BoolArray]:
        """(N, N) whether what can be seen or counted differs."""
        rotors, calipers = self.catalogue.rotors, self.catalogue.calipers
        words = {name: getattr(rotors, name)[self._rotor] for name in ROTOR_LOOKS}
        words |= {name: getattr(calipers, column)[self._caliper] for name, column in CALIPER_LOOKS.items()}
        seen = {name: _unequal(column, column != UNKNOWN) for name, column in words.items()}
        counts = {"bolt_count": rotors.bolt_count[self._rotor], "pistons": calipers.pistons[self._caliper]}
        return seen | {name: _unequal(column, ~np.isnan(column)) for name, column in counts.items()}

    @cached_property
    def numbers(self) -> dict[str, BoolArray]:
        """(N, N) whether the numbers on the parts differ."""
        rotors, pads = self.catalogue.rotors, self.catalogue.pads
        shapes = np.array([pads.shape_number[row] for row in self._pads], dtype=object)
        stamped_mm = rotors.min_thickness_mm[self._rotor]
        return {
            "rotor_mark": _disjoint([rotors.marks[row] for row in self._rotor]),
            "pad_mark": _disjoint([pads.marks[row] for row in self._pads]),
            "pad_shape_number": _unequal(shapes, shapes != ""),
            "min_thickness_mark_mm": _unequal(stamped_mm, ~np.isnan(stamped_mm)),
        }

    @cached_property
    def best_gap_mm(self) -> FloatArray:
        """(N, N) the widest gap among the lengths, mm; 0 where no length separates."""
        widest: FloatArray = np.maximum.reduce(list(self.lengths_mm.values()))
        return widest

    @cached_property
    def by_reading(self) -> BoolArray:
        """(N, N) whether anything that can be measured, weighed, seen or counted separates."""
        gaps = np.maximum.reduce([self.best_gap_mm, self.lip_mm, self.mass_kg])
        separated: BoolArray = np.logical_or.reduce([gaps > 0, *self.looks.values()])
        return separated

    def of(self, one: int, other: int) -> tuple[Separation, ...]:
        """Return what separates the packages at two places of ``rows``, the widest gap first, numbers last."""
        found = sorted(self._lengths_of(one, other), key=lambda each: -(each.gap or 0))
        found += [Separation(name, "look") for name, differs in self.looks.items() if differs[one, other]]
        found += [Separation(name, "number") for name, differs in self.numbers.items() if differs[one, other]]
        return tuple(found)

    def _lengths_of(self, one: int, other: int) -> Iterator[Separation]:
        for name, gaps in self.lengths_mm.items():
            if gaps[one, other] > 0:
                yield Separation(name, "length", float(gaps[one, other]))
        if self.lip_mm[one, other] > 0 and not self.lengths_mm["thickness_mm"][one, other] > 0:
            yield Separation("thickness_mm", "lip", float(self.lip_mm[one, other]))
        if self.mass_kg[one, other] > 0:
            yield Separation("mass_kg", "mass", float(self.mass_kg[one, other]))

    @property
    def _rotor(self) -> IntArray:
        return self.catalogue.packages.rotor[self.rows]

    @property
    def _pads(self) -> IntArray:
        return self.catalogue.packages.pads[self.rows]

    @property
    def _caliper(self) -> IntArray:
        return self.catalogue.packages.caliper[self.rows]

    @property
    def _thickness_mm(self) -> tuple[FloatArray, FloatArray]:
        """Thickness of the new ring, and of the ring worn to its limit."""
        new_mm = self.catalogue.rotors.thickness_mm[self._rotor]
        limit_mm = self.catalogue.rotors.min_thickness_mm[self._rotor]
        return new_mm, np.where(np.isnan(limit_mm), new_mm - USUAL_WEAR_MM, limit_mm)


def _gaps(values: FloatArray, same: float) -> FloatArray:
    """Return (N, N) absolute differences, 0 where they count as the same or one is not known."""
    gaps = np.nan_to_num(np.abs(values[:, None] - values[None, :]), nan=0.0)
    return np.where(gaps >= same, gaps, 0.0)


def _between(least: FloatArray, most: FloatArray, same: float) -> FloatArray:
    """Return (N, N) gaps between ranges, 0 where they overlap, count as touching, or one is not known."""
    gaps = np.nan_to_num(np.maximum(least[:, None] - most[None, :], least[None, :] - most[:, None]), nan=0.0)
    return np.where(gaps >= same, gaps, 0.0)


def _unequal(values: NDArray[Any], known: BoolArray) -> BoolArray:
    differs: BoolArray = values[:, None] != values[None, :]
    return differs & known[:, None] & known[None, :]


def _disjoint(marks: list[tuple[str, ...]]) -> BoolArray:
    """Return (N, N) whether both have marks and none in common."""
    listed = [frozenset(each) for each in marks]
    return np.array([[bool(a and b and not a & b) for b in listed] for a in listed], dtype=np.bool_).reshape(
        len(listed), len(listed)
    )
