"""Read the strips that `fit_near` trains on: ``python -m tests.fitting.near_strips KIND FITTING STRIPS``.

KIND is rim, card or coin; FITTING a folder of sample photos with its ``truth.json``; STRIPS one for what is read: a
wide strip along every true outline, which training bends.
"""

import argparse
import json
from collections.abc import Mapping
from concurrent.futures import ProcessPoolExecutor
from dataclasses import replace
from functools import partial
from pathlib import Path
from typing import Any

import cv2
import numpy as np

from tests.fitting.cut_examples import FOLDS
from tests.fitting.kinds import NEAR_STEPS_MM, NEAR_WIDE_ROWS
from tests.fitting.outline_strips import finely, offsets_px
from tests.vision.posed import PosedFace, face_of_truth
from vision import read_photo
from vision.circle_pose import circle
from vision.measurement import FloatArray
from vision.near_look import POINTS, Course
from vision.outline_look import COLUMNS
from vision.references.parse import parse_kind

QUALITY, BLOCK = 92, 8
# Corners of cards are rounded: there no side runs.
ROUNDED_MM = 4.0
LEAST_PX_PER_MM = 0.6


def main() -> None:
    """Read all strips."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("kind", choices=sorted(NEAR_STEPS_MM))
    parser.add_argument("fitting", type=Path)
    parser.add_argument("strips", type=Path)
    parser.add_argument("--jobs", type=int, default=2)
    args = parser.parse_args()
    args.strips.mkdir(parents=True, exist_ok=True)
    rows = json.loads((args.fitting / "truth.json").read_text())
    rows = [row for row in rows if row["group"] != "edge" and row["rotor"] and row["rim_px"]]
    rows = [row for row in rows if args.kind in ("rim", row["reference"]["kind"].split(":")[0]) and row["reference_px"] or args.kind == "rim"]
    with ProcessPoolExecutor(args.jobs) as pool:
        read = partial(read_strip, kind=args.kind, folder=args.fitting, out=args.strips)
        told = dict(pair for pairs in pool.map(read, enumerate(rows), chunksize=8) for pair in pairs)
    np.savez_compressed(args.strips / "told", allow_pickle=False, **told)
    print(len(told), "strips of", len(rows), "photos")


def read_strip(
    numbered: tuple[int, Mapping[str, Any]], kind: str, folder: Path, out: Path
) -> list[tuple[str, FloatArray]]:
    number, row = numbered
    cv2.setNumThreads(1)
    try:
        face = face_of_truth(row)
    except ValueError:
        return []
    photo, step_mm = read_photo(folder / row["file"]), NEAR_STEPS_MM[kind]
    course, outline, ends = true_course(row, face, kind)
    # Were the outline always in the same place of the picture's 8 by 8 blocks, its compression would tell of it.
    phase_mm = step_mm * float(np.random.default_rng([0x4E, number]).uniform(-BLOCK / 2, BLOCK / 2))
    course = replace(course, foot_px=course.foot_px + phase_mm * course.out_px)
    if np.median(course.px_per_mm) < LEAST_PX_PER_MM:
        return []
    name = f"{number % FOLDS}_{row['id']}"
    cv2.imwrite(str(out / f"{name}.jpg"), course.strip(photo.bgr, step_mm, NEAR_WIDE_ROWS), [cv2.IMWRITE_JPEG_QUALITY, QUALITY])
    every = POINTS // (2 * COLUMNS)
    unit = course.px_per_mm
    curve = (course.foot_px[::every], (course.out_px / unit[:, None])[::every])
    hidden = np.array(row["rim_px"], float) if row["reference"]["lies"] == "bench" and kind != "rim" else np.empty((0, 2))
    offset_px = offsets_px(curve, outline, (photo.width, photo.height), hidden, NEAR_WIDE_ROWS * step_mm * float(unit.max()))
    offset = offset_px / (unit[POINTS // COLUMNS // 2 :: POINTS // COLUMNS] * step_mm)
    offset[ends] = np.nan
    return [(name, np.stack([offset, course.relief]).astype(np.float32))]


def true_course(row, face: PosedFace, kind: str):
    """Return the true outline's course, its points in the photo, and the columns where it is rounded."""
    none = np.zeros(COLUMNS, bool)
    if kind == "rim":
        return course_of(face, circle(face.rim_radius_mm, POINTS), circle(face.rim_radius_mm + 1, POINTS)), finely(np.array(row["rim_px"], float)), none
    outline = np.array(row["reference_px"], float).reshape(-1, 2)
    height = height_of(row)
    flat = face.to_plane(outline, height)
    middle = flat.mean(axis=0)
    if kind == "coin":
        radius = float(np.hypot(*(flat - middle).T).mean())
        at = [circle(r, POINTS, height) + np.array([*middle, 0.0]) for r in (radius, radius + 1)]
        return course_of(face, *at), outline if row["reference"]["detail"] == "gbp-1" else finely(outline), none
    from vision.near_look import around

    foot, out = around(flat)
    lift = lambda xy: np.column_stack([xy, np.full(len(xy), height)])
    long = np.linalg.norm(np.roll(flat, -1, axis=0) - flat, axis=1)
    along = (np.arange(COLUMNS // 4) + 0.5) / (COLUMNS // 4)
    ends = np.concatenate([(np.minimum(along, 1 - along) * each) < ROUNDED_MM for each in long])
    return course_of(face, lift(foot), lift(foot + out)), outline, ends


def height_of(row) -> float:
    rotor, lies = row["rotor"], row["reference"]["lies"]
    kind = row["reference"]["kind"]
    named = parse_kind(f"coin:{row['reference']['detail']}" if kind == "coin" else kind)
    base = {"face": 0.0, "hat": rotor["height_mm"] - rotor["thickness_mm"], "bench": -rotor["thickness_mm"] if row["hat"] != "down" else -rotor["height_mm"]}[lies]
    return base + named.thickness_mm


def course_of(face, foot_mm: FloatArray, out_mm: FloatArray) -> Course:
    foot, out, down = (face.to_pixels(points) for points in (foot_mm, out_mm, foot_mm - np.array([0.0, 0.0, 1.0])))
    return Course(foot, out - foot, down - foot)


if __name__ == "__main__":
    main()
