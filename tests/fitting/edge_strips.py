"""Read the strips that edge views' nets learn from: ``python -m tests.fitting.edge_strips KIND FITTING STRIPS``.

KIND is face_side, face_end, rim_end, hat_side or hat_top; FITTING a folder of sample photos with its ``truth.json``;
STRIPS one for what is read.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from functools import cached_property
from pathlib import Path
from typing import Any

import cv2
import numpy as np

from sample_images_synthetic.studio.draw import draw_scene
from sample_images_synthetic.studio.rotor import Rotor
from tests.fitting.cut_examples import FOLDS
from tests.fitting.kinds import BLOCK, EDGE_KINDS, NEAR_STEPS_MM, NEAR_WIDE_ROWS
from tests.fitting.near_strips import QUALITY
from tests.fitting.outline_strips import read_all
from tests.fitting.renders import references_px
from vision import read_photo
from vision.band import BoolArray
from vision.circle_pose import circle
from vision.edge_face import Side
from vision.edge_fine import Ring
from vision.edge_hat import Flank
from vision.edge_level import quarter_turned
from vision.edge_reference import in_sight, upright_references
from vision.edge_ring import find_rings
from vision.edge_tip import Tip
from vision.measurement import FloatArray
from vision.near_look import Course
from vision.outline_look import COLUMNS
from vision.photo import Photo
from vision.references.parse import parse_kind
from vision.request import Request

POINTS, FILLET_STEPS = 720, 9
# How far off the rim's middle strips begin.
MIDDLE_MM = 8.0
# The cosine of the angle at which a cylinder still shows.
LEAST_FACING = 0.1
NOWHERE = np.full(COLUMNS, np.nan)

Drawn = tuple[str, Course, FloatArray]


@dataclass(frozen=True)
class Posed:
    """A rotor's true pose before its camera, and the ring as it was found.

    Attributes
    ----------
    row : mapping
        Of ``truth.json``.
    rotor : Rotor
    ring : Ring
    """

    row: Mapping[str, Any]
    rotor: Rotor
    ring: Ring

    def pixels(self, points_mm: FloatArray) -> FloatArray:
        """Project points (N, 3) of the rotor, its rim at z = 0, to the photo in which the ring lies level."""
        to_level = self.ring.level.from_photo
        xy_px = cv2.projectPoints(points_mm, *self.pose, *self.lens)[0][:, 0]
        return np.asarray(xy_px @ to_level[:, :2].T + to_level[:, 2])

    @property
    def lens(self) -> tuple[FloatArray, FloatArray]:
        """OpenCV's camera matrix and distortion."""
        camera = self.row["camera"]
        focal, (x, y) = camera["focal_px"], camera["principal_px"]
        return np.array([[focal, 0, x], [0, focal, y], [0, 0, 1.0]]), np.array([camera["k1"], 0, 0, 0.0])

    @cached_property
    def pose(self) -> tuple[Any, Any]:
        """OpenCV's turn and shift."""
        rim_px = np.array(self.row["rim_px"])
        _, spin, shift = cv2.solvePnP(circle(self.rotor.diameter_mm / 2, len(rim_px)), rim_px, *self.lens)
        return spin, shift

    @property
    def camera_mm(self) -> FloatArray:
        """Where the camera is, (3,)."""
        spin, shift = self.pose
        return np.asarray(-shift.ravel() @ cv2.Rodrigues(spin)[0])

    @cached_property
    def edges(self) -> list[tuple[FloatArray, FloatArray]]:
        """Angles, rising, and heights on the ring's cylinder at which the lower and the upper face are seen to end."""
        rotor, edges = self.rotor, []
        for height_mm in (rotor.chamfer_mm, rotor.chamfer_mm - rotor.thickness_mm):
            around = circle(rotor.diameter_mm / 2 - rotor.chamfer_mm, POINTS, height_mm)
            seen = self.pixels(around[self._turned_to_camera(around)])
            angle, height, _ = self.ring.along.on_cylinder(seen, self.ring.along.radius_mm)
            order = np.argsort(angle)
            edges.append((angle[order], height[order]))
        return sorted(edges, key=_height)

    @property
    def heights_mm(self) -> tuple[float, float]:
        """How high the lower and the upper face end, at the nearest point."""
        low, high = map(_height, self.edges)
        return low, high

    def _turned_to_camera(self, around_mm: FloatArray) -> BoolArray:
        """Whether the cylinder shows at points (N, 3) round it, and not too aslant."""
        to_camera = self.camera_mm[:2] - around_mm[:, :2]
        facing = (around_mm[:, :2] * to_camera).sum(axis=1) / np.linalg.norm(around_mm[:, :2], axis=1)
        return np.asarray(facing > LEAST_FACING * np.linalg.norm(to_camera, axis=1))

    def silhouette_px(self, sign: float) -> FloatArray:
        """Points up the outer cylinder where it is seen from the side, (POINTS, 2)."""
        rotor, (x, y, _) = self.rotor, self.camera_mm
        radius_mm = rotor.diameter_mm / 2
        turn = np.arctan2(y, x) + sign * np.arccos(radius_mm / np.hypot(x, y))
        up = np.linspace(2 * rotor.chamfer_mm - rotor.thickness_mm, 0.0, POINTS)
        return self.pixels(
            np.column_stack([*(np.full(POINTS, radius_mm * part(turn)) for part in (np.cos, np.sin)), up])
        )

    def top_px(self) -> list[FloatArray]:
        """Circles round the hat's rounded upper corner, each (POINTS, 2)."""
        rotor = self.rotor
        turn = np.linspace(0.0, np.pi / 2, FILLET_STEPS)
        radii = rotor.hat_mm / 2 - rotor.hat_fillet_mm * (1 - np.cos(turn))
        heights = rotor.hat_z_mm - rotor.hat_fillet_mm * (1 - np.sin(turn)) - rotor.rim_z_mm
        rounds = zip(radii, heights, strict=True)
        return [self.pixels(circle(float(radius), POINTS, float(height))) for radius, height in rounds]

    def hidden(self, xy_px: FloatArray) -> BoolArray:
        """Whether what stands before the ring, or the photo's border, hides points (N, 2)."""
        width, height = self.ring.level.size_px
        to_level = self.ring.level.from_photo
        beyond = ((xy_px < 1) | (xy_px > np.array([width - 2, height - 2]))).any(axis=1)
        for card in references_px(self.row):
            hull = cv2.convexHull((card @ to_level[:, :2].T + to_level[:, 2]).astype(np.float32))
            beyond |= np.array([cv2.pointPolygonTest(hull, (float(x), float(y)), False) >= 0 for x, y in xy_px])
        return np.asarray(beyond)


