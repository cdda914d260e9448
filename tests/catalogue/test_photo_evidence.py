"""Photos as evidence: lengths with their covariance, without a scale, several of one rotor, beside readings by hand."""

from typing import Any

import numpy as np
import pytest

from catalogue import Catalogue
from tests.catalogue.conftest import Build
from tests.catalogue.test_check_values import by_package, rotor
from tests.catalogue.test_identification import asked

KEYS = ("diameter_mm", "ring_inner_mm", "thickness_mm")


@pytest.fixture
def catalogue(build: Build) -> Catalogue:
    """Two sizes of one shape, and one of another shape."""
    return build(
        {
            "SMALL": {"front": {"rotor": rotor(330, 24, ring_inner_mm=210, hat_mm=160)}},
            "LARGE": {"front": {"rotor": rotor(348, 26, ring_inner_mm=221.5, hat_mm=168.7)}},
            "WIDE": {"front": {"rotor": rotor(340, 25, ring_inner_mm=190, hat_mm=150)}},
        }
    )


def photo(values: tuple[float, float, float], scale_std: float, own_std: float = 0.2, **more: Any) -> dict[str, Any]:
    """A photo whose lengths share an error of scale."""
    value = np.array(values)
    covariance = np.outer(value, value) * scale_std**2 + np.eye(3) * own_std**2
    std = np.sqrt(np.diag(covariance))
    numbers = zip(KEYS, value.tolist(), std.tolist(), strict=True)
    return {
        "view": "face",
        "status": "measured",
        "dimensions": {key: {"value": read, "std": each} for key, read, each in numbers},
        "covariance": {"keys": list(KEYS), "matrix": covariance.tolist()},
        **more,
    }


def test_a_photo_of_poor_scale_still_knows_the_shape(catalogue: Catalogue) -> None:
    """4 % too large, as beside the rotor on the bench: the ratio of the two circles says which it is not."""
    found = by_package(asked(catalogue, axles={"front": {"measurements": [photo((343.2, 218.4, 24.5), 0.03)]}}))
    assert found.get("WIDE", 0.0) < 0.05


def test_ratios_alone_tell_shapes_and_not_sizes(catalogue: Catalogue) -> None:
    ratios = {
        "ring_inner_over_diameter": {"value": 0.636, "std": 0.004},
        "hat_over_diameter": {"value": 0.485, "std": 0.004},
    }
    found = by_package(asked(catalogue, axles={"front": {"measurements": [{"status": "refused", "ratios": ratios}]}}))
    assert found["SMALL"] == pytest.approx(found["LARGE"], rel=0.1)
    assert found.get("WIDE", 0.0) < 0.01


def test_a_length_told_fixes_the_scale_of_the_rest(catalogue: Catalogue) -> None:
    """The photo's thickness follows its scale, and the scale its diameter: read by hand, that mends the thickness."""
    read = photo((343.2, 218.4, 24.9), 0.03)
    by_photo = by_package(asked(catalogue, axles={"front": {"measurements": [read]}}))
    with_hand = by_package(asked(catalogue, axles={"front": {"measurements": [read], "diameter_mm": 330.1}}))
    assert with_hand["SMALL"] > 0.99
    assert by_photo["SMALL"] < 0.9


def test_two_photos_say_more_than_one_and_less_than_twice(catalogue: Catalogue) -> None:
    near = photo((337.5, 214.8, 24.6), 0.008, 2.0)
    evidence: dict[str, list[dict[str, Any]]] = {"one": [near], "two": [near, near]}
    odds = {}
    for name, photos in evidence.items():
        found = by_package(asked(catalogue, axles={"front": {"measurements": photos}}))
        odds[name] = np.log(found["SMALL"] / found["LARGE"])
    assert abs(odds["one"]) < abs(odds["two"]) < 2 * abs(odds["one"])


def test_an_unchecked_print_is_wrong_alike_in_every_photo(catalogue: Catalogue) -> None:
    warned = {"warnings": [{"code": "print-unchecked", "message": ""}]}
    odds = []
    for more in ({}, warned):
        near = photo((337.5, 214.8, 24.6), 0.008, 2.0, **more)
        found = by_package(asked(catalogue, axles={"front": {"measurements": [near, near]}}))
        odds.append(abs(np.log(found["SMALL"] / found["LARGE"])))
    assert odds[1] < odds[0]


def test_a_photo_s_surface_skips_the_table_of_mix_ups(build: Build) -> None:
    packages = {name: {"front": {"rotor": rotor(330, 24, surface=name)}} for name in ("drilled", "dimpled")}
    catalogue = build(packages)
    seen = {
        "plain": 0.0,
        "slotted": 0.0,
        "drilled": 0.95,
        "dimpled": 0.05,
        "drilled+slotted": 0.0,
        "dimpled+slotted": 0.0,
    }
    by_eye = by_package(asked(catalogue, axles={"front": {"surface": "drilled"}}))
    by_photo = by_package(asked(catalogue, axles={"front": {"measurements": [{"surface": seen}]}}))
    assert by_photo["drilled"] > by_eye["drilled"]


def test_photos_of_one_surface_are_not_counted_twice(build: Build) -> None:
    packages = {name: {"front": {"rotor": rotor(330, 24, surface=name)}} for name in ("drilled", "dimpled")}
    catalogue = build(packages)
    seen = {
        "plain": 0.05,
        "slotted": 0.05,
        "drilled": 0.5,
        "dimpled": 0.3,
        "drilled+slotted": 0.05,
        "dimpled+slotted": 0.05,
    }
    odds = []
    for count in (1, 2, 5):
        found = by_package(asked(catalogue, axles={"front": {"measurements": [{"surface": seen}] * count}}))
        odds.append(np.log(found["drilled"] / found["dimpled"]))
    assert odds[0] < odds[1] < 2 * odds[0]
    assert odds[2] < 2 * odds[0]


def test_an_edge_photo_shows_the_lip(build: Build) -> None:
    """The silhouette at the outer edge is the new thickness where there is a lip."""
    catalogue = build({"THIN": {"front": {"rotor": rotor(330, 22)}}, "THICK": {"front": {"rotor": rotor(330, 24)}}})
    edge = {"view": "edge", "dimensions": {"thickness_mm": {"value": 21.9, "std": 0.2}}}
    over = by_package(asked(catalogue, axles={"front": {"measurements": [{**edge, "thickness_over": "lip"}]}}))
    unsure = by_package(asked(catalogue, axles={"front": {"measurements": [{**edge, "thickness_over": "unknown"}]}}))
    by_hand = by_package(asked(catalogue, axles={"front": {"thickness_mm": 21.9, "condition": "used"}}))
    assert over["THIN"] > unsure["THIN"] > by_hand["THIN"]
