"""An identification says what the contract promises: candidates, parts, groups, checks, conflicts, verdicts."""

import json
from itertools import combinations
from typing import Any

import numpy as np
import pytest

from catalogue import Catalogue, Identification, identify, load_catalogue, read_evidence
from catalogue.schema import SURFACES
from tests.catalogue.conftest import Build
from tests.catalogue.test_check_values import by_package, rotor, verdicts

KEYS = {
    *("verdict", "message", "candidates", "others", "none_of_these", "parts", "cannot_tell_apart", "next_checks"),
    *("conflicts", "order", "cautions", "ignored"),
}
TWIN = {"rotor": rotor(330, 24), "pads": {"height_mm": 55}}


def asked(catalogue: Catalogue, **evidence: Any) -> Identification:
    return identify(catalogue, read_evidence(evidence))


def fitment(package: str, **cells: Any) -> dict[str, Any]:
    return {"line": "Line", "model": "Model", "year_from": 2015, "package": package, **cells}


@pytest.fixture(scope="module")
def demo() -> Catalogue:
    return load_catalogue()


@pytest.mark.parametrize(
    "evidence",
    [
        {},
        {"vehicle": {"line": "Ostrabel"}},
        {"axles": {"front": {"diameter_mm": 330.1, "thickness_mm": 23.2}}},
        {"axles": {"unknown": {"diameter_mm": 345, "surface": "plain"}}},
        {"axles": {"front": {"diameter_mm": 348}, "rear": {"diameter_mm": 345, "thickness_mm": [23.1, 23.2]}}},
        {"axles": {"front": {"diameter_mm": 1000}}},
        {"vehicle": {"line": "nowhere"}},
    ],
)
def test_the_document_has_the_contract_s_keys_and_sums_to_one(demo: Catalogue, evidence: dict[str, Any]) -> None:
    answer = json.loads(json.dumps(asked(demo, **evidence).to_json()))
    listed = sum(candidate["probability"] for candidate in answer["candidates"])
    assert listed + answer["others"]["probability"] + answer["none_of_these"] == pytest.approx(1, abs=1e-9)
    probabilities = [candidate["probability"] for candidate in answer["candidates"]]
    assert probabilities == sorted(probabilities, reverse=True)
    assert all(probability >= 1e-4 for probability in probabilities)
    assert answer["verdict"] in {"ready", "check", "decode", "no-match"}
    wanted = {
        "message",
        "parts",
        "cannot_tell_apart",
        "next_checks",
        "conflicts",
        "order",
        "cautions",
        "ignored",
        "chart",
    }
    assert wanted <= answer.keys()
    for candidate in answer["candidates"]:
        assert candidate.keys() == {
            *("line", "model", "years", "package", "package_name", "axle", "probability", "why"),
        }
        assert all({"evidence", "bits", "text"} <= reason.keys() for reason in candidate["why"])


def test_without_evidence_the_prior_and_the_checks_worth_making(demo: Catalogue) -> None:
    found = asked(demo, vehicle={"line": "Ostrabel", "model": "Fennock"})
    assert found.none_of_these == pytest.approx(0.02)
    assert {candidate.axle for candidate in found.candidates} == {"both"}
    assert {part.axle for part in found.parts} == {"front", "rear"}
    gains = {check.check: check.gain_bits for check in found.next_checks}
    assert gains["diameter_mm"] > gains["surface"] > 0


def test_evidence_on_an_unknown_axle_gives_a_row_a_fitment_and_axle(demo: Catalogue) -> None:
    found = asked(demo, axles={"unknown": {"thickness_mm": 23.5}})
    assert {candidate.axle for candidate in found.candidates} == {"front", "rear"}
    assert {part.axle for part in found.parts} == {"unknown"}


def test_bits_are_the_log_of_likelihood_over_its_prior_mean(build: Build) -> None:
    catalogue = build({"A": {"front": {"rotor": rotor(330, 24)}}, "B": {"front": {"rotor": rotor(350, 24)}}})
    found = asked(catalogue, axles={"front": {"diameter_mm": 330}})
    best = found.candidates[0]
    prior = (1 - found.assumptions.none_of_these) / 2
    assert 2 ** best.why[0].bits == pytest.approx(best.probability / prior, rel=1e-6)