def _height(edge: tuple[FloatArray, FloatArray]) -> float:
    return float(np.interp(0.0, *edge))


def main() -> None:
    """Read all strips."""
    read_all(str(__doc__), EDGE_KINDS, lambda row, _: row["group"] == "edge" and bool(row["rim_px"]), read_strips)


def read_strips(
    numbered: tuple[int, Mapping[str, Any]], kind: str, folder: Path, out: Path
) -> list[tuple[str, FloatArray]]:
    """Read one photo's strips; the fold that its number falls in begins their names.

    Returns
    -------
    list of (str, (2, COLUMNS) ndarray)
        Names; how many rows from the middle the outline runs, NaN where it doesn't show, and the course's relief.
    """
    number, row = numbered
    cv2.setNumThreads(1)
    rotor, photo = draw_scene(row["made"]["set"], int(row["id"][1:])).rotor, read_photo(folder / row["file"])
    ring = ring_of(photo, row)
    if ring is None or rotor is None:
        return []
    bgr = quarter_turned(photo.bgr) if ring.level.turned else photo.bgr
    rng, step_mm = np.random.default_rng([0x45, number]), NEAR_STEPS_MM[kind]
    told = []
    for which, course, offset_mm in READ[kind](Posed(row, rotor, ring), step_mm, rng):
        name = f"{number % FOLDS}_{row['id']}_{which}"
        levels = course.strip(bgr, step_mm, NEAR_WIDE_ROWS)
        cv2.imwrite(str(out / f"{name}.jpg"), levels, [cv2.IMWRITE_JPEG_QUALITY, QUALITY])
        told.append((name, np.stack([offset_mm / step_mm, course.relief])))
    return told


def ring_of(photo: Photo, row: Mapping[str, Any]) -> Ring | None:
    """Find the ring of an edge photo as the program does."""
    kind = row["reference"]["kind"]
    request = Request(kind, diameter_mm=None) if kind != "none" else Request(diameter_mm=row["rotor"]["diameter_mm"])
    sightings = upright_references(photo, parse_kind(request.reference), request)
    found = find_rings(photo, in_sight(photo, sightings), sightings[0] if sightings else None, request.diameter_mm)
    return found[0] if found else None


def _phase_mm(rng: np.random.Generator, step_mm: float) -> float:
    """Return by how much a strip is moved: in one place of a compressed picture's blocks truth would tell of itself."""
    return step_mm * float(rng.uniform(-BLOCK / 2, BLOCK / 2))


def _face_sides(posed: Posed, _: float, rng: np.random.Generator) -> list[Drawn]:
    """Go from the middle of the rim outward."""
    sides = [Side(posed.ring.along, sign) for sign in (1.0, -1.0)]
    middles = np.mean(posed.heights_mm) + rng.uniform(-MIDDLE_MM, MIDDLE_MM, 2)
    return [_face(posed, side, side.course(float(middle))) for side, middle in zip(sides, middles, strict=True)]


