"""Sizes, sharing and wear as the trade knows them: 330x24, 330x20, 348x36, 345x24, 374x36.

All figures of this file are common practice, without a published source.
"""

from typing import Any

import pytest

from catalogue import Catalogue, CatalogueError, Identification, identify, read_evidence
from tests.catalogue.conftest import Build


def rotor(diameter: float, thickness: float, **cells: Any) -> dict[str, Any]:
    return {
        "diameter_mm": diameter,
        "thickness_mm": thickness,
        "min_thickness_mm": thickness - 2,
        "ventilation": "vented",
        "surface": "plain",
        **cells,
    }


REAR_345 = {"rotor": rotor(345, 24), "pads": {"height_mm": 59}}
PACKAGES: dict[str, dict[str, Any]] = {
    "BASE": {
        "front": {"rotor": rotor(330, 24), "pads": {"height_mm": 55}, "caliper": {"colours": "grey;red"}},
        "rear": {"rotor": rotor(330, 20), "pads": {"height_mm": 44}},
    },
    "MIDDLE": {
        "front": {"rotor": rotor(348, 36), "pads": {"height_mm": 66}, "caliper": {"colours": "red"}},
        "rear": REAR_345,
    },
    "TOP": {
        "front": {"rotor": rotor(374, 36, surface="slotted"), "pads": {"height_mm": 71}, "caliper": {"colours": "red"}},
        "rear": REAR_345,
    },
    "TOP-D": {
        "front": {
            "rotor": rotor(374, 36, surface="dimpled+slotted"),
            "pads": {"height_mm": 71},
            "caliper": {"colours": "red"},
        },
        "rear": {"rotor": rotor(355, 28), "pads": {"height_mm": 62}},
    },
}


@pytest.fixture
def catalogue(build: Build) -> Catalogue:
    return build(PACKAGES)


def asked(catalogue: Catalogue, **evidence: Any) -> Identification:
    return identify(catalogue, read_evidence(evidence))


def by_package(found: Identification) -> dict[str, float]:
    sums: dict[str, float] = {}
    for candidate in found.candidates:
        sums[candidate.package] = sums.get(candidate.package, 0.0) + candidate.probability
    return sums


def verdicts(found: Identification) -> dict[tuple[str, str], str]:
    return {(part.axle, part.part): part.verdict for part in found.parts}


def test_used_front_settles_on_the_thick_one(catalogue: Catalogue) -> None:
    """330.1 x 23.2 is a worn 24: a new 20 cannot read 23.2."""
    found = asked(catalogue, axles={"front": {"diameter_mm": 330.1, "thickness_mm": 23.2, "condition": "used"}})
    assert found.candidates[0].package == "BASE"
    assert found.candidates[0].probability > 0.99
    assert found.verdict == "ready"


def test_the_thin_one_of_the_same_diameter_cannot_read_more_than_new(build: Build) -> None:
    thin = {"THIN": {"front": {"rotor": rotor(330, 20)}}, "THICK": {"front": {"rotor": rotor(330, 24)}}}
    found = asked(build(thin), axles={"front": {"diameter_mm": 330.1, "thickness_mm": 23.2}})
    assert by_package(found)["THICK"] > 0.99
    losing = next(each for each in found.candidates if each.package == "THIN") if len(by_package(found)) > 1 else None
    texts = [reason.text for reason in losing.why] if losing else ["a new 20 cannot read 23.2"]
    assert "a new 20 cannot read 23.2" in texts


def test_worn_22_reads_like_a_new_21(build: Build) -> None:
    """20.9 may be either, until the stamped minimum says which."""
    pair = {"A": {"front": {"rotor": rotor(300, 22)}}, "B": {"front": {"rotor": rotor(300, 21)}}}
    catalogue = build(pair)
    read = {"diameter_mm": 300, "thickness_mm": 20.9}
    open_answer = by_package(asked(catalogue, axles={"front": read}))
    assert max(open_answer.values()) < 0.95
    stamped = asked(catalogue, axles={"front": {**read, "min_thickness_mark_mm": 20, "mark_kind": "discard"}})
    assert by_package(stamped)["A"] > 0.95
    over_lip = asked(catalogue, axles={"front": {**read, "thickness_over": "lip"}})
    assert by_package(over_lip)["B"] > 0.95


