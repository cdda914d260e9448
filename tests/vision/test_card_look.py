import json
from importlib import resources
from pathlib import Path
from typing import Any

import cv2
import numpy as np
import pytest

from vision import read_photo
from vision.measurement import FloatArray
from vision.references.card_look import HEIGHT_MM, TABLE, WIDTH_MM, laid_flat, likeness
from vision.references.search import corners_mm
from vision.references.parse import CARD

CHECKING = Path(__file__).parents[2] / "sample_images_synthetic" / "checking"
ROWS = json.loads((CHECKING / "truth.json").read_text(encoding="utf-8"))
CARDS = [row for row in ROWS if row["reference"]["kind"] == "card" and row["expect"] == "measured"]
CARDS = [row for row in CARDS if row["group"] == "face-on"][::2]
CLEAR_EDGES = 0.7


def on_card(row: dict[str, Any], aside_mm: float = 0.0) -> FloatArray:
    """From a frame that lies aside of the card's to pixels, by the photo's truth."""
    seen = np.array(row["reference_px"], np.float32).reshape(4, 2)
    long = np.linalg.norm(seen[1] - seen[0]) > np.linalg.norm(seen[2] - seen[1])
    frame = np.roll(corners_mm(*CARD.size_mm)[::-1], 1 if long else 0, axis=0)
    away = np.array([[1.0, 0.0, aside_mm], [0.0, 1.0, 0.0], [0.0, 0.0, 1.0]])
    return np.asarray(cv2.getPerspectiveTransform(frame.astype(np.float32), seen) @ away, np.float64)


@pytest.mark.parametrize("scale", [1.7, 4.0, 9.5])
def test_a_guess_is_laid_flat_a_millimetre_to_a_pixel(scale: float) -> None:
    bgr = np.full((1200, 1600, 3), 40, np.uint8)
    middle = np.array([800.0, 600.0])
    homography = np.array([[scale, 0, middle[0]], [0, -scale, middle[1]], [0, 0, 1.0]])
    half = np.array(CARD.size_mm) / 2 * scale
    left, top, right, bottom = np.round([*(middle - half), *(middle + half)]).astype(int)
    bgr[top:bottom, left:right] = 200
    flat = laid_flat(bgr, homography)
    assert flat.shape == (HEIGHT_MM, WIDTH_MM, 3)
    white = (flat[..., 0] > 120).nonzero()
    assert (np.ptp(white[1]) + 1, np.ptp(white[0]) + 1) == pytest.approx(CARD.size_mm, abs=1.2)
    assert np.mean(white[1]) == pytest.approx(WIDTH_MM / 2 - 0.5, abs=0.6)


@pytest.mark.parametrize("row", CARDS, ids=lambda row: str(row["id"]))
def test_a_card_looks_like_one_where_it_lies_and_not_half_a_card_aside(row: dict[str, Any]) -> None:
    bgr = read_photo(CHECKING / row["file"]).bgr
    assert likeness(bgr, on_card(row), CLEAR_EDGES) > likeness(bgr, on_card(row, 43.0), CLEAR_EDGES)
    assert likeness(bgr, on_card(row), CLEAR_EDGES) > 0.5
    assert likeness(bgr, on_card(row, 43.0), CLEAR_EDGES) < 0.5


def test_the_table_says_where_its_numbers_come_from() -> None:
    table = json.loads(resources.files("vision.references").joinpath(TABLE).read_text(encoding="utf-8"))
    assert "fit_card_look" in table["provenance"]
