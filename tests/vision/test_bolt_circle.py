"""The rotor's own bolt circle as the reference: rendered photos of the ``checking`` set, against their exact truth."""

import json
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from vision.face import measure_face
from vision.photo import read_photo
from vision.request import Request

CHECKING = Path(__file__).parents[2] / "sample_images_synthetic" / "checking"
ROWS = {row["id"]: row for row in json.loads((CHECKING / "truth.json").read_text("utf-8"))}
# Bolt holes in full sight, the camera tilted by eight degrees or more: the tilt that the rim leaves open is told by
# the holes alone. Three of the five are copies of unknown lens.
PLAIN = ("c013", "c026", "c047", "c102", "c136")
# Far from the project's target of 1 %, which is scored over the whole set: here the tilt must not be the other one,
# which puts the hat 20 to 60 mm on the wrong side, and the diameter 8 % off or more.
SHARE, STANDARD_DEVIATIONS = 0.04, 3.0


@pytest.mark.parametrize("photo", PLAIN)
def test_the_diameter_follows_from_the_bolt_circle(photo: str) -> None:
    row: dict[str, Any] = ROWS[photo]
    kind = f"bolt-circle:{row['reference']['detail']}"
    measured = measure_face(read_photo(CHECKING / row["file"]), Request(kind, "hat"))
    assert not measured.reasons
    diameter = measured.dimensions["diameter_mm"]
    true_mm = row["rotor"]["diameter_mm"]
    assert diameter.n == pytest.approx(true_mm, rel=SHARE)
    assert abs(diameter.n - true_mm) < STANDARD_DEVIATIONS * diameter.s
    assert measured.bolt_count is not None
    assert measured.bolt_count[0] == row["rotor"]["bolt_count"]


def test_a_bolt_circle_seen_square_on_says_little_of_its_height() -> None:
    widths = {}
    for photo in ("c047", "c068"):
        row = ROWS[photo]
        kind = f"bolt-circle:{row['reference']['detail']}"
        diameter = measure_face(read_photo(CHECKING / row["file"]), Request(kind, "hat")).dimensions["diameter_mm"]
        widths[row["camera"]["tilt_deg"]] = diameter.s / diameter.n
    tilts = np.array(sorted(widths))
    assert tilts[0] < 5 < tilts[1]
    assert widths[tilts[0]] > widths[tilts[1]]