def test_a_pair_that_differs_in_its_face_is_not_told_apart_by_size(catalogue: Catalogue) -> None:
    found = asked(catalogue, axles={"front": {"diameter_mm": 374.1, "thickness_mm": 35.1}})
    mass = by_package(found)
    assert mass["TOP"] == pytest.approx(mass["TOP-D"], rel=0.01)
    group = next(each for each in found.cannot_tell_apart if each.by == "these readings")
    assert set(group.packages) == {"TOP", "TOP-D"}
    assert "surface" in group.resolved_by
    assert "front pads" in group.same_parts
    assert found.next_checks[0].check == "surface"
    assert verdicts(found) == {("front", "rotor"): "check", ("front", "pads"): "ready"}


def test_a_shared_rear_settles_itself_and_not_the_front(catalogue: Catalogue) -> None:
    wanted = [{"axle": axle, "part": part} for axle in ("front", "rear") for part in ("rotor", "pads")]
    read = {"diameter_mm": 345.1, "thickness_mm": 23.1}
    found = asked(catalogue, axles={"rear": read}, wanted=wanted)
    mass = by_package(found)
    assert mass["MIDDLE"] == pytest.approx(mass["TOP"], rel=1e-6)
    settled = verdicts(found)
    assert settled["rear", "rotor"] == settled["rear", "pads"] == "ready"
    assert settled["front", "rotor"] == settled["front", "pads"] == "check"
    group = next(each for each in found.cannot_tell_apart if each.by == "any reading")
    assert set(group.packages) == {"MIDDLE", "TOP"}
    assert {"rear rotor", "rear pads"} <= set(group.same_parts)
    assert {line.part for axle in found.order.axles for line in axle.lines} >= {found.parts[2].options[0].part}


@pytest.mark.parametrize("colour", ["red", "grey", "yellow"])
def test_caliper_colour_changes_nothing(catalogue: Catalogue, colour: str) -> None:
    read = {"diameter_mm": 348.4, "thickness_mm": 35.1}
    plain = asked(catalogue, axles={"front": read})
    coloured = asked(catalogue, axles={"front": {**read, "caliper_colour": colour}})
    assert by_package(plain) == by_package(coloured)
    assert [each.evidence for each in coloured.ignored] == ["caliper_colour"]


def test_two_rows_for_one_part_are_flagged_with_the_cells_that_differ(build: Build) -> None:
    """Two tellings of one size may differ by 3 mm."""
    twice = {
        "A": {"front": {"rotor": rotor(348, 36, part="R-1")}},
        "B": {"front": {"rotor": rotor(345, 36, part="R-1")}},
    }
    with pytest.raises(CatalogueError, match=r"diameter_mm \(348 and 345\)") as caught:
        build(twice)
    fault = caught.value.faults[0]
    assert (fault.file, fault.row, fault.column) == ("rotors.csv", 3, "part")


def test_a_tape_across_says_less_than_a_tape_round(catalogue: Catalogue) -> None:
    across = asked(catalogue, axles={"rear": {"diameter_mm": {"value": 348, "tool": "tape"}}})
    round_it = asked(catalogue, axles={"rear": {"circumference_mm": {"value": 348 * 3.14159265, "tool": "tape"}}})
    assert by_package(across)["MIDDLE"] > 5 * by_package(round_it).get("MIDDLE", 0.0)


def test_a_drum_diameter_is_no_minimum_thickness(catalogue: Catalogue) -> None:
    found = asked(catalogue, axles={"rear": {"diameter_mm": 345, "min_thickness_mark_mm": 172}})
    assert any("drum" in each.why for each in found.ignored)


def test_jaws_over_the_lip_show_the_new_thickness(catalogue: Catalogue) -> None:
    found = asked(catalogue, axles={"front": {"thickness_mm": 24.1, "thickness_over": "lip", "diameter_mm": 330}})
    assert found.candidates[0].package == "BASE"
    assert found.wear == ()


def test_wheel_caps_the_rotor(build: Build) -> None:
    small = {"rotor": rotor(330, 24), "min_wheel_in": 16}
    large = {"rotor": rotor(331, 24), "min_wheel_in": 18}
    found = asked(build({"S": {"front": small}, "L": {"front": large}}), axles={"front": {"wheel_in": 16}})
    assert by_package(found)["S"] > 0.9