@pytest.mark.parametrize("pair", list(combinations(SURFACES, 2)))
def test_packages_that_differ_in_their_face_can_be_settled_by_looking(build: Build, pair: tuple[str, str]) -> None:
    packages = {
        name: {"front": {"rotor": rotor(374, 36, surface=surface), "pads": {"height_mm": 71}}}
        for name, surface in zip("AB", pair, strict=True)
    }
    found = asked(build(packages), axles={"front": {"diameter_mm": 374, "thickness_mm": 35.4}})
    assert verdicts(found) == {("front", "rotor"): "check", ("front", "pads"): "ready"}
    assert [check.check for check in found.next_checks] == ["surface"]


def test_twins_need_a_record_or_the_mark(build: Build) -> None:
    packages = {
        "A": {"front": {**TWIN, "rotor": {**TWIN["rotor"], "part": "R-A", "marks": "1111"}}},
        "B": {"front": {**TWIN, "rotor": {**TWIN["rotor"], "part": "R-B", "marks": "2222"}}},
    }
    catalogue = build(packages, [fitment("A", option_code="X1"), fitment("B", option_code="X2")])
    read = {"diameter_mm": 330, "thickness_mm": 23.5}
    found = asked(catalogue, axles={"front": read})
    assert found.verdict == "decode"
    by_any = next(group for group in found.cannot_tell_apart if group.by == "any reading")
    assert by_any.resolved_by == ("rotor_mark", "option_code")
    assert by_package(asked(catalogue, axles={"front": {**read, "rotor_mark": "2222"}}))["B"] > 0.98
    assert by_package(asked(catalogue, axles={"front": read}, option_codes=["X2"]))["B"] > 0.98


def test_no_record_resolves_a_group_with_a_dealer_s_package(build: Build) -> None:
    fitments = [fitment("A", option_code="X1"), fitment("B", offered="dealer")]
    found = asked(build({"A": {"front": TWIN}, "B": {"front": TWIN}}, fitments), axles={"front": {"diameter_mm": 330}})
    assert found.cannot_tell_apart
    assert all("option_code" not in group.resolved_by for group in found.cannot_tell_apart)


def test_a_dealer_s_package_is_in_no_record(build: Build) -> None:
    """A code in the records leaves a dealer-fitted package as likely as the car was before the dealer came."""
    packages = {name: {"front": {"rotor": rotor(size, 24)}} for name, size in (("A", 330), ("B", 350), ("D", 374))}
    fitments = [
        fitment("A", option_code="X1", offered="standard", share=0.6),
        fitment("B", option_code="X2", offered="optional", share=0.3),
        fitment("D", offered="dealer", share=0.1),
    ]
    mass = by_package(asked(build(packages, fitments), option_codes=["X2"]))
    assert mass["B"] > 5 * mass.get("A", 0)
    assert mass["D"] > mass["B"] / 20


def test_part_and_records_that_differ_stop_everything(build: Build) -> None:
    packages = {"A": {"front": {"rotor": rotor(330, 24)}}, "B": {"front": {"rotor": rotor(374, 36)}}}
    catalogue = build(packages, [fitment("A", option_code="X1"), fitment("B", option_code="X2")])
    read = {"diameter_mm": 374, "thickness_mm": 35.2}
    found = asked(catalogue, option_codes=["X1"], axles={"front": read})
    assert found.verdict == "check"
    assert "option_codes" in found.conflicts[0].between
    assert "X1" in found.message
    assert found.next_checks[0].check == "rotor_mark"
    assert found.order.axles == ()
    assert asked(catalogue, option_codes=["X2"], axles={"front": read}).verdict == "ready"


def test_two_readings_that_contradict_each_other_are_both_named(build: Build) -> None:
    packages = {
        "A": {"front": {"rotor": rotor(330, 24, height_mm=45)}},
        "B": {"front": {"rotor": rotor(374, 36, height_mm=55)}},
    }
    read = {"diameter_mm": 374, "thickness_mm": 35.2, "height_mm": 45}
    found = asked(build(packages), axles={"front": read})
    assert found.candidates[0].package == "B"
    assert any("height_mm" in conflict.between for conflict in found.conflicts)


