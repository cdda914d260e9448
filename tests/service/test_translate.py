"""What a photo showed goes into the evidence once."""

from typing import Any

import numpy as np

from service.translate import add_measurement

MEASUREMENT = {
    "photo": "a.jpg",
    "view": "face",
    "status": "measured",
    "reasons": [],
    "dimensions": {
        "diameter_mm": {"value": 330.0, "std": 0.4},
        "thickness_mm": {"value": 24.0, "std": 0.5},
        "hat_mm": {"value": 160.0, "std": 0.6},
    },
    "covariance": {
        "keys": ["diameter_mm", "thickness_mm", "hat_mm"],
        "matrix": [[0.16, 0.01, 0.08], [0.01, 0.25, 0.02], [0.08, 0.02, 0.36]],
    },
}


def test_measurements_of_one_axle_gather_there() -> None:
    evidence = {"vehicle": {"line": "L"}, "axles": {"front": {"surface": "plain"}, "rear": {}}}
    once = add_measurement(evidence, "front", MEASUREMENT)
    twice = add_measurement(once, "front", MEASUREMENT | {"photo": "b.jpg"})
    assert [m["photo"] for m in twice["axles"]["front"]["measurements"]] == ["a.jpg", "b.jpg"]
    assert twice["axles"]["front"]["surface"] == "plain"
    assert twice["axles"]["rear"] == {}
    assert twice["vehicle"] == {"line": "L"}


def test_the_evidence_given_is_left_as_it_was() -> None:
    evidence: dict[str, Any] = {"axles": {"front": {"measurements": []}}}
    add_measurement(evidence, "front", MEASUREMENT)
    assert evidence == {"axles": {"front": {"measurements": []}}}


def test_a_refused_measurement_is_evidence_too() -> None:
    refused = {"photo": "a.jpg", "view": "face", "status": "refused", "surface": {"plain": 1.0}, "dimensions": {}}
    assert add_measurement({}, "rear", refused)["axles"]["rear"]["measurements"] == [refused]


def test_a_length_told_to_the_photo_and_given_as_reading_counts_once() -> None:
    evidence = {"axles": {"front": {"thickness_mm": 24.2}}}
    told = MEASUREMENT | {"told": {"thickness_mm": 24.2}}
    (kept,) = add_measurement(evidence, "front", told)["axles"]["front"]["measurements"]
    assert set(kept["dimensions"]) == {"diameter_mm", "hat_mm"}
    assert kept["covariance"]["keys"] == ["diameter_mm", "hat_mm"]
    np.testing.assert_array_equal(kept["covariance"]["matrix"], [[0.16, 0.08], [0.08, 0.36]])


def test_a_length_told_and_not_given_as_reading_stays() -> None:
    told = MEASUREMENT | {"told": {"thickness_mm": 24.2}}
    assert add_measurement({}, "front", told)["axles"]["front"]["measurements"] == [told]


def test_a_length_the_photo_found_itself_stays_beside_a_reading() -> None:
    evidence = {"axles": {"front": {"thickness_mm": 24.2}}}
    assert add_measurement(evidence, "front", MEASUREMENT)["axles"]["front"]["measurements"] == [MEASUREMENT]
