"""Points that a person moved enter the same fit."""

import json
from pathlib import Path

import numpy as np
import pytest

from vision import Request, measure_face, read_photo

FOLDER = Path(__file__).parents[2] / "sample_images_synthetic" / "first"
SCENE = json.loads((FOLDER / "truth.json").read_text())[0]


@pytest.mark.parametrize("outward_px", [0.0, 12.0])
def test_the_fit_follows_the_marks(outward_px: float) -> None:
    marks = np.array(SCENE["rim_px"])[::6]
    middle = marks.mean(axis=0)
    reach = np.linalg.norm(marks - middle, axis=1).mean()
    moved = middle + (marks - middle) * (1 + outward_px / reach)
    answer = measure_face(read_photo(FOLDER / SCENE["file"]), Request("tag", "face", rim_xy_px=moved))
    expected_mm = SCENE["rotor"]["diameter_mm"] * (1 + outward_px / reach)
    assert answer.dimensions["diameter_mm"].nominal_value == pytest.approx(expected_mm, rel=0.004)
