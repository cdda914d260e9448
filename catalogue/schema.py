"""The catalogue in memory: one frozen table a file, its columns as NumPy arrays.

Numbers that are not known are NaN, words are codes into the tuples below with ``UNKNOWN`` (-1) where not known, and
references between tables are row numbers with ``UNKNOWN`` where there is none. ``row`` of a table gives one row as
a small record whose unknown cells are None.
"""

from collections.abc import Sequence
from dataclasses import dataclass, fields
from functools import cached_property
from typing import Any

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]
BoolArray = NDArray[np.bool_]

UNKNOWN = -1

AXLES = ("front", "rear")
SURFACES = ("plain", "slotted", "drilled", "dimpled", "drilled+slotted", "dimpled+slotted")
VENTILATIONS = ("solid", "vented")
CONSTRUCTIONS = ("one-piece", "two-piece")
MATERIALS = ("iron", "coated", "carbon-ceramic")
MOUNTS = ("floating", "fixed")
PARKING_BRAKES = ("none", "drum-in-hat", "cable", "electric")
OFFERS = ("standard", "optional", "dealer")
YES_NO = ("no", "yes")

STILL_MADE = 9999
"""``year_to`` of a fitment that is still made."""


def month_number(year: int, month: int) -> int:
    """Return months since year 0, so that months compare and subtract as numbers."""
    return year * 12 + month - 1


def folded(name: str) -> str:
    """Return a name without what people get wrong in it: case and blanks."""
    return " ".join(name.casefold().split())


def month_text(number: int) -> str:
    """Return ``YYYY-MM`` for a month number."""
    return f"{number // 12:04d}-{number % 12 + 1:02d}"


@dataclass(frozen=True, slots=True)
class Rotor:
    """One rotor; lengths in mm, mass in kg, None where not known."""

    part: str
    diameter_mm: float
    thickness_mm: float
    min_thickness_mm: float | None
    machine_to_mm: float | None
    height_mm: float | None
    centre_bore_mm: float | None
    bolt_count: int | None
    bolt_circle_mm: float | None
    ring_inner_mm: float | None
    hat_mm: float | None
    ventilation: str | None
    construction: str | None
    surface: str | None
    material: str | None
    mass_kg: float | None
    marks: tuple[str, ...]


@dataclass(frozen=True, eq=False)
class Rotors:
    """``rotors.csv``: R rows. ``part`` and ``marks`` are tuples, the rest (R,) arrays."""

    part: tuple[str, ...]
    diameter_mm: FloatArray
    thickness_mm: FloatArray
    min_thickness_mm: FloatArray
    machine_to_mm: FloatArray
    height_mm: FloatArray
    centre_bore_mm: FloatArray
    bolt_count: FloatArray
    bolt_circle_mm: FloatArray
    ring_inner_mm: FloatArray
    hat_mm: FloatArray
    ventilation: IntArray
    construction: IntArray
    surface: IntArray
    material: IntArray
    mass_kg: FloatArray
    marks: tuple[tuple[str, ...], ...]

    def __len__(self) -> int:
        return len(self.part)

    def row(self, index: int) -> Rotor:
        """Return rotor ``index``."""
        return Rotor(**_cells(self, index))

    @cached_property
    def index(self) -> dict[str, int]:
        """Row of each part number."""
        return {part: row for row, part in enumerate(self.part)}


@dataclass(frozen=True, slots=True)
class Pads:
    """One set of pads; lengths in mm, None where not known."""

    part: str
    height_mm: float | None
    length_mm: float | None
    thickness_mm: float | None
    wear_sensor: str | None
    shape_number: str | None
    marks: tuple[str, ...]


