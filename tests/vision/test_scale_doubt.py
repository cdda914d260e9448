"""A scale that the rotor's own bolts speak against: photos of ``checking`` whose truth says what is wrong."""

import json
from pathlib import Path
from typing import Any

from tests.fitting.renders import request_of
from vision import Request, measure_face, read_photo

CHECKING = Path(__file__).parents[2] / "sample_images_synthetic" / "checking"
ROWS: dict[str, Any] = {row["id"]: row for row in json.loads((CHECKING / "truth.json").read_text("utf-8"))}


def codes(name: str) -> list[str]:
    row = ROWS[name]
    return [reason.code for reason in measure_face(read_photo(CHECKING / row["file"]), request_of(row)).reasons]


def test_bolts_on_a_circle_that_no_car_has_refuse_a_wrong_scale() -> None:
    # Its bolts stand on 98 mm; a print said to be 33 mm wide, of 40, would have them on 81.
    photo = read_photo(CHECKING / ROWS["c098"]["file"])
    refused = measure_face(photo, Request("tag:33", "face"))
    assert [reason.code for reason in refused.reasons] == ["disagreement"]
    assert not measure_face(photo, Request("tag:40", "face")).reasons


def test_a_card_tells_that_what_lies_beside_it_is_too_small_for_a_car_s_rotor() -> None:
    # A bicycle's disc, with bolts and slots like a rotor's: it was taken for a rotor without a card.
    assert codes("c067") == ["no-rotor"]
