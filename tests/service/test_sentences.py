"""In inches no millimetre is left on a page, said or unsaid; in millimetres each length says so."""

import re
from typing import Any

import pytest
from markupsafe import Markup
from starlette.testclient import TestClient

from catalogue import load_catalogue
from service.identifying import identify_wire
from service.pages.job import Answer, Job
from service.pages.said import answer_words
from service.pages.sentences import in_unit, with_units

READINGS = {
    "front.diameter_mm": "330.1",
    "front.diameter_mm:tool": "caliper",
    "front.thickness_mm": "21.9; 21.7",
    "front.min_thickness_mark_mm": "22",
    "front.height_mm": "49.6",
    "front.centre_bore_mm": "63.5",
    "front.bolt_circle_mm": "108",
    "front.pad_height_mm": "58",
    "front.circumference_mm": "1037",
    "front.surface": "slotted",
}
COUNTED = {"front.bolt_count": "5", "front.mass_kg": "8.1"}


@pytest.mark.parametrize(
    ("told", "inches"),
    [
        ("330.1 ± 0.3 mm against 330 mm: 0.1 mm off", "12.996 ± 0.012 in against 12.992 in: 0.004 in off"),
        ("a shop caliper ends at 150 to 300 mm", "a shop caliper ends at 5.906 to 11.811 in"),
        ("85.60 x 53.98 mm", "3.370 x 2.125 in"),
        ("from 60 to 90 cm", "from 24 to 35 in"),
        ("24 of 25 OB-R-33024 at 18 in, 45 %", "24 of 25 OB-R-33024 at 18 in, 45 %"),
    ],
)
def test_lengths_of_a_sentence_follow_the_unit(told: str, inches: str) -> None:
    assert in_unit(told, "in") == inches
    assert in_unit(told, "mm") == told


@pytest.mark.parametrize(
    ("evidence", "bare", "named"),
    [
        ("diameter_mm", "330.1 ± 0.3 against 330: 0.1 off, fits", "330.1 ± 0.3 mm against 330 mm: 0.1 mm off, fits"),
        ("thickness_mm", "a 24 worn by 1.1 reads 22.9, limit 22", "a 24 mm worn by 1.1 mm reads 22.9 mm, limit 22 mm"),
        (
            "measurements",
            "hat over diameter 0.502 off photos; this rotor is 330 x 24",
            "hat over diameter 0.502 off photos; this rotor is 330 x 24 mm",
        ),
        ("rotor_mark", "33024 read off the part", "33024 read off the part"),
        ("pistons", "told 4; this caliper has 4", "told 4; this caliper has 4"),
    ],
)
def test_a_reason_says_its_unit_wherever_it_is_quoted(evidence: str, bare: str, named: str) -> None:
    quote = "the records say another thing ({}): find out which."
    document: dict[str, Any] = {
        "candidates": [{"package": "P 330 4", "why": [{"evidence": evidence, "bits": 1.0, "text": bare}]}],
        "conflicts": [{"between": [evidence, "option_codes"], "text": quote.format(bare)}],
    }
    found = with_units(document)
    assert found["candidates"][0]["why"][0]["text"] == named
    assert found["conflicts"][0]["text"] == quote.format(named)
    assert found["candidates"][0]["package"] == "P 330 4"


def test_readings_that_a_message_names_have_their_unit() -> None:
    said = "Read again what the photo says of the front rotor (hat diameter 164.4 ± 4.9, thickness 28.70 ± 0.18)."
    document = {"message": said, "candidates": []}
    assert in_unit(with_units(document)["message"], "in").endswith(
        "(hat diameter 6.472 ± 0.193 in, thickness 1.130 ± 0.007 in)."
    )


def test_no_sentence_of_the_demo_shows_a_key_or_a_length_without_its_unit() -> None:
    demo = load_catalogue(None)
    axle = {place.removeprefix("front."): text for place, text in READINGS.items() if ":" not in place}
    lengths = {key: float(text.split(";")[0]) for key, text in axle.items() if key.endswith("_mm")}
    found = with_units(identify_wire(demo, {"axles": {"front": {**lengths, "condition": "used"}}}))
    told = [why["text"] for row in found["candidates"] for why in row["why"]] + found["cautions"]
    assert len(told) > len(lengths)
    for text in told:
        rest = re.sub(r"\d+(\.\d+)?( (±|x|to) \d+(\.\d+)?)? mm\b", "", text)
        assert not re.search(r"\d|_mm\b", rest), text


def test_a_result_in_inches_shows_no_millimetre(client: TestClient) -> None:
    job = client.post("/car", data={"axle": "front", "parts": "both"}).url.path.removesuffix("/vehicle/line")
    client.post(f"{job}/readings", data=READINGS | COUNTED)
    client.cookies.set("unit", "in")
    page = client.get(f"{job}/result")
    client.cookies.delete("unit")
    text = Markup(
        re.sub(r"<svg.*?</svg>", lambda svg: " ".join(re.findall(">([^<]+)<", svg[0])), page.text, flags=re.S)
    )
    assert "in at its thinnest" in text
    assert "12.996 in" in text
    assert re.findall(r"\d\s?(?:mm|cm)\b", text.striptags()) == []


@pytest.mark.parametrize(
    ("typed", "typed_in", "shown_in", "said"),
    [
        ("23.2", "mm", "mm", "23.2 mm"),
        ("23.2", "mm", "in", "0.913 in"),
        ("0.913", "in", "in", "0.913 in"),
        ("13 in", "mm", "mm", "330.2 mm"),
        ("23.2; 22.9", "mm", "in", "0.913 in; 0.902 in"),
        ("wide", "mm", "in", "wide"),
    ],
)
def test_what_was_typed_is_said_back_in_the_readers_unit(typed: str, typed_in: Any, shown_in: Any, said: str) -> None:
    job = Job().answer("front.thickness_mm", Answer(typed, typed_in))
    assert answer_words("front.thickness_mm", job.answers["front.thickness_mm"], shown_in) == said
