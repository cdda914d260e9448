"""Sharp or not: on rendered photos whose truth tells of it, made softer here, and under a bright window."""

import json
from pathlib import Path

import cv2
import numpy as np
import pytest

from vision import read_photo
from vision.focus import HOPELESS, SHARPEST, SOFT, sharpness

CHECKING = Path(__file__).parents[2] / "sample_images_synthetic" / "checking"
ROWS = json.loads((CHECKING / "truth.json").read_text(encoding="utf-8"))
BLURRED = [row["file"] for row in ROWS if "blurred" in (row["expect_codes"] or [])]
MEASURED = [row["file"] for row in ROWS if row["expect"] == "measured"]


def test_photos_spoilt_by_shake_or_focus_are_told_from_all_that_can_be_measured() -> None:
    spoilt = [sharpness(read_photo(CHECKING / file).grey) for file in BLURRED]
    sharp = [sharpness(read_photo(CHECKING / file).grey) for file in MEASURED[::3]]
    assert len(spoilt) >= 3
    assert max(spoilt) < SOFT
    assert min(sharp) > HOPELESS


@pytest.mark.parametrize("file", MEASURED[::30])
def test_what_is_made_softer_is_said_to_be_softer(file: str) -> None:
    grey = read_photo(CHECKING / file).grey
    size_px = max(grey.shape)
    softer = [sharpness(cv2.GaussianBlur(grey, (0, 0), size_px / share)) for share in (800, 300, 100)]
    assert sharpness(grey) > softer[0] > softer[1] > softer[2]
    assert softer[2] < HOPELESS


def test_a_bright_window_out_of_focus_makes_no_edge_of_a_dark_photo_soft() -> None:
    grey = (0.3 * read_photo(CHECKING / MEASURED[0]).grey).astype(np.uint8)
    rows, columns = grey.shape
    window = np.zeros_like(grey)
    window[: rows // 3, : columns // 2] = 255
    lit = np.maximum(grey, cv2.GaussianBlur(window, (0, 0), columns / 60))
    assert sharpness(lit) > SOFT


@pytest.mark.parametrize("size", [(1, 1), (30, 2000), (600, 800)])
def test_where_nothing_is_to_be_seen_nothing_is_blurred(size: tuple[int, int]) -> None:
    assert sharpness(np.full(size, 128, np.uint8)) == SHARPEST
