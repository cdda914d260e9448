"""A scale that the rotor's own bolts speak against: photos of ``checking`` whose truth says what is wrong."""

import json
from pathlib import Path
from typing import Any

import pytest

from tests.fitting.renders import request_of
from vision import measure_face, read_photo

CHECKING = Path(__file__).parents[2] / "sample_images_synthetic" / "checking"
ROWS: dict[str, Any] = {row["id"]: row for row in json.loads((CHECKING / "truth.json").read_text("utf-8"))}


def codes(name: str) -> list[str]:
    row = ROWS[name]
    return [reason.code for reason in measure_face(read_photo(CHECKING / row["file"]), request_of(row)).reasons]


def test_bolts_on_a_circle_that_no_car_has_refuse_a_wheel_s_rim() -> None:
    assert codes("c117") == ["disagreement"]


@pytest.mark.parametrize("name", ["c046", "c101", "c122"])
def test_what_is_no_car_s_rotor_is_told_so(name: str) -> None:
    assert codes(name) == ["no-rotor"]
