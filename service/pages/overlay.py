"""What is drawn on a photo: the curves that were found, and the handles that put them right."""

import math
from collections.abc import Sequence
from contextlib import suppress
from dataclasses import dataclass

from service.pages.job import Shot
from service.pages.working_photos import WorkingPhoto

HANDLES_ROUND = 8
CORNERS = 4
MOST_CORNERS = 24  # of cards and tags; a coin or a rim comes as a curve of more points
Point = tuple[float, float]
MARKABLE = ("card", "tag", "coin", "a4", "letter")


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


def curves_of(shot: Shot) -> list[Curve]:
    """Return what was found as curves; cards and tags one by one."""
    curves: list[Curve] = []
    for name, points in (shot.measurement.get("geometry") or {}).items():
        kind = {"rim_px": "rim", "reference_px": "reference"}.get(name, "other")
        step = CORNERS if kind == "reference" and not is_round(shot) else max(len(points), 1)
        pieces = (points[start : start + step] for start in range(0, len(points), step))
        curves.extend(Curve(kind, _spelt(piece)) for piece in pieces)
    # There and back again: a slot's line must not be closed across the ring.
    features = (shot.measurement.get("features") or {}).values()
    return curves + [Curve("feature", _spelt([*line, *line[-2:0:-1]])) for found in features for line in found]


def _spelt(points: Sequence[Point]) -> str:
    return " ".join(f"{x:.1f},{y:.1f}" for x, y in points)


def handles_of(shot: Shot, picture: WorkingPhoto | None) -> list[Handle]:
    """Return points round the rim and on the reference; where no rim was found, a ring to be drawn onto it."""
    if picture is None or shot.view == "edge":
        return []
    geometry = shot.measurement.get("geometry") or {}
    # Where a person put handles they stay; the line shows what the fit made of them.
    reference = _points(shot, "reference_points") or geometry.get("reference_px") or _middle_patch(shot, picture)
    few = 1 if len(reference) <= MOST_CORNERS else math.ceil(len(reference) / HANDLES_ROUND)
    corners = reference[::few]
    rim = _points(shot, "rim") or _spread(geometry.get("rim_px") or _middle_ring(picture), corners)
    return [Handle("rim", "Rim", x, y) for x, y in rim] + [Handle("reference", "Reference", x, y) for x, y in corners]


def is_round(shot: Shot) -> bool:
    """Whether the reference is a coin, by what was said of it or by how it was reported."""
    count = len((shot.measurement.get("geometry") or {}).get("reference_px") or ())
    return shot.options.get("reference", "").startswith("coin") or count > MOST_CORNERS or count % CORNERS > 0


def _spread(curve: Sequence[Point], corners: Sequence[Point]) -> Sequence[Point]:
    """Return points all round a curve that keep away from ``corners``: each handle must be one that can be taken."""
    every = max(len(curve) // HANDLES_ROUND, 1)
    rings = [curve[start::every][:HANDLES_ROUND] for start in range(every)]
    return max(rings, key=lambda ring: min((math.dist(one, other) for one in ring for other in corners), default=0.0))


def _points(shot: Shot, option: str) -> list[Point]:
    """Return the points that a person moved, as their option spells them."""
    pairs = [pair.split(",") for pair in shot.options.get(option, "").split()]
    with suppress(ValueError):  # a spelling that no handle writes; the page says what is wrong with it
        return [(float(x), float(y)) for x, y in pairs]
    return []


def _middle_ring(picture: WorkingPhoto, share: float = 0.7, count: int = HANDLES_ROUND) -> list[Point]:
    """Return points round the photo's middle, ``share`` of the way to its nearer sides."""
    x, y = picture.width_px / 2, picture.height_px / 2
    radius = share * min(x, y)
    angles = [2 * math.pi * (step + 0.5) / count for step in range(count)]
    return [(x + radius * math.cos(angle), y + radius * math.sin(angle)) for angle in angles]


def _middle_patch(shot: Shot, picture: WorkingPhoto) -> list[Point]:
    """Return corners to be drawn onto a reference that was named and not found."""
    if not shot.options.get("reference", "").startswith(MARKABLE):
        return []
    return _middle_ring(picture, 0.2, HANDLES_ROUND if is_round(shot) else CORNERS)
