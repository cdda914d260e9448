"""Evidence is read as people write it; what cannot be read gets one line that says where and what."""

from typing import Any

import numpy as np
import pytest

from catalogue import EvidenceError, read_evidence


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
    ],
)
def test_what_cannot_be_read_gets_one_clear_line(document: dict[str, Any], message: str) -> None:
    with pytest.raises(EvidenceError, match=message) as caught:
        read_evidence(document)
    assert "\n" not in str(caught.value)


def test_evidence_that_is_no_object_is_refused() -> None:
    with pytest.raises(EvidenceError, match="wanted an object"):
        read_evidence([])  # type: ignore[arg-type]
