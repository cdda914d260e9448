"""Edge photos with truth beside them, as choices among pairs of level lines: which are the ring's edges, or none."""

import json
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import cv2
import numpy as np

from sample_images_synthetic.studio.draw import draw_scene
from vision.circle_pose import circle
from vision.edge_fine import Ring
from vision.edge_level import quarter_turned
from vision.edge_look import Wall, ventilation_features
from vision.edge_pairs import Pairs, RimLine
from vision.edge_reference import in_sight, upright_references
from vision.edge_rims import THICKEST_MM, THINNEST_MM, rim_lines, with_supposed
from vision.edge_ring import find_ring
from vision.edge_rows import Row, Rows
from vision.edge_view import unrolled_of
from vision.measurement import FloatArray
from vision.photo import Photo, read_photo
from vision.references.parse import parse_kind
from vision.request import Request
from vision.ring import Mask

# A line so near a true edge is that edge, the first that finds a pair; a supposed one may be so much further off.
SAME_MM, SUPPOSED_MM = (0.3, 1.2), 0.3
# Lines so near a true edge are taken away with it.
TAKEN_MM = 1.3
# Nearest quarter of a circle's points.
NEAR, POINTS = 0.25, 72


@dataclass(frozen=True)
class Choice:
    """Pairs of lines.

    Attributes
    ----------
    pairs : (N, F) ndarray
        What speaks for each.
    right : (N,) ndarray of bool
        Which of them are the edges: maybe none.
    over_mm : (N,) ndarray
        How much farther they are apart than the edges.
    """

    pairs: FloatArray
    right: Mask
    over_mm: FloatArray

    def only(self, kept: Mask) -> "Choice":
        """Return some of the pairs."""
        return Choice(self.pairs[kept], self.right[kept], self.over_mm[kept])


@dataclass(frozen=True)
class Example:
    """A photo's choices, and what its wall looks like.

    Attributes
    ----------
    seen : sequence of Choice
        The photo as it is; of a standing rotor, also with its other side up: nothing tells which is.
    taken : sequence of Choice
        The same without the lines of one edge and then the other: none of the pairs are the edges.
    wall : (float, float), optional
        Where the edges were found.
    vented : bool
    """

    seen: Sequence[Choice]
    taken: Sequence[Choice]
    wall: tuple[float, float] | None
    vented: bool


@dataclass(frozen=True)
class _Rim:
    """An unrolled rim's lines and rows, and the true heights of its lower and upper edge."""

    lines: Sequence[RimLine]
    rows: Rows
    edges_mm: tuple[float, float]

    def turned_over(self) -> "_Rim":
        """Return the same with its other side up."""
        low, high = self.edges_mm
        lines = [replace(line, height_mm=-line.height_mm, supposed=-line.supposed) for line in self.lines]
        level, red, green, busy = map(_turned_over, (self.rows.level, self.rows.red, self.rows.green, self.rows.busy))
        return _Rim(lines, Rows(level, red, green, busy, [_turned_over(end) for end in self.rows.ends]), (-high, -low))

    @property
    def pairs(self) -> Pairs:
        """All pairs of lines."""
        return Pairs.of(self.lines, (THINNEST_MM, THICKEST_MM))

    def choice(self) -> Choice:
        """Tell which pairs are the edges."""
        pairs, (low, high) = self.pairs, self.edges_mm
        slack = SUPPOSED_MM * np.array([abs(line.supposed) for line in self.lines])
        above, below = np.abs(pairs.height - high) - slack, np.abs(pairs.height - low) - slack
        both = np.maximum(above[pairs.top], below[pairs.bottom])
        right = next((both < most for most in SAME_MM if (both < most).any()), np.zeros(len(both), bool))
        return Choice(pairs.features(self.rows), np.asarray(right), pairs.thick_mm - (high - low))

    def taken(self, choice: Choice) -> list[Choice]:
        """Leave out the pairs with a line at the one edge, and at the other."""
        pairs, (low, high) = self.pairs, self.edges_mm
        at_edge = np.abs(pairs.height[pairs.top] - high), np.abs(pairs.height[pairs.bottom] - low)
        return [choice.only(away_mm >= TAKEN_MM) for away_mm in at_edge if (away_mm >= TAKEN_MM).any()]


