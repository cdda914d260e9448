"""Read the strips that `fit_near` trains on: ``python -m tests.fitting.near_strips KIND FITTING STRIPS``.

KIND is rim, inner, card or coin; FITTING a folder of sample photos with its ``truth.json``; STRIPS one for what is
read: a wide strip along every true outline, which training bends.
"""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import cv2
import numpy as np

from tests.fitting.cut_examples import FOLDS
from tests.fitting.hub_labels import hat_outline_px, inner_edge_mm
from tests.fitting.kinds import BLOCK, NEAR_STEPS_MM, NEAR_WIDE_ROWS
from tests.fitting.outline_strips import finely, offsets_px, read_all
from tests.fitting.renders import references_px
from tests.vision.posed import PosedFace, face_of_truth
from vision import read_photo
from vision.band import BoolArray
from vision.circle_pose import circle
from vision.measurement import FloatArray
from vision.near import straight_columns
from vision.near_look import POINTS, Course, round_sides
from vision.outline_look import COLUMNS, FINER
from vision.references.parse import parse_kind

QUALITY = 92
# Coarser photos tell nothing of fractions of a millimetre.
LEAST_PX_PER_MM = 0.6
# Coins with straight sides.
ANGULAR = ("gbp-1",)


@dataclass(frozen=True)
class Outline:
    """A true outline.

    Attributes
    ----------
    course : Course
    points_px : (N, 2) ndarray
        In order round it.
    runs : (COLUMNS,) ndarray of bool
        Where it is what its course says, cards' corners are rounded, and nothing known stands before it.
    """

    course: Course
    points_px: FloatArray
    runs: BoolArray


def main() -> None:
    """Read all strips."""
    read_all(str(__doc__), sorted(NEAR_STEPS_MM), _shows, read_strip)


def _shows(row: Mapping[str, Any], kind: str) -> bool:
    if row["group"] == "edge" or not row["rotor"] or not row["rim_px"]:
        return False
    return kind in ("rim", "inner") or (row["reference"]["kind"].split(":")[0] == kind and bool(row["reference_px"]))


def read_strip(
    numbered: tuple[int, Mapping[str, Any]], kind: str, folder: Path, out: Path
) -> list[tuple[str, FloatArray]]:
    """Read one photo's strip; the fold that its number falls in begins its name.

    Returns
    -------
    list of (str, (2, COLUMNS) ndarray)
        Its name; how many rows from the middle the outline runs, NaN where it doesn't show, and the course's relief.
    """
    number, row = numbered
    cv2.setNumThreads(1)
    try:
        face = face_of_truth(row)
    except ValueError:
        return []
    photo, step_mm, outline = read_photo(folder / row["file"]), NEAR_STEPS_MM[kind], true_outline(row, face, kind)
    # Were the outline always in the same place of the picture's 8 by 8 blocks, its compression would tell of it.
    phase_mm = step_mm * float(np.random.default_rng([0x4E, number]).uniform(-BLOCK / 2, BLOCK / 2))
    course = replace(outline.course, foot_px=outline.course.foot_px + phase_mm * outline.course.out_px)
    unit = course.px_per_mm
    if np.median(unit) < LEAST_PX_PER_MM:
        return []
    name = f"{number % FOLDS}_{row['id']}"
    levels = course.strip(photo.bgr, step_mm, NEAR_WIDE_ROWS)
    cv2.imwrite(str(out / f"{name}.jpg"), levels, [cv2.IMWRITE_JPEG_QUALITY, QUALITY])
    every = POINTS // (COLUMNS * FINER)
    curve = (course.foot_px[::every], (course.out_px / unit[:, None])[::every])
    on_bench = row["reference"]["lies"] == "bench" and kind in ("card", "coin")
    hidden_px = np.array(row["rim_px"], float) if on_bench else np.empty((0, 2))
    most_px = NEAR_WIDE_ROWS * step_mm * float(unit.max())
    offset_px = offsets_px(curve, outline.points_px, (photo.width, photo.height), hidden_px, most_px)
    offset = np.where(outline.runs, offset_px / (course.column_px_per_mm * step_mm), np.nan)
    return [(name, np.stack([offset, course.relief]).astype(np.float32))]


def true_outline(row: Mapping[str, Any], face: PosedFace, kind: str) -> Outline:
    """Return the true outline of a rotor, its ring's inner edge, a card or a coin."""
    everywhere = np.ones(COLUMNS, bool)
    if kind == "inner":
        return _inner_edge(row, face)
    if kind == "rim":
        course = Course.of(face, *(circle(face.rim_radius_mm + more, POINTS) for more in (0.0, 1.0)))
        return Outline(course, finely(np.array(row["rim_px"], float)), everywhere)
    points_px, height_mm = np.array(row["reference_px"], float).reshape(-1, 2), _height_mm(row)
    flat = face.to_plane(points_px, height_mm)
    if kind == "card":
        foot, out = (np.column_stack([part, np.full(POINTS, height_mm)]) for part in round_sides(flat))
        return Outline(Course.of(face, foot, out), points_px, straight_columns(flat))
    middle = flat.mean(axis=0)
    radius_mm = float(np.hypot(*(flat - middle).T).mean())
    rounds = [circle(radius_mm + more, POINTS, height_mm) + np.append(middle, 0.0) for more in (0.0, 1.0)]
    angular = row["reference"]["detail"] in ANGULAR
    return Outline(Course.of(face, *rounds), points_px if angular else finely(points_px), everywhere)


def _inner_edge(row: Mapping[str, Any], face: PosedFace) -> Outline:
    """Return the inner edge of a rotor's ring, where neither its hat nor what lies on the face stands before it."""
    radius_mm, below_mm = row["rotor"]["ring_inner_mm"] / 2, inner_edge_mm(row)
    course = Course.of(face, *(circle(radius_mm + more, POINTS, below_mm) for more in (0.0, 1.0)))
    before = [hat_outline_px(row, face)]
    if row["reference"]["lies"] == "face":
        before += references_px(row)
    hidden = [cv2.convexHull(outline.astype(np.float32)) for outline in before if len(outline)]
    runs = [
        all(cv2.pointPolygonTest(hull, (float(x), float(y)), False) < 0 for hull in hidden) for x, y in course.column_px
    ]
    return Outline(course, course.foot_px, np.array(runs))


def _height_mm(row: Mapping[str, Any]) -> float:
    """Return how high over the rotor's face a reference's upper side lies."""
    rotor, kind = row["rotor"], row["reference"]["kind"]
    named = parse_kind(f"coin:{row['reference']['detail']}" if kind == "coin" else kind)
    below_mm = rotor["height_mm" if row["hat"] == "down" else "thickness_mm"]
    base_mm = {"face": 0.0, "hat": rotor["height_mm"] - rotor["thickness_mm"], "bench": -below_mm}
    return float(base_mm[row["reference"]["lies"]] + named.thickness_mm)


if __name__ == "__main__":
    main()