@dataclass(frozen=True, eq=False)
class PadTable:
    """``pads.csv``: N rows."""

    part: tuple[str, ...]
    height_mm: FloatArray
    length_mm: FloatArray
    thickness_mm: FloatArray
    wear_sensor: IntArray
    shape_number: tuple[str, ...]
    marks: tuple[tuple[str, ...], ...]

    def __len__(self) -> int:
        return len(self.part)

    def row(self, index: int) -> Pads:
        """Return pads ``index``."""
        return Pads(**_cells(self, index))

    @cached_property
    def index(self) -> dict[str, int]:
        """Row of each part number."""
        return {part: row for row, part in enumerate(self.part)}


@dataclass(frozen=True, slots=True)
class Caliper:
    """One caliper; None where not known."""

    caliper: str
    mount: str | None
    pistons: int | None
    parking_brake: str | None
    colours: tuple[str, ...]


@dataclass(frozen=True, eq=False)
class Calipers:
    """``calipers.csv``: N rows."""

    caliper: tuple[str, ...]
    mount: IntArray
    pistons: FloatArray
    parking_brake: IntArray
    colours: tuple[tuple[str, ...], ...]

    def __len__(self) -> int:
        return len(self.caliper)

    def row(self, index: int) -> Caliper:
        """Return caliper ``index``."""
        return Caliper(**_cells(self, index))

    @cached_property
    def index(self) -> dict[str, int]:
        """Row of each caliper."""
        return {caliper: row for row, caliper in enumerate(self.caliper)}


@dataclass(frozen=True, eq=False)
class PackageAxles:
    """``packages.csv``: P rows, one a package and axle.

    Attributes
    ----------
    keys : tuple of str, K
        The packages, each once.
    key : (P,) ndarray of int
        Index into ``keys``.
    name : tuple of str, P
        ``package_name``, empty where not known.
    axle : (P,) ndarray of int
        0 front, 1 rear.
    rotor, rotor_right, pads, caliper : (P,) ndarray of int
        Rows of those tables; ``rotor_right`` UNKNOWN where left and right are the same.
    min_wheel_in : (P,) ndarray
        Inches.
    row : (K, 2) ndarray of int
        Row of each package's front and rear axle, UNKNOWN where it has none.
    """

    keys: tuple[str, ...]
    key: IntArray
    name: tuple[str, ...]
    axle: IntArray
    rotor: IntArray
    rotor_right: IntArray
    pads: IntArray
    caliper: IntArray
    min_wheel_in: FloatArray
    row: IntArray

    def __len__(self) -> int:
        return len(self.key)

    @cached_property
    def index(self) -> dict[str, int]:
        """Index into ``keys`` and the rows of ``row``."""
        return {key: number for number, key in enumerate(self.keys)}

    def name_of(self, package: int) -> str:
        """Return the name of package ``package`` (an index into ``keys``), from either axle's row."""
        front, rear = self.row[package].tolist()
        name = self.name[front] if front != UNKNOWN else ""
        return name or (self.name[rear] if rear != UNKNOWN else "")


@dataclass(frozen=True, eq=False)
class Fitments:
    """``fitments.csv``: F rows.

    Attributes
    ----------
    lines : tuple of str
        The lines, each once.
    models : tuple of (str, str), M
        Line and model, each pair once.
    model_line : (M,) ndarray of int
        Index into ``lines`` of each model.
    model, package : (F,) ndarray of int
        Index into ``models`` and into ``PackageAxles.keys``.
    year_from, year_to : (F,) ndarray of int
        First and last year; ``STILL_MADE`` where it goes on.
    built_from, built_to : (F,) ndarray of int
        Month numbers, UNKNOWN where not given.
    codes : tuple of str
        The option codes, each once.
    code : (F,) ndarray of int
        Index into ``codes``, UNKNOWN where it has none.
    offered : (F,) ndarray of int
        Index into ``OFFERS``, UNKNOWN where not given.
    share, cars : (F,) ndarray
        As written, NaN where empty.
    """

    lines: tuple[str, ...]
    models: tuple[tuple[str, str], ...]
    model_line: IntArray
    model: IntArray
    year_from: IntArray
    year_to: IntArray
    built_from: IntArray
    built_to: IntArray
    package: IntArray
    codes: tuple[str, ...]
    code: IntArray
    offered: IntArray
    share: FloatArray
    cars: FloatArray

    def __len__(self) -> int:
        return len(self.model)

    @cached_property
    def line_index(self) -> dict[str, list[int]]:
        """Numbers of the lines of each folded name."""
        return _index_folded(self.lines)

    @cached_property
    def model_index(self) -> dict[str, list[int]]:
        """Numbers of the models of each folded name, whatever their line."""
        return _index_folded([model for _, model in self.models])


