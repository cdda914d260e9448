"""Fit the table of `vision.rim_edge`: ``python -m tests.fitting.fit_rim_edge FITTING``.

FITTING is a folder of sample photos with its ``truth.json``. Prints how far off the edge is told, with each tenth of
the photos left out in turn.
"""

import argparse
import json
from collections.abc import Iterator
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import Any

import cv2
import numpy as np

import vision
from tests.fitting.judges import Examples, fit_judge, print_errors
from vision import Request, read_photo
from vision.assemble import first_scene
from vision.measurement import FloatArray
from vision.placing import Placed
from vision.references.parse import TAG
from vision.references.tag import find_tags
from vision.rim_edge import TABLE, follow
from vision.rotor import find_rotor

WIDTH, SLACK_MM = 0.3, 0.05
# Farther off, the wrong circle was followed, and nothing can be learned of this one's edges.
MOST_MM = 2.5


@dataclass(frozen=True)
class Example:
    """One part of a rim that was followed, and how far outward of the silhouette it lay, mm."""

    part: str
    features: FloatArray
    gap_mm: float


def examples(folder: Path, jobs: int) -> list[Example]:
    """Follow the rims of a set's faces; scales are those of the truth."""
    rows = json.loads((folder / "truth.json").read_text(encoding="utf-8"))
    faces = [row for row in rows if row["group"] in ("face-on", "on-car") and row["expect"] == "measured"]
    with ProcessPoolExecutor(jobs) as pool:
        return [one for part in pool.map(partial(followed, folder), faces, chunksize=8) for one in part]


def followed(folder: Path, row: dict[str, Any]) -> list[Example]:
    """Follow one face's rim in a scene of the truth's scale."""
    return list(_followed(folder, row))


def _followed(folder: Path, row: dict[str, Any]) -> Iterator[Example]:
    cv2.setNumThreads(1)
    photo = read_photo(folder / row["file"])
    tags = find_tags(photo.grey, TAG) if row["reference"]["kind"] == "tag" else []
    rims = find_rotor(photo.bgr, photo.grey, tags)
    if not rims:
        return
    placed = [Placed(tag, f"ref{number}", "face") for number, tag in enumerate(tags)]
    scene, _, sights = first_scene(photo, Request(), rims[0], placed)
    true = scene.to_plane(np.array(row["rim_px"], float), -scene.values["chamfer"])
    turn, radius = np.arctan2(true[:, 1], true[:, 0]), np.linalg.norm(true, axis=1)
    unit_mm = float(radius.mean()) / (row["rotor"]["diameter_mm"] / 2)
    for part, side in (("bright_rim", 1), ("dark_rim", -1)):
        seen = follow(photo.bgr, scene, sights.rim.chosen(sights.rim.bright_inside == side), unit_mm)
        if seen is not None:
            outward = np.interp(seen.angle_rad, *_sorted(turn, radius), period=2 * np.pi) - scene.rim_radius_mm
            yield Example(part, seen.features, float(np.median(seen.line_mm - outward / unit_mm)))


def _sorted(turn: FloatArray, radius: FloatArray) -> tuple[FloatArray, FloatArray]:
    order = np.argsort(turn)
    return turn[order], radius[order]


def main() -> None:
    """Fit, write the table beside `vision.rim_edge`, and print the errors of photos left out."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("fitting", type=Path)
    parser.add_argument("--jobs", type=int, default=2)
    args = parser.parse_args()
    every = [example for example in examples(args.fitting, args.jobs) if abs(example.gap_mm) < MOST_MM]
    plain: dict[str, Any] = {}
    for part in ("bright_rim", "dark_rim"):
        own = [example for example in every if example.part == part]
        features, gap_mm = np.array([each.features for each in own]), np.array([each.gap_mm for each in own])
        rims = Examples(features, gap_mm, WIDTH, SLACK_MM)
        plain[part] = fit_judge(rims)
        print_errors(part, rims)
    plain["provenance"] = f"tests/fitting/fit_rim_edge.py: {len(every)} parts of rims of the fitting set"
    Path(vision.__file__).with_name(TABLE).write_text(json.dumps(plain) + "\n", encoding="utf-8")


if __name__ == "__main__":
    main()
