"""Fit the table of `vision.references.card_sides`: ``python -m tests.fitting.fit_card_sides FITTING``.

FITTING is a folder of sample photos with its ``truth.json``. Prints how far off a side is told, with each tenth of the
sides left out in turn.
"""

import argparse
import json
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any
from unittest.mock import patch

import numpy as np

import vision.references
from tests.fitting.judges import Examples, fit_judge, print_errors
from vision import read_photo
from vision.ellipse import Ellipse
from vision.figure import EdgeSamples
from vision.measurement import FloatArray
from vision.references import lying
from vision.references.card import find_cards
from vision.references.card_sides import TABLE, Side, followed_sides
from vision.references.floor import Floor
from vision.references.parse import CARD
from vision.references.search import corners_mm
from vision.references.sides import to_pixels
from vision.start import NOMINAL_RADIUS_MM, lenses, plain_camera, poses_of

WIDTH, SLACK_MM = 0.6, 0.02
# Farther off, another line of the picture was followed, or another thing taken for the card.
MOST_MM, MOST_CORNER_MM = 2.0, 4.0


@dataclass(frozen=True)
class Followed:
    """One side, and how far outward of the card's upper edge it was followed, mm."""

    side: Side
    gap_mm: float


def examples(folder: Path) -> Iterator[Followed]:
    """Follow the sides of the cards of a set's photos, found from the true rim."""
    for row in json.loads((folder / "truth.json").read_text(encoding="utf-8")):
        measured = row["group"] in ("face-on", "on-car") and row["expect"] == "measured"
        if row["reference"]["kind"] == "card" and measured:
            yield from sides_of(row, folder)


def sides_of(row: dict[str, Any], folder: Path) -> list[Followed]:
    """Follow one card's sides; none where it is not found."""
    photo, rim = read_photo(folder / row["file"]), Ellipse.through(np.array(row["rim_px"], float))
    floors = [
        Floor.under(plain_camera(photo, f35_mm), pose, NOMINAL_RADIUS_MM)
        for f35_mm, _ in lenses(photo)
        for pose in poses_of(photo, rim, f35_mm)
    ]
    seen: list[tuple[FloatArray, list[Side]]] = []

    def kept(bgr: Any, floor: Any, fit: Any, samples: EdgeSamples, figure: Any) -> EdgeSamples:
        seen.append((fit.homography, followed_sides(bgr, floor, fit, samples, figure)))
        return samples

    with patch.object(lying, "at_upper_edge", kept):
        find_cards(photo.bgr, floors, CARD, inside=row["reference"]["lies"] != "bench")
    true = np.array(row["reference_px"], float)
    rated = [(*_matched(homography, true), sides) for homography, sides in seen]
    off_px, ordered, sides = min(rated, key=lambda each: each[0], default=(np.inf, true, []))
    near = [side for side in sides if off_px < MOST_CORNER_MM * side.px_per_mm]
    found = [Followed(side, _gap_mm(side, ordered)) for side in near]
    return [each for each in found if abs(each.gap_mm) < MOST_MM]


def _matched(homography: FloatArray, true_px: FloatArray) -> tuple[float, FloatArray]:
    """Return how far the worst corner is off, and the true corners in the order of the card's sides."""
    corners = to_pixels(homography, corners_mm(*CARD.size_mm))
    away = np.linalg.norm(corners[:, None] - true_px[None], axis=2)
    return float(away.min(axis=1).max()), true_px[away.argmin(axis=1)]


def _gap_mm(side: Side, corners_px: FloatArray) -> float:
    number = int(side.samples.side[0])
    start, end = corners_px[number], corners_px[(number + 1) % 4]
    outward = np.array([end[1] - start[1], start[0] - end[0]]) / max(1e-9, float(np.linalg.norm(end - start)))
    outward *= np.sign(outward @ side.normal_px)
    return float(np.median((side.samples.xy_px - start) @ outward)) / side.px_per_mm


def main() -> None:
    """Fit, write the table beside `vision.references.card_sides`, and print the errors of sides left out."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("fitting", type=Path)
    args = parser.parse_args()
    every = list(examples(args.fitting))
    features, gap_mm = np.array([each.side.features for each in every]), np.array([each.gap_mm for each in every])
    sides = Examples(features, gap_mm, WIDTH, SLACK_MM)
    plain = {"side": fit_judge(sides)}
    print_errors("side", sides)
    provenance = {"provenance": f"tests/fitting/fit_card_sides.py: {len(every)} sides of cards of the fitting set"}
    path = Path(vision.references.__file__).with_name(TABLE)
    path.write_text(json.dumps(plain | provenance) + "\n", encoding="utf-8")


if __name__ == "__main__":
    main()