@dataclass(frozen=True, slots=True)
class Extra:
    """One row of ``extras.csv``: what a package brings along on an axle."""

    package: str
    axle: str
    kind: str
    part: str
    quantity: int | None
    note: str


@dataclass(frozen=True, slots=True)
class Alternative:
    """One row of ``alternatives.csv``: a part that may take another's place."""

    part: str
    replaces: str
    surface: str | None
    note: str


@dataclass(frozen=True, eq=False)
class Catalogue:
    """A whole catalogue, checked.

    Attributes
    ----------
    name : str
        Name of its folder.
    extras, alternatives : tuple
        Empty where the file is not there.
    notices : tuple of str
        What was passed over in loading, one line each (columns that nobody asked for).
    """

    name: str
    rotors: Rotors
    pads: PadTable
    calipers: Calipers
    packages: PackageAxles
    fitments: Fitments
    extras: tuple[Extra, ...]
    alternatives: tuple[Alternative, ...]
    notices: tuple[str, ...]

    def to_json(self) -> dict[str, Any]:
        """Return what a form needs to ask for a vehicle: lines, their models, the years of each, and counts."""
        fitments = self.fitments
        first = np.full(len(fitments.models), STILL_MADE)
        last = np.zeros(len(fitments.models), dtype=np.int64)
        np.minimum.at(first, fitments.model, fitments.year_from)
        np.maximum.at(last, fitments.model, fitments.year_to)
        lines: dict[str, list[dict[str, Any]]] = {line: [] for line in fitments.lines}
        for (line, model), start, end in zip(fitments.models, first.tolist(), last.tolist(), strict=True):
            lines[line].append({"model": model, "year_from": start, "year_to": None if end == STILL_MADE else end})
        counts = {
            "rotors": len(self.rotors),
            "pads": len(self.pads),
            "calipers": len(self.calipers),
            "packages": len(self.packages.keys),
            "fitments": len(fitments),
        }
        return {
            "name": self.name,
            "counts": counts,
            "lines": [{"line": line, "models": models} for line, models in lines.items()],
            "notices": list(self.notices),
        }


_WORDS: dict[str, tuple[str, ...]] = {
    "ventilation": VENTILATIONS,
    "construction": CONSTRUCTIONS,
    "surface": SURFACES,
    "material": MATERIALS,
    "wear_sensor": YES_NO,
    "mount": MOUNTS,
    "parking_brake": PARKING_BRAKES,
}
_WHOLE = frozenset({"bolt_count", "pistons"})


def _index_folded(names: Sequence[str]) -> dict[str, list[int]]:
    index: dict[str, list[int]] = {}
    for number, name in enumerate(names):
        index.setdefault(folded(name), []).append(number)
    return index


def _cells(table: Rotors | PadTable | Calipers, index: int) -> dict[str, Any]:
    return {column.name: _cell(column.name, getattr(table, column.name)[index]) for column in fields(table)}


def _cell(name: str, value: Any) -> Any:
    if isinstance(value, tuple):
        return value
    if isinstance(value, str):
        return value if name in ("part", "caliper") or value else None
    if name in _WORDS:
        return None if value == UNKNOWN else _WORDS[name][int(value)]
    if np.isnan(value):
        return None
    return int(value) if name in _WHOLE else float(value)