def test_nothing_fits_a_strange_rotor(demo: Catalogue) -> None:
    found = asked(demo, axles={"front": {"diameter_mm": 240, "thickness_mm": 12, "height_mm": 30}})
    assert found.verdict == "no-match"
    assert {part.verdict for part in found.parts} == {"no-match"}
    assert found.next_checks == ()


def test_a_vehicle_that_the_catalogue_lacks_is_named(demo: Catalogue) -> None:
    found = asked(demo, vehicle={"line": "Nowhere"})
    assert found.verdict == "no-match"
    assert found.none_of_these == 1
    assert "Nowhere" in found.message


def test_the_build_month_settles_a_change_in_mid_year(build: Build) -> None:
    packages = {"OLD": {"front": {"rotor": rotor(330, 24)}}, "NEW": {"front": {"rotor": rotor(350, 24)}}}
    fitments = [
        fitment("OLD", year_to=2021, built_to="2021-05"),
        fitment("NEW", year_from=2021, built_from="2021-06"),
    ]
    catalogue = build(packages, fitments)
    assert set(by_package(asked(catalogue, vehicle={"year": 2021}))) == {"OLD", "NEW"}
    assert set(by_package(asked(catalogue, vehicle={"built": "2021-06"}))) == {"NEW"}
    assert set(by_package(asked(catalogue, vehicle={"built": "2021-05"}))) == {"OLD"}
    assert set(by_package(asked(catalogue, vehicle={"year": 2020}))) == {"OLD"}
    assert set(by_package(asked(catalogue, vehicle={"built": "2016-01"}))) == {"OLD"}


def test_shares_and_cars_make_the_prior(build: Build) -> None:
    """Empty shares take equal parts of what is left; models weigh by their cars."""
    packages = {
        name: {"front": {"rotor": rotor(size, 24)}} for name, size in zip("ABCD", (330, 340, 350, 360), strict=True)
    }
    fitments = [
        fitment("A", share=0.5, cars=1000),
        fitment("B", cars=1000),
        fitment("C", cars=1000),
        fitment("D", model="Other", cars=3000),
    ]
    mass = by_package(asked(build(packages, fitments)))
    inside = 0.98
    assert mass["A"] == pytest.approx(inside * 0.25 * 0.5)
    assert mass["B"] == mass["C"] == pytest.approx(inside * 0.25 * 0.25)
    assert mass["D"] == pytest.approx(inside * 0.75)


def test_left_and_right_are_ordered_together(build: Build) -> None:
    sides = {"rotor": rotor(380, 38, part="R-L"), "right": rotor(380, 38, part="R-R", mass_kg=9.1)}
    found = asked(build({"A": {"front": sides}}), axles={"front": {"diameter_mm": 380, "thickness_mm": 37.8}})
    option = found.parts[0].options[0]
    assert (option.part, option.right) == ("R-L", "R-R")
    assert [line.part for line in found.order.axles[0].lines][:2] == ["R-L", "R-R"]


def test_wear_is_reported_once_the_rotor_is_settled(build: Build) -> None:
    found = asked(
        build({"A": {"front": {"rotor": rotor(330, 24)}}, "B": {"front": {"rotor": rotor(374, 36)}}}),
        axles={"front": {"diameter_mm": 330, "thickness_mm": [23.0, 23.2, 23.1], "thickness_over": "swept"}},
    )
    assert found.wear[0].left == pytest.approx(0.5)
    assert found.wear[0].variation_mm == pytest.approx(0.2)


def test_charts_hold_each_reading_against_the_candidates(build: Build) -> None:
    catalogue = build({"A": {"front": {"rotor": rotor(330, 24)}}, "B": {"front": {"rotor": rotor(331, 24)}}})
    charts = {
        chart.evidence: chart
        for chart in asked(catalogue, axles={"front": {"diameter_mm": 330.5, "thickness_mm": 23}}).charts
    }
    assert {span.package for span in charts["diameter_mm"].spans} == {"A", "B"}
    assert charts["thickness_mm"].spans[0].worn_to_mm == 22
    assert charts["diameter_mm"].low_mm < 330.5 < charts["diameter_mm"].high_mm


