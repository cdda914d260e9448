"""Read the strips that `fit_near` trains hats' nets on: ``python -m tests.fitting.hat_strips KIND FITTING STRIPS``.

KIND is hat_side or hat_top; FITTING a folder of sample photos with its ``truth.json``; STRIPS one for what is read.
"""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import cv2
import numpy as np

from sample_images_synthetic.studio.draw import draw_scene
from sample_images_synthetic.studio.rotor import Rotor
from tests.fitting.cut_examples import FOLDS
from tests.fitting.edge_examples import ring_of
from tests.fitting.kinds import BLOCK, HAT_KINDS, NEAR_STEPS_MM, NEAR_WIDE_ROWS
from tests.fitting.near_strips import QUALITY
from tests.fitting.outline_strips import read_all
from tests.fitting.renders import references_px
from vision import read_photo
from vision.circle_pose import circle
from vision.edge_fine import Ring
from vision.edge_hat import Flank
from vision.edge_level import quarter_turned
from vision.edge_view import rims_of
from vision.measurement import FloatArray
from vision.outline_look import COLUMNS

POINTS, FILLET_STEPS = 720, 9


@dataclass(frozen=True)
class Posed:
    """A rotor's true pose before its camera."""

    row: Mapping[str, Any]
    rotor: Rotor

    def pixels(self, points_mm: FloatArray) -> FloatArray:
        """Project points (N, 3) of the rotor, its rim at z = 0."""
        camera = self.row["camera"]
        focal, (x, y) = camera["focal_px"], camera["principal_px"]
        lens, bend = np.array([[focal, 0, x], [0, focal, y], [0, 0, 1.0]]), np.array([camera["k1"], 0, 0, 0.0])
        rim_px = np.array(self.row["rim_px"])
        _, spin, shift = cv2.solvePnP(circle(self.rotor.diameter_mm / 2, len(rim_px)), rim_px, lens, bend)
        return np.asarray(cv2.projectPoints(points_mm, spin, shift, lens, bend)[0][:, 0])

    def top_px(self) -> list[FloatArray]:
        """Circles round the hat's rounded upper corner, each (POINTS, 2)."""
        rotor = self.rotor
        turn = np.linspace(0.0, np.pi / 2, FILLET_STEPS)
        radii = rotor.hat_mm / 2 - rotor.hat_fillet_mm * (1 - np.cos(turn))
        heights = rotor.hat_z_mm - rotor.hat_fillet_mm * (1 - np.sin(turn)) - rotor.rim_z_mm
        rounds = zip(radii, heights, strict=True)
        return [self.pixels(circle(float(radius), POINTS, float(height))) for radius, height in rounds]


def main() -> None:
    """Read all strips."""
    read_all(str(__doc__), HAT_KINDS, lambda row, _: row["group"] == "edge" and bool(row["rim_px"]), read_strips)


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
    bgr = quarter_turned(photo.bgr) if ring is not None and ring.level.turned else photo.bgr
    rims = [] if ring is None else rims_of(ring, bgr)
    if ring is None or rotor is None or not rims:
        return []
    edges = ((rims[0].top.height_mm, 1.0), (rims[0].bottom.height_mm, -1.0))
    told = []
    for flank in (Flank(ring.along, *edge) for edge in edges):
        name = f"{number % FOLDS}_{row['id']}_{'over' if flank.side > 0 else 'under'}"
        told += _strip(name, bgr, ring, flank, Posed(row, rotor), kind, out)
    return told


def _strip(
    name: str, bgr: Any, ring: Ring, flank: Flank, posed: Posed, kind: str, out: Path
) -> list[tuple[str, FloatArray]]:
    """Read the strip along a flank, or along a hat's end; of the side without one only the first."""
    step_mm, there = NEAR_STEPS_MM[kind], _stands_out(ring, flank, posed)
    radius_mm, height_mm = _size_mm(flank, posed)
    if kind == "hat_top" and not there:
        return []
    course = flank.whole() if kind == "hat_side" else flank.top(radius_mm, height_mm)
    phase_mm = step_mm * float(np.random.default_rng([0x48, len(name), *name.encode()]).uniform(-BLOCK / 2, BLOCK / 2))
    course = replace(course, foot_px=course.foot_px + phase_mm * course.out_px)
    levels = course.strip(bgr, step_mm, NEAR_WIDE_ROWS)
    cv2.imwrite(str(out / f"{name}.jpg"), levels, [cv2.IMWRITE_JPEG_QUALITY, QUALITY])
    offset = _offsets_mm(course.column_px, ring, flank, posed) / step_mm if there else np.full(COLUMNS, np.nan)
    return [(name, np.stack([offset, course.relief]).astype(np.float32))]


def _stands_out(ring: Ring, flank: Flank, posed: Posed) -> bool:
    """Whether the hat stands on this side of the ring."""
    axis = np.array([[0.0, 0.0, 0.0], [0.0, 0.0, posed.rotor.hat_z_mm]])
    foot, end = flank.on_plane(_level(ring, posed.pixels(axis)))[1]
    return bool(end > foot)


def _size_mm(flank: Flank, posed: Posed) -> tuple[float, float]:
    """Return the hat's radius and its height over the face, in the ring's millimetres."""
    scale = float(flank.along.radius_mm) / (posed.rotor.diameter_mm / 2)
    return scale * posed.rotor.hat_mm / 2, scale * posed.rotor.hat_z_mm


def _offsets_mm(columns_px: FloatArray, ring: Ring, flank: Flank, posed: Posed) -> FloatArray:
    """Return how far outward of columns' middles (COLUMNS, 2) the hat's outline shows, NaN where it doesn't."""
    across, over = flank.on_plane(columns_px)
    arcs = []
    for round_px in posed.top_px():
        beside, high = flank.on_plane(_level(ring, round_px))
        first, last = sorted((int(beside.argmin()), int(beside.argmax())))
        inner = np.arange(first, last + 1)
        for half in (inner, np.setdiff1d(np.arange(POINTS), inner[1:-1])):
            order = half[np.argsort(beside[half])]
            arcs.append(np.interp(across, beside[order], high[order], left=-np.inf, right=-np.inf))
    outline = np.max(arcs, axis=0)
    shown = np.isfinite(outline) & ~_hidden(across, np.where(np.isfinite(outline), outline, 0.0), ring, flank, posed)
    return np.where(shown, outline - over, np.nan)


def _hidden(across: FloatArray, outline: FloatArray, ring: Ring, flank: Flank, posed: Posed) -> Any:
    """Whether what stands before the ring, or the photo's border, hides points of the outline."""
    points = across[:, None] * np.array([0.0, 1.0, 0.0]) + (flank.face_mm + flank.side * outline)[:, None] * np.array(
        [0.0, 0.0, 1.0]
    )
    xy_px = flank.along.pixels(points)
    width, height = ring.level.size_px
    beyond = ((xy_px < 1) | (xy_px > np.array([width - 2, height - 2]))).any(axis=1)
    for card in references_px(posed.row):
        hull = cv2.convexHull(_level(ring, card).astype(np.float32))
        beyond |= np.array([cv2.pointPolygonTest(hull, (float(x), float(y)), False) >= 0 for x, y in xy_px])
    return beyond


def _level(ring: Ring, xy_px: FloatArray) -> FloatArray:
    return np.asarray(xy_px @ ring.level.from_photo[:, :2].T + ring.level.from_photo[:, 2])


if __name__ == "__main__":
    main()
