"""Evidence is read as people write it; what cannot be read gets one line that says where and what."""

from typing import Any

import numpy as np
import pytest

from catalogue import EvidenceError, parse_json, read_evidence


def front(**read: Any) -> dict[str, Any]:
    return {"axles": {"front": read}}


def measured(**document: Any) -> dict[str, Any]:
    return front(measurements=[document])


@pytest.mark.parametrize(
    ("written", "mm"),
    [
        (317, 317.0),
        ("13 in", 330.2),
        ("12 63/64 in", 12.984375 * 25.4),
        ("12-63/64 in", 12.984375 * 25.4),
        ('13"', 330.2),
        ("317mm", 317.0),
        ("317,2 mm", 317.2),
        ("31.7 cm", 317.0),
        ("13 inches", 330.2),
        ("7/8 in", 22.225),
    ],
)
def test_lengths_are_read_as_people_write_them(written: Any, mm: float) -> None:
    assert read_evidence(front(diameter_mm=written)).axles["front"].lengths["diameter_mm"].value == pytest.approx(mm)


def test_null_is_the_same_as_absent() -> None:
    with_nulls = {"vehicle": {"line": None}, "vin": None, "axles": {"front": {"diameter_mm": 330, "surface": None}}}
    assert read_evidence(with_nulls) == read_evidence(front(diameter_mm=330))


def test_thickness_may_be_a_list_of_readings() -> None:
    axle = read_evidence(front(thickness_mm=[23.1, {"value": 23.2, "tool": "micrometer"}])).axles["front"]
    assert [reading.value for reading in axle.thickness_mm] == [23.1, 23.2]
    assert axle.thickness_mm[1].tool == "micrometer"


def test_wanted_is_both_parts_of_each_axle_with_evidence() -> None:
    assert read_evidence(front(diameter_mm=330)).wanted == (("front", "rotor"), ("front", "pads"))


def test_a_measurement_may_hold_keys_nobody_knows() -> None:
    document = {
        "photo": "a.jpg",
        "new_key": 1,
        "dimensions": {"diameter_mm": {"value": 330.0, "std": 0.4, "low": 329, "high": 331}, "other_mm": {"value": 1}},
        "covariance": {"keys": ["diameter_mm"], "matrix": [[0.16]]},
        "bolt_count": {"value": 5, "probability": 0.98},
        "warnings": [{"code": "print-unchecked", "message": ""}],
    }
    read = read_evidence(measured(**document)).axles["front"].measurements[0]
    assert read.lengths is not None
    assert read.lengths.keys == ("diameter_mm",)
    np.testing.assert_allclose(read.lengths.covariance, [[0.16]])
    assert read.bolt_count == (5, 0.98)
    assert read.print_unchecked


def test_a_refused_photo_brings_its_ratios() -> None:
    ratios = {"ring_inner_over_diameter": {"value": 0.61, "std": 0.004}}
    read = read_evidence(measured(status="refused", dimensions={}, ratios=ratios)).axles["front"].measurements[0]
    assert read.lengths is None
    assert read.ratios is not None
    assert read.ratios.keys == ("ring_inner_mm",)


LENGTH = {"diameter_mm": {"value": 330.0, "std": 0.4}, "hat_mm": {"value": 160.0, "std": 0.6}}

LENGTH_KEYS = (
    *("diameter_mm", "thickness_mm", "height_mm", "centre_bore_mm", "bolt_circle_mm", "ring_inner_mm", "hat_mm"),
    *("pad_height_mm", "pad_length_mm", "circumference_mm", "min_thickness_mark_mm"),
)
WORD_KEYS = (
    *("surface", "construction", "ventilation", "caliper_mount", "parking_brake"),
    *("condition", "thickness_over", "mark_kind"),
)
TEXT_KEYS = ("rotor_mark", "pad_mark", "pad_shape_number", "caliper_colour")