def test_vin_is_looked_at_and_never_decoded(demo: Catalogue) -> None:
    plain = asked(demo, axles={"front": {"diameter_mm": 330}})
    with_vin = asked(demo, axles={"front": {"diameter_mm": 330}}, vin="1G4AH59H45G118342")
    assert by_package(plain) == by_package(with_vin)
    assert any(each.evidence == "vin" for each in with_vin.ignored)
    assert any(caution.startswith("VIN") for caution in with_vin.cautions)


def test_a_caliper_said_to_have_read_too_far_is_asked_about(demo: Catalogue) -> None:
    found = asked(demo, axles={"front": {"diameter_mm": {"value": 345, "tool": "caliper"}}})
    assert any("shop caliper ends" in caution for caution in found.cautions)


def test_what_is_wanted_is_answered_whatever_was_read(demo: Catalogue) -> None:
    wanted = [{"axle": "rear", "part": "pads"}]
    found = asked(demo, vehicle={"line": "Quennith"}, axles={"front": {"diameter_mm": 348}}, wanted=wanted)
    assert list(verdicts(found)) == [("rear", "pads")]


def test_a_reading_that_nothing_fits_is_named(build: Build) -> None:
    packages = {name: {"front": {"rotor": rotor(size, 24)}} for name, size in (("A", 330), ("B", 350))}
    found = asked(build(packages), axles={"front": {"diameter_mm": 339, "thickness_mm": 23.1, "condition": "used"}})
    assert found.verdict == "no-match"
    assert "as they stand" in found.message
    assert "front diameter (339.0 ± 0.3)" in found.message


def test_a_reading_in_the_wrong_unit_is_asked_about_and_asked_for_again(build: Build) -> None:
    packages = {name: {"front": {"rotor": rotor(size, 24)}} for name, size in (("A", 330), ("B", 350))}
    found = asked(build(packages), axles={"front": {"diameter_mm": 12.99, "thickness_mm": 23.1}})
    assert any("'12.99 in'" in caution for caution in found.cautions)
    assert "diameter_mm" in [check.check for check in found.next_checks]


def test_near_certainty_is_not_printed_as_certainty(build: Build) -> None:
    packages = {name: {"front": {"rotor": rotor(size, 24)}} for name, size in (("A", 330), ("B", 374))}
    found = asked(build(packages), axles={"front": {"diameter_mm": 330.1, "thickness_mm": 23.1, "condition": "used"}})
    assert found.parts[0].options[0].probability < 1
    assert "(over 99.9%)" in found.message or "(99." in found.message
    assert "100%" not in found.message


def test_an_unknown_axle_is_spoken_of_as_people_do(build: Build) -> None:
    packages = {
        "A": {"front": {"rotor": rotor(330, 24)}, "rear": {"rotor": rotor(300, 12)}},
        "B": {"front": {"rotor": rotor(350, 24)}, "rear": {"rotor": rotor(320, 12)}},
    }
    found = asked(build(packages), axles={"unknown": {"diameter_mm": 330.1, "thickness_mm": 23.4}})
    assert "unknown" not in found.message
    assert "It is of a front axle" in found.message
    assert not any("unknown" in caution for caution in found.cautions)


def test_what_only_the_other_axle_tells_is_said_to_be_there(build: Build) -> None:
    """Alike in front, of two sizes behind: by the front alone nothing tells them apart, and the answer says where."""
    packages = {name: {"front": TWIN, "rear": {"rotor": rotor(size, 20)}} for name, size in (("A", 300), ("B", 330))}
    found = asked(build(packages), axles={"front": {"diameter_mm": 330, "thickness_mm": 23.5}})
    group = next(group for group in found.cannot_tell_apart if group.by == "any reading")
    assert (group.axle, group.packages) == ("front", ("A", "B"))
    assert "diameter_mm" in group.resolved_by
    assert "diameter_mm" in group.by_other_axle
    assert set(group.by_other_axle) <= set(group.resolved_by)
    by_both = asked(build(packages), axles={"front": {"diameter_mm": 330}, "rear": {"surface": "plain"}})
    group = next(group for group in by_both.cannot_tell_apart if group.by == "these readings")
    assert (group.axle, group.by_other_axle) == ("both", ())