def _turned_over(row: Row) -> Row:
    return Row(-row.heights_mm[::-1], row.values[::-1])


def examples_of(folder: Path) -> Iterator[Example]:
    """Read a folder's edge photos in which a ring and pairs of lines were found."""
    for row in json.loads((folder / "truth.json").read_text(encoding="utf-8")):
        photo = read_photo(folder / row["file"]) if row["group"] == "edge" else None
        ring = None if photo is None else ring_of(photo, row)
        if photo is not None and ring is not None:
            example = _example(photo, ring, row)
            if len(example.seen[0].pairs):
                yield example


def ring_of(photo: Photo, row: Mapping[str, Any]) -> Ring | None:
    kind = row["reference"]["kind"]
    request = Request(kind, diameter_mm=None) if kind != "none" else Request(diameter_mm=row["rotor"]["diameter_mm"])
    sightings = upright_references(photo, parse_kind(request.reference), request)
    return find_ring(photo, in_sight(photo, sightings), sightings[0] if sightings else None, request.diameter_mm)


def _example(photo: Photo, ring: Ring, row: Mapping[str, Any]) -> Example:
    unrolled, turned = unrolled_of(ring), ring.level.turned
    bgr = quarter_turned(photo.bgr) if turned else photo.bgr
    lines = with_supposed(rim_lines(unrolled, lying=not turned))
    rim = _Rim(lines, Rows.of(unrolled, bgr, ring.level, ring.along), _true_edges_mm(ring, row))
    seen = [way.choice() for way in ([rim, rim.turned_over()] if turned else [rim])]
    pairs, right = rim.pairs, np.nonzero(seen[0].right)[0]
    spans_mm = [(pairs.height[pairs.bottom[number]], pairs.height[pairs.top[number]]) for number in right[:1]]
    looks = [ventilation_features(Wall(unrolled, span_mm)) for span_mm in spans_mm]
    vented = row["rotor"]["ventilation"] == "vented"
    return Example(seen, rim.taken(seen[0]), looks[0] if looks else None, vented)


def _true_edges_mm(ring: Ring, row: Mapping[str, Any]) -> tuple[float, float]:
    """Heights of the faces' edges above the camera's plane, at their nearer points; the truth's rim is the cylinder's.

    Of a rotor that was found to lie where it stands, they are as good as one, and no pair's.
    """
    rotor, camera = row["rotor"], row["camera"]
    radius_mm, chamfer_mm = rotor["diameter_mm"] / 2, _chamfer_mm(row)
    focal, (x, y) = camera["focal_px"], camera["principal_px"]
    lens, bend = np.array([[focal, 0, x], [0, focal, y], [0, 0, 1.0]]), np.array([camera["k1"], 0, 0, 0.0])
    _, spin, shift = cv2.solvePnP(circle(radius_mm, POINTS), np.array(row["rim_px"]), lens, bend)
    heights = []
    for height_mm in (chamfer_mm, chamfer_mm - rotor["thickness_mm"]):
        edge = circle(radius_mm - chamfer_mm, POINTS, height_mm)
        depth = (edge @ cv2.Rodrigues(spin)[0].T + shift.ravel())[:, 2]
        near = edge[depth < np.quantile(depth, NEAR)]
        edge_px = cv2.projectPoints(near, spin, shift, lens, bend)[0][:, 0]
        level_px = edge_px @ ring.level.from_photo[:, :2].T + ring.level.from_photo[:, 2]
        heights.append(float(np.median(ring.along.on_cylinder(level_px, ring.along.radius_mm)[1])))
    return min(heights), max(heights)


def _chamfer_mm(row: Mapping[str, Any]) -> float:
    """Return the chamfer's width, which the truth doesn't state: of the rotor drawn again."""
    rotor = draw_scene(row["made"]["set"], int(row["id"][1:])).rotor
    if rotor is None or abs(rotor.diameter_mm - row["rotor"]["diameter_mm"]) > 0.01:
        raise ValueError(f"{row['id']}: drawn again it is another rotor; render the photos anew with this studio")
    return rotor.chamfer_mm