@pytest.mark.parametrize(
    ("document", "message"),
    [
        ({"colour": "red"}, r"^colour: unknown key; known are axles, option_codes, vehicle, vin, wanted"),
        ({"vehicle": {"lin": "x"}}, r"^vehicle\.lin: unknown key"),
        (front(diamter_mm=330), r"^axles\.front\.diamter_mm: unknown key"),
        ({"axles": {"left": {}}}, r"^axles\.left: unknown key"),
        (front(diameter_mm=-3), r"^axles\.front\.diameter_mm: wanted more than 0 mm, got -3"),
        (front(diameter_mm=0), r"wanted more than 0 mm"),
        (front(diameter_mm=True), r"wanted a number in mm"),
        (front(diameter_mm=float("nan")), r"wanted more than 0 mm"),
        (front(diameter_mm="330"), r"wanted a number with its unit"),
        (front(diameter_mm=10**400), r"wanted less than 1e\+06 mm, got 1000"),
        (front(diameter_mm="9" * 400 + "/1 in"), r"less than 1e\+06"),
        (front(diameter_mm=float("inf")), r"less than 1e\+06"),
        (front(bolt_count=10**400), r"wanted a whole number from 2 to 16"),
        (measured(dimensions={"hat_mm": {"value": 10**400, "std": 1}}), r"hat_mm\.value: wanted a number"),
        (front(diameter_mm="330 ft"), r"wanted one of the units"),
        (front(diameter_mm="12 63/0 in"), r"wanted a fraction"),
        (front(diameter_mm="1,330 mm"), r"comma may mean thousands"),
        (front(diameter_mm={"value": 330, "sdt": 1}), r"^axles\.front\.diameter_mm\.sdt: unknown key"),
        (front(diameter_mm={"value": 330, "std": 0}), r"^axles\.front\.diameter_mm\.std: wanted more than 0 mm"),
        (front(diameter_mm={"std": 1}), r"^axles\.front\.diameter_mm\.value: wanted the number"),
        (front(diameter_mm={"value": 330, "tool": "laser"}), r"wanted one of caliper, micrometer"),
        (front(thickness_mm=[]), r"wanted at least one reading"),
        (front(thickness_mm=[22, -1]), r"^axles\.front\.thickness_mm\[1\]: wanted more than 0"),
        (front(surface="drilld"), r"^axles\.front\.surface: wanted one of plain, slotted"),
        (front(surface={"plain": 0.5, "drilled": 0.2}), r"sum to 1, got a sum of 0\.7"),
        (front(surface={"plain": 1.5, "drilled": -0.5}), r"probability from 0 to 1"),
        (front(surface={"smooth": 1.0}), r"^axles\.front\.surface\.smooth: unknown key"),
        (front(condition="old"), r"wanted one of new, used, unknown"),
        (front(bolt_count=5.5), r"wanted a whole number from 2 to 16"),
        (front(rotor_mark="  "), r"wanted a text"),
        (front(wheel_in="18 mm"), r"wanted one of the units in"),
        (front(mass_kg="8 mm"), r"wanted one of the units kg"),
        ({"vehicle": {"year": "2021"}}, r"^vehicle\.year: wanted a whole number"),
        ({"vehicle": {"built": "2021-13"}}, r"^vehicle\.built: wanted a month as YYYY-MM"),
        ({"option_codes": "B20"}, r"^option_codes: wanted a list"),
        ({"axles": []}, r"^axles: wanted an object"),
        ({"wanted": [{"axle": "front", "part": "hub"}]}, r"^wanted\[0\]\.part: wanted one of rotor, pads"),
        (front(measurements={}), r"measurements: wanted a list"),
        (measured(surface={"plain": 0.2}), r"measurements\[0\]\.surface: wanted probabilities that sum to 1"),
        (measured(dimensions={"diameter_mm": {"value": 330}}), r"dimensions\.diameter_mm: wanted value and std"),
        (measured(dimensions={"diameter_mm": {"value": 330, "std": -1}}), r"wanted value and std over 0"),
        (
            measured(dimensions=LENGTH, covariance={"keys": ["diameter_mm", "hat_mm"], "matrix": [[1, 2], [2, 1]]}),
            r"no negative eigenvalue, got -1",
        ),
        (
            measured(dimensions=LENGTH, covariance={"keys": ["diameter_mm", "hat_mm"], "matrix": [[1, 0.5], [0, 1]]}),
            r"wanted a symmetric matrix",
        ),
        (measured(dimensions=LENGTH, covariance={"keys": ["diameter_mm"], "matrix": [[1, 0]]}), r"wanted 1 rows of 1"),
        (measured(dimensions=LENGTH, covariance={"keys": ["hat_mm"]}), r"covariance\.matrix: wanted a list, got None"),
        (measured(dimensions=LENGTH, covariance={"keys": ["hat_mm"], "matrix": [["1"]]}), r"matrix: wanted a number"),
        (measured(dimensions=[]), r"measurements\[0\]\.dimensions: wanted an object"),
        (measured(dimensions={"hat_mm": 160}), r"dimensions\.hat_mm: wanted an object"),
        (measured(ratios={"hat_over_diameter": {"value": 0.5}}), r"hat_over_diameter: wanted value and std, got value"),
        (measured(bolt_count={"value": 5, "probability": 1.2}), r"bolt_count\.probability: wanted a probability"),
        (measured(bolt_count={"value": 50, "probability": 0.9}), r"bolt_count\.value: wanted a whole number"),
        (measured(construction={"two-piece": 2}), r"construction\.two-piece: wanted a probability"),
        (measured(thickness_over="rim"), r"thickness_over: wanted one of lip, swept, unknown"),
        (measured(warnings={}), r"warnings: wanted a list"),
        (front(measurements=["a.json"]), r"measurements\[0\]: wanted an object with keys, got 'a.json'"),
        *((front(**{key: -1}), rf"^axles\.front\.{key}: wanted more than 0 mm, got -1") for key in LENGTH_KEYS),
        *((front(**{key: "no"}), rf"^axles\.front\.{key}: wanted one of .*, got 'no'") for key in WORD_KEYS),
        *((front(**{key: 7}), rf"^axles\.front\.{key}: wanted a text, got 7") for key in TEXT_KEYS),
        (front(pistons=0), r"^axles\.front\.pistons: wanted a whole number from 1 to 16, got 0"),
        (front(mass_kg=-8), r"^axles\.front\.mass_kg: wanted more than 0 kg, got -8"),
        (front(wheel_in=0), r"^axles\.front\.wheel_in: wanted more than 0 in, got 0"),
        (front(caliper_mount={"fixed": 1.0}), r"caliper_mount: wanted one of floating, fixed"),
        (front(rotor_mark="\ud800"), r"rotor_mark: wanted a text"),
        ({"axles": {"front": []}}, r"^axles\.front: wanted an object with keys, got \[\]"),
        ({"option_codes": ["BK10", ""]}, r"^option_codes: wanted a text, got ''"),
        ({"vin": 1}, r"^vin: wanted a text, got 1"),
        ({"vehicle": {"line": ""}}, r"^vehicle\.line: wanted a text"),
        ({"vehicle": {"model": 3}}, r"^vehicle\.model: wanted a text, got 3"),
        ({"vehicle": {"year": 1066}}, r"^vehicle\.year: wanted a whole number from 1885 to 2100, got 1066"),
        ({"vehicle": {"built": 2021}}, r"^vehicle\.built: wanted a text, got 2021"),
        ({"wanted": "front:rotor"}, r"^wanted: wanted a list"),
        ({"wanted": [{"axle": "left", "part": "rotor"}]}, r"^wanted\[0\]\.axle: wanted one of front, rear, unknown"),
        ({"wanted": [{"axle": "front", "side": "left"}]}, r"^wanted\[0\]\.side: unknown key"),
        ({"wanted": [{"axle": "front"}]}, r"^wanted\[0\]\.part: wanted one of rotor, pads, got None"),
        ({"two\nlines": 1}, r"^'two\\nlines': unknown key"),
    ],
)
def test_what_cannot_be_read_gets_one_clear_line(document: dict[str, Any], message: str) -> None:
    with pytest.raises(EvidenceError, match=message) as caught:
        read_evidence(document)
    assert "\n" not in str(caught.value)


def test_evidence_that_is_no_object_is_refused() -> None:
    with pytest.raises(EvidenceError, match="wanted an object"):
        read_evidence([])  # type: ignore[arg-type]


def test_nothing_named_as_wanted_is_as_if_nothing_was_said() -> None:
    assert read_evidence({**front(diameter_mm=330), "wanted": []}) == read_evidence(front(diameter_mm=330))


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ('{"axles": {"front": {"diameter_mm": 330, "diameter_mm": 300}}}', r"^the key 'diameter_mm' stands twice"),
        ("[" * 100_000, r"^objects or lists are nested too deep"),
        ('{"vin": ', r"^Expecting value, line 1, column 9"),
        (b'{"vin": "\xff"}', r"^byte 9 is no text in UTF-8"),
        ("", r"^Expecting value, line 1, column 1"),
    ],
)
def test_json_that_cannot_be_read_whole_is_refused(text: str | bytes, message: str) -> None:
    with pytest.raises(ValueError, match=message) as caught:
        parse_json(text)
    assert "\n" not in str(caught.value)


def test_json_is_read_as_the_standard_says() -> None:
    assert parse_json(b'\xef\xbb\xbf{"a": [1, 2.5, null, true]}') == {"a": [1, 2.5, None, True]}
