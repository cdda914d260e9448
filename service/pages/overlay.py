"""What is drawn on a photo: the curves that were found, and the handles that put them right."""

import math
from collections.abc import Mapping
from contextlib import suppress
from dataclasses import dataclass
from typing import Any

from service.pages.job import Shot
from service.pages.working_photos import WorkingPhoto

HANDLES_ROUND = 8
MOST_CORNERS = 24  # of cards and tags; a coin or a rim comes as a curve of more points


@dataclass(frozen=True)
class Curve:
    """One thing found, as an SVG polygon in pixels of the photo as displayed."""

    kind: str
    points: str


@dataclass(frozen=True)
class Handle:
    """One point that may be dragged."""

    kind: str
    words: str
    x: float
    y: float


def curves_of(measurement: Mapping[str, Any]) -> list[Curve]:
    """Return what was found as curves; cards and tags one by one."""
    curves: list[Curve] = []
    for name, points in (measurement.get("geometry") or {}).items():
        kind = {"rim_px": "rim", "reference_px": "reference"}.get(name, "other")
        several = kind == "reference" and len(points) <= MOST_CORNERS and len(points) % 4 == 0
        step = 4 if several else max(len(points), 1)
        pieces = (points[start : start + step] for start in range(0, len(points), step))
        curves.extend(Curve(kind, " ".join(f"{x:.1f},{y:.1f}" for x, y in piece)) for piece in pieces)
    return curves


def handles_of(shot: Shot, picture: WorkingPhoto | None) -> list[Handle]:
    """Return points round the rim and on the reference; where no rim was found, a ring to be drawn onto it."""
    if picture is None or shot.view == "edge":
        return []
    geometry = shot.measurement.get("geometry") or {}
    # Where a person put handles they stay; the line shows what the fit made of them.
    rim = _points(shot, "rim") or geometry.get("rim_px") or _middle_ring(picture)
    every = max(len(rim) // HANDLES_ROUND, 1)
    handles = [Handle("rim", "Rim", x, y) for x, y in rim[::every][:HANDLES_ROUND]]
    reference = _points(shot, "reference_points") or geometry.get("reference_px") or []
    few = 1 if len(reference) <= MOST_CORNERS else math.ceil(len(reference) / HANDLES_ROUND)
    return handles + [Handle("reference", "Reference", x, y) for x, y in reference[::few]]


def _points(shot: Shot, option: str) -> list[tuple[float, float]]:
    """Return the points that a person moved, as their option spells them."""
    pairs = [pair.split(",") for pair in shot.options.get(option, "").split()]
    with suppress(ValueError):  # a spelling that no handle writes; the page says what is wrong with it
        return [(float(x), float(y)) for x, y in pairs]
    return []


def _middle_ring(picture: WorkingPhoto) -> list[tuple[float, float]]:
    x, y = picture.width_px / 2, picture.height_px / 2
    radius = 0.7 * min(x, y)
    angles = [2 * math.pi * step / HANDLES_ROUND for step in range(HANDLES_ROUND)]
    return [(x + radius * math.cos(angle), y + radius * math.sin(angle)) for angle in angles]