def test_the_wheel_is_asked_for_where_its_least_size_separates(build: Build) -> None:
    """A 17 inch wheel rules out the large brake; reading it takes no wheel off and no tool."""
    least = {"A": 17, "B": 19}
    packages = {
        name: {"front": {"rotor": rotor(size, 28), "min_wheel_in": least[name]}, "rear": {"rotor": rotor(300, 12)}}
        for name, size in (("A", 330), ("B", 374))
    }
    catalogue = build(packages)
    check = {each.check: each for each in asked(catalogue).next_checks}["wheel_in"]
    assert (check.axle, check.minutes) == ("front", 1)
    # A stands on 17, 18 or 19, B on 19, 20 or 21. One time in three it is 17 or 18: B, but for a slip in a hundred,
    # is ruled out. Otherwise the wheel clears both, and one bit stays open.
    assert check.gain_bits == pytest.approx((1 - binary_entropy_bits(1 / 101)) / 3, abs=1e-6)
    read: dict[str, Any] = {"axles": {"rear": {"diameter_mm": 300}}, "wanted": [{"axle": "front", "part": "rotor"}]}
    from_rear = {(each.check, each.axle): each for each in asked(catalogue, **read).next_checks}
    assert from_rear["wheel_in", "front"].minutes == 1
    answered = asked(catalogue, axles={"front": {"wheel_in": 18}})
    assert by_package(answered)["A"] > 0.95
    assert "wheel_in" not in {each.check for each in answered.next_checks}


def binary_entropy_bits(probability: float) -> float:
    return float(-sum(each * np.log2(each) for each in (probability, 1 - probability)))


@pytest.mark.parametrize("least", [(17, 17), (17, ""), ("", "")])
def test_the_wheel_is_not_asked_for_where_the_catalogue_gives_no_two_sizes(
    build: Build, least: tuple[Any, Any]
) -> None:
    packages = {
        name: {"front": {"rotor": rotor(size, 28), "min_wheel_in": each}}
        for name, size, each in zip("AB", (330, 374), least, strict=True)
    }
    assert "wheel_in" not in {each.check for each in asked(build(packages)).next_checks}


def test_a_wheel_that_clears_no_brake_is_to_be_read_again(build: Build) -> None:
    packages = {
        name: {"front": {"rotor": rotor(size, 24), "min_wheel_in": 17}} for name, size in (("A", 330), ("B", 350))
    }
    read = {"diameter_mm": 330.1, "thickness_mm": 23.2, "condition": "used", "wheel_in": 15}
    found = asked(build(packages), axles={"front": read})
    assert found.verdict == "ready"
    assert any("wheel size (15 inch wheel) fits no package" in caution for caution in found.cautions)


def test_without_evidence_only_what_the_catalogue_has_is_wanted(build: Build) -> None:
    packages = {name: {"front": {"rotor": rotor(size, 24)}} for name, size in (("A", 330), ("B", 350))}
    found = asked(build(packages))
    assert set(verdicts(found)) == {("front", "rotor"), ("front", "pads")}
    assert found.verdict == "check"


def test_a_wanted_part_that_the_catalogue_lacks_is_named(build: Build) -> None:
    packages = {name: {"front": {"rotor": rotor(size, 24)}} for name, size in (("A", 330), ("B", 350))}
    wanted = [{"axle": "front", "part": "rotor"}, {"axle": "rear", "part": "rotor"}]
    found = asked(build(packages), axles={"front": {"diameter_mm": 330, "thickness_mm": 23.5}}, wanted=wanted)
    assert found.verdict == "no-match"
    assert "Settled: front rotor R1" in found.message
    assert "Not in the catalogue for this car: rear rotor." in found.message
