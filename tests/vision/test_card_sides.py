"""Where a thick card's edges are seen: rendered cards of the ``checking`` set in the poses that their truth gives."""

import json
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from tests.vision.posed import face_of_truth
from vision.measurement import FloatArray
from vision.photo import read_photo
from vision.references.card import find_cards
from vision.references.floor import Floor
from vision.references.parse import CARD

CHECKING = Path(__file__).parents[2] / "sample_images_synthetic" / "checking"
ROWS = json.loads((CHECKING / "truth.json").read_text("utf-8"))
# What bloom leaves, photo by photo, on one card's four sides alike: the usual bloom is taken off with the rest.
BLOOM_SPREAD_PX = 0.2
# Farther off a side is another line of the picture: a stripe of the print, the shadow's end.
OTHER_LINE_PX = 5.0


def wanted(row: dict[str, Any]) -> bool:
    """Whether a card lies on the face in a photo that ought to be measured."""
    kind, lies = row["reference"]["kind"], row["reference"]["lies"]
    return kind == "card" and lies == "face" and row["expect"] == "measured" and not row["told"]


def sides_of(row: dict[str, Any]) -> list[tuple[float, float]]:
    """Offset outward, and the deviation that is stated, px, of each side of the card found."""
    face = face_of_truth(row)
    floor = Floor.under(face.camera, face.pose, face.rim_radius_mm)
    found = find_cards(read_photo(CHECKING / row["file"]).bgr, [floor], CARD, inside=True)
    if not found:
        return []
    samples, corners = found[0].samples, np.array(row["reference_px"])
    sides = []
    for number in np.unique(samples.side):
        own = samples.side == number
        offset = _offset_px(samples.xy_px[own], corners)
        std_px = float(samples.std_px[own].mean() / np.sqrt(own.sum()))
        sides.append((offset, std_px))
    return [side for side in sides if abs(side[0]) < OTHER_LINE_PX]


def _offset_px(xy_px: FloatArray, corners_px: FloatArray) -> float:
    """Distance of points, in the median, outward of the side that they are nearest to."""
    ends = np.roll(corners_px, -1, axis=0)
    normal = np.stack([ends[:, 1] - corners_px[:, 1], corners_px[:, 0] - ends[:, 0]], axis=1)
    normal /= np.linalg.norm(normal, axis=1)[:, None]
    normal *= np.sign(((corners_px - corners_px.mean(axis=0)) * normal).sum(axis=1))[:, None]
    away = np.median(((xy_px[:, None] - corners_px[None]) * normal).sum(axis=2), axis=0)
    return float(away[np.abs(away).argmin()])


@pytest.fixture(scope="module")
def sides() -> FloatArray:
    return np.array([side for row in ROWS if wanted(row) for side in sides_of(row)])


def test_sides_are_moved_to_the_upper_edge(sides: FloatArray) -> None:
    assert abs(np.median(sides[:, 0])) < BLOOM_SPREAD_PX


def test_the_doubt_stated_of_a_side_covers_what_it_is_off(sides: FloatArray) -> None:
    pulls = np.abs(sides[:, 0]) / np.hypot(sides[:, 1], BLOOM_SPREAD_PX)
    assert len(pulls) > 40
    # Of a normal one half lie within 0.67 deviations and 95 in 100 within 2; the tail is left to the robust weights.
    assert np.median(pulls) < 1.0
    assert (pulls < 2.0).mean() > 0.8