def _face_ends(posed: Posed, step_mm: float, rng: np.random.Generator) -> list[Drawn]:
    """Go along where the faces end."""
    sides = [Side(posed.ring.along, sign) for sign in (-1.0, 1.0)]
    heights = [height + _phase_mm(rng, step_mm) for height in posed.heights_mm]
    return [_face(posed, side, side.course(height)) for side, height in zip(sides, heights, strict=True)]


def _face(posed: Posed, side: Side, course: Course) -> Drawn:
    along = posed.ring.along
    angle, height_mm, _ = along.on_cylinder(course.column_px, along.radius_mm)
    true_mm = np.interp(angle, *posed.edges[1 if side.sign > 0 else 0], left=np.nan, right=np.nan)
    true_px = along.pixels(along.points(angle, np.nan_to_num(true_mm), along.radius_mm))
    offset_mm = np.where(posed.hidden(true_px), np.nan, side.sign * (true_mm - height_mm))
    return "over" if side.sign > 0 else "under", course, offset_mm


def _rim_ends(posed: Posed, step_mm: float, rng: np.random.Generator) -> list[Drawn]:
    """Go up both ends of the rim's outline."""
    drawn = []
    for sign in (-1.0, 1.0):
        tip = Tip(posed.ring.along, posed.heights_mm, sign)
        lines = [tip.on_plane(posed.silhouette_px(way)) for way in (-1.0, 1.0)]
        beside, high = max(lines, key=lambda line: float(line[0].mean()))
        order = np.argsort(high)
        course = tip.course(float(np.median(beside)) + _phase_mm(rng, step_mm))
        at, up = tip.on_plane(course.column_px)
        true_mm = np.interp(up, high[order], beside[order], left=np.nan, right=np.nan)
        hidden = posed.hidden(tip.pixels(np.nan_to_num(true_mm), up))
        drawn.append(("right" if sign > 0 else "left", course, np.where(hidden, np.nan, true_mm - at)))
    return drawn


def _hat_sides(posed: Posed, step_mm: float, rng: np.random.Generator) -> list[Drawn]:
    """Go across both sides of the ring."""
    return [_hat(posed, flank, flank.whole(), _phase_mm(rng, step_mm)) for flank in _flanks(posed)]


def _hat_tops(posed: Posed, step_mm: float, rng: np.random.Generator) -> list[Drawn]:
    """Go along the hat's end."""
    scale = float(posed.ring.along.radius_mm) / (posed.rotor.diameter_mm / 2)
    radius_mm, height_mm = scale * posed.rotor.hat_mm / 2, scale * posed.rotor.hat_z_mm
    there = [flank for flank in _flanks(posed) if _stands_out(posed, flank)]
    return [_hat(posed, flank, flank.top(radius_mm, height_mm), _phase_mm(rng, step_mm)) for flank in there]


def _flanks(posed: Posed) -> list[Flank]:
    low, high = posed.heights_mm
    return [Flank(posed.ring.along, high, 1.0), Flank(posed.ring.along, low, -1.0)]


def _stands_out(posed: Posed, flank: Flank) -> bool:
    """Whether the hat stands on this side of the ring."""
    foot, end = flank.on_plane(posed.pixels(np.array([[0.0, 0.0, 0.0], [0.0, 0.0, posed.rotor.hat_z_mm]])))[1]
    return bool(end > foot)


def _hat(posed: Posed, flank: Flank, course: Course, phase_mm: float) -> Drawn:
    course = replace(course, foot_px=course.foot_px + phase_mm * course.out_px)
    offset_mm = _over_mm(posed, flank, course) if _stands_out(posed, flank) else NOWHERE
    return "over" if flank.side > 0 else "under", course, offset_mm


def _over_mm(posed: Posed, flank: Flank, course: Course) -> FloatArray:
    """Return how far outward of a course's columns (COLUMNS,) the hat's outline shows, NaN where it doesn't."""
    across, over = flank.on_plane(course.column_px)
    arcs = []
    for round_px in posed.top_px():
        beside, high = flank.on_plane(round_px)
        first, last = sorted((int(beside.argmin()), int(beside.argmax())))
        inner = np.arange(first, last + 1)
        for half in (inner, np.setdiff1d(np.arange(POINTS), inner[1:-1])):
            order = half[np.argsort(beside[half])]
            arcs.append(np.interp(across, beside[order], high[order], left=-np.inf, right=-np.inf))
    outline = np.max(arcs, axis=0)
    there = np.isfinite(outline)
    points = flank.points(across, np.where(there, outline, 0.0))
    return np.where(there & ~posed.hidden(flank.along.pixels(points)), outline - over, np.nan)


READ: Mapping[str, Callable[[Posed, float, np.random.Generator], list[Drawn]]] = {
    "face_side": _face_sides,
    "face_end": _face_ends,
    "rim_end": _rim_ends,
    "hat_side": _hat_sides,
    "hat_top": _hat_tops,
}


if __name__ == "__main__":
    main()
