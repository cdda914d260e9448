"""What is cut into the friction face: through holes, blind dimples and slots, in rows that repeat round the ring."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Literal

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]
Surface = Literal["plain", "slotted", "drilled", "dimpled", "drilled+slotted", "dimpled+slotted"]
SURFACES: tuple[Surface, ...] = (
    "plain",
    "slotted",
    "drilled",
    "dimpled",
    "drilled+slotted",
    "dimpled+slotted",
)

# Iron left between two features, and between a feature and the edge of the pads' band.
LAND_MM = 2.0


@dataclass(frozen=True)
class Hole:
    """A hole through the ring, countersunk on both faces; mm, ``xy_mm`` on the face."""

    xy_mm: tuple[float, float]
    diameter_mm: float
    countersink_mm: float


@dataclass(frozen=True)
class Dimple:
    """A blind dimple with a conical or spherical floor; mm."""

    xy_mm: tuple[float, float]
    diameter_mm: float
    depth_mm: float
    floor: Literal["conical", "spherical"]


@dataclass(frozen=True)
class Slot:
    """A groove along a path on the face; mm. ``path_mm`` is its centre line, ``(x, y)`` pairs."""

    path_mm: tuple[tuple[float, float], ...]
    width_mm: float
    depth_mm: float


@dataclass(frozen=True)
class Pattern:
    """All features of one friction face."""

    holes: tuple[Hole, ...] = ()
    dimples: tuple[Dimple, ...] = ()
    slots: tuple[Slot, ...] = ()

    @property
    def feature_count(self) -> int:
        """Holes, dimples and slots together."""
        return len(self.holes) + len(self.dimples) + len(self.slots)


@dataclass(frozen=True)
class Band:
    """The band the pads sweep, by its two radii in mm."""

    inner_mm: float
    outer_mm: float
    middle_mm: float = field(init=False)

    def __post_init__(self) -> None:
        object.__setattr__(self, "middle_mm", (self.inner_mm + self.outer_mm) / 2)


@dataclass(frozen=True)
class Lean:
    """How a row or slot leans: the angle from the radius at mid-band, and whether it keeps that angle (curved)."""

    angle_rad: float
    curved: bool

    def polar_angle(self, radius_mm: FloatArray, band: Band) -> FloatArray:
        """Polar angle, relative to the row's own, at which the leaning line crosses each radius, rad.

        Curved lines are logarithmic spirals (constant lean); straight ones are chords through the mid-band point.
        """
        if self.curved:
            return np.asarray(np.tan(self.angle_rad) * np.log(radius_mm / band.middle_mm))
        along = np.cos(self.angle_rad) * band.middle_mm
        run_mm = np.sqrt(np.maximum(radius_mm**2 - band.middle_mm**2 + along**2, 0.0)) - along
        return np.asarray(np.arctan2(run_mm * np.sin(self.angle_rad), band.middle_mm + run_mm * np.cos(self.angle_rad)))


def draw_pattern(rng: np.random.Generator, surface: Surface, band: Band) -> Pattern:
    """Draw the features of one face.

    Parameters
    ----------
    rng : numpy Generator
        Source of every choice; the same state gives the same pattern.
    surface : Surface
        One of `SURFACES`.
    band : Band
        Radii between which the pads run, mm.

    Returns
    -------
    Pattern
        Holes, dimples and slots that don't touch each other nor leave the band (slots may run out at the rim).
    """
    kinds = surface.split("+")
    lean = draw_lean(rng)
    repeats = int(rng.integers(8, 17)) if "slotted" not in kinds else int(rng.integers(6, 13))
    turn_rad = float(rng.uniform(0, 2 * np.pi))
    slots: tuple[Slot, ...] = ()
    spots: list[tuple[float, float]] = []
    size_mm = 0.0
    if "slotted" in kinds:
        slots = draw_slots(rng, band, lean, turn_rad=turn_rad, count=slot_count(rng, kinds, repeats))
    if "drilled" in kinds or "dimpled" in kinds:
        size_mm = float(rng.uniform(4.5, 9.0) if "drilled" in kinds else rng.uniform(6.0, 14.0))
        if slots:
            spots = rows_between_slots(rng, band, lean, size_mm=size_mm, slots=slots, turn_rad=turn_rad)
        else:
            spots = repeated_spots(rng, band, lean, size_mm=size_mm, repeats=repeats)
    holes = drill(rng, spots, size_mm) if "drilled" in kinds else ()
    dimples = dimple(rng, spots, size_mm) if "dimpled" in kinds else ()
    return Pattern(holes, dimples, slots)


def draw_lean(rng: np.random.Generator) -> Lean:
    """Draw a lean of either hand, 0 to 50 degrees."""
    angle_rad = np.radians(rng.uniform(5, 50)) * rng.choice([-1, 1])
    return Lean(float(angle_rad), bool(rng.random() < 0.5))


def slot_count(rng: np.random.Generator, kinds: list[str], repeats: int) -> int:
    """Slots alone come as 4 to 24, with holes or dimples between them as one a repeat."""
    if len(kinds) > 1:
        return repeats
    return int(rng.choice([4, 5, 6, 6, 7, 8, 8, 10, 12, 12, 16, 24]))


def draw_slots(rng: np.random.Generator, band: Band, lean: Lean, *, turn_rad: float, count: int) -> tuple[Slot, ...]:
    """Draw ``count`` equal slots round the ring, perhaps running out at the rim."""
    width_mm, depth_mm = float(rng.uniform(1.2, 3.0)), float(rng.uniform(1.0, 2.0))
    start_mm = band.inner_mm + rng.uniform(2, 7)
    runs_out = rng.random() < 0.35
    end_mm = band.outer_mm + 12 if runs_out else band.outer_mm - rng.uniform(2, 6)
    radii_mm = np.linspace(start_mm, end_mm, 24)
    angles = lean.polar_angle(radii_mm, band)
    return tuple(
        Slot(as_pairs(radii_mm, angles + turn_rad + 2 * np.pi * i / count), width_mm, depth_mm) for i in range(count)
    )


def rows_between_slots(
    rng: np.random.Generator,
    band: Band,
    lean: Lean,
    *,
    size_mm: float,
    slots: tuple[Slot, ...],
    turn_rad: float,
) -> list[tuple[float, float]]:
    """Rows of spots that lean like the slots, one or two between neighbours, so that they never meet."""
    count = len(slots)
    room_mm = 2 * np.pi * band.inner_mm * np.cos(lean.angle_rad) / count - slots[0].width_mm
    rows = 2 if room_mm > 3.2 * (size_mm + LAND_MM) and rng.random() < 0.6 else 1
    per_row = spots_a_row(rng, band, size_mm, lean)
    spots: list[tuple[float, float]] = []
    for i in range(count):
        for row in range(rows):
            angle = turn_rad + 2 * np.pi * (i + (row + 1) / (rows + 1)) / count
            radii_mm = row_radii(band, size_mm, per_row, shifted=row % 2 == 1)
            spots += as_pairs(radii_mm, lean.polar_angle(radii_mm, band) + angle)
    return [s for s in spots if clear_of(s, slots, size_mm)]


def clear_of(spot: tuple[float, float], slots: tuple[Slot, ...], size_mm: float) -> bool:
    """Whether a spot leaves iron between itself and every slot."""
    paths = np.array([slot.path_mm for slot in slots]).reshape(-1, 2)
    gap_mm = np.hypot(*(paths - np.array(spot)).T).min() - size_mm / 2 - slots[0].width_mm / 2
    return bool(gap_mm > LAND_MM / 2)


def repeated_spots(
    rng: np.random.Generator, band: Band, lean: Lean, *, size_mm: float, repeats: int
) -> list[tuple[float, float]]:
    """Staggered rows or leaning lines of spots, repeated round the ring."""
    per_row = spots_a_row(rng, band, size_mm, lean)
    turn_rad = float(rng.uniform(0, 2 * np.pi))
    while 2 * np.pi * band.inner_mm * np.cos(lean.angle_rad) / repeats < 1.5 * (size_mm + LAND_MM):
        repeats -= 1
    room_mm = 2 * np.pi * band.inner_mm * np.cos(lean.angle_rad) / repeats
    rows = 2 if room_mm > 3.0 * (size_mm + LAND_MM) and rng.random() < 0.5 else 1
    spots: list[tuple[float, float]] = []
    for i in range(repeats):
        for row in range(rows):
            angle = turn_rad + 2 * np.pi * (i + row / rows) / repeats
            radii_mm = row_radii(band, size_mm, per_row, shifted=row % 2 == 1)
            spots += as_pairs(radii_mm, lean.polar_angle(radii_mm, band) + angle)
    return spots


def spots_a_row(rng: np.random.Generator, band: Band, size_mm: float, lean: Lean) -> int:
    """How many spots a row holds: 2 to 6, as many as fit with iron between them."""
    run_mm = (band.outer_mm - band.inner_mm - size_mm - 2 * LAND_MM) / np.cos(lean.angle_rad)
    fitting = int(run_mm / (size_mm + 2 * LAND_MM)) + 1
    return max(2, min(fitting, int(rng.integers(3, 7))))


def row_radii(band: Band, size_mm: float, per_row: int, *, shifted: bool) -> FloatArray:
    """Radii of a row's spots; a shifted row lies half a step further in and has one spot fewer."""
    edge_mm = size_mm / 2 + LAND_MM
    radii_mm = np.linspace(band.inner_mm + edge_mm, band.outer_mm - edge_mm, per_row)
    return (radii_mm[1:] + radii_mm[:-1]) / 2 if shifted else radii_mm


def drill(rng: np.random.Generator, spots: list[tuple[float, float]], diameter_mm: float) -> tuple[Hole, ...]:
    """Through holes at the spots, all of one size, slightly countersunk."""
    countersink_mm = float(rng.uniform(0.2, 0.8))
    return tuple(Hole(spot, diameter_mm, countersink_mm) for spot in spots)


def dimple(rng: np.random.Generator, spots: list[tuple[float, float]], diameter_mm: float) -> tuple[Dimple, ...]:
    """Blind dimples at the spots, all of one size, depth and floor."""
    depth_mm = float(min(rng.uniform(1.0, 2.5), 0.4 * diameter_mm))
    floor: Literal["conical", "spherical"] = "conical" if rng.random() < 0.5 else "spherical"
    return tuple(Dimple(spot, diameter_mm, depth_mm, floor) for spot in spots)


def as_pairs(radius_mm: FloatArray, angle_rad: FloatArray) -> tuple[tuple[float, float], ...]:
    """Polar to ``(x, y)`` pairs, mm."""
    x_mm, y_mm = radius_mm * np.cos(angle_rad), radius_mm * np.sin(angle_rad)
    return tuple((float(x), float(y)) for x, y in zip(x_mm, y_mm, strict=True))
