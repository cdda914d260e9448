"""Corners of a reference that a person moved enter the same fit."""

import json
from pathlib import Path

import numpy as np
import pytest

from vision import Request, measure_face, read_photo

FOLDER = Path(__file__).parents[2] / "sample_images_synthetic" / "first"
SCENES = json.loads((FOLDER / "truth.json").read_text())
CARD = next(s for s in SCENES if s["reference"]["kind"] == "card" and s["reference"]["lies"] == "face")


@pytest.mark.parametrize("larger", [1.0, 1.1])
def test_the_scale_follows_the_marked_corners(larger: float) -> None:
    """A card marked a tenth too large makes everything a tenth smaller; marks good to a pixel, so within 2 %."""
    corners = np.array(CARD["reference_px"])
    middle = corners.mean(axis=0)
    moved = middle + (corners - middle) * larger
    answer = measure_face(read_photo(FOLDER / CARD["file"]), Request("card", "face", reference_xy_px=moved))
    expected_mm = CARD["rotor"]["diameter_mm"] / larger
    assert answer.dimensions["diameter_mm"].nominal_value == pytest.approx(expected_mm, rel=0.02)
