"""What settled parts bring along, on the demo catalogue and on one changed by hand."""

import dataclasses

import pytest

from catalogue.care import CAUTIONS
from catalogue.load import load_catalogue
from catalogue.order import AxleOrder, OrderLine, SettledAxle, order_sheet
from catalogue.schema import Catalogue


@pytest.fixture(scope="module")
def demo() -> Catalogue:
    return load_catalogue()


def order(demo: Catalogue, settled: SettledAxle) -> AxleOrder:
    (axle,) = order_sheet(demo, [settled]).axles
    return axle


def test_nothing_settled_orders_nothing_but_still_cautions(demo: Catalogue) -> None:
    sheet = order_sheet(demo, [SettledAxle("front", ("OB-STD",))])
    assert sheet.axles == ()
    assert sheet.cautions == CAUTIONS
    assert "maker's data" in sheet.cautions[0]


def test_a_rotor_without_sides_is_ordered_as_a_pair_and_pads_as_a_set(demo: Catalogue) -> None:
    axle = order(demo, SettledAxle("front", ("OB-STD",), "OB-R-28022", "OB-P-F1"))
    assert axle.lines[:2] == (
        OrderLine("rotor", "OB-R-28022", 2, "a pair, the same on both sides"),
        OrderLine("pads", "OB-P-F1", 1, "the axle's set"),
    )
    assert {(line.what, line.part, line.quantity) for line in axle.lines[2:]} == {
        ("hardware", "OB-X-CLIP1", 1),
        ("bolt", "OB-X-PIN12", 4),
    }


def test_left_and_right_are_two_lines_where_they_differ(demo: Catalogue) -> None:
    axle = order(demo, SettledAxle("front", ("TW-SPORT",), "TW-R-36534-L"))
    assert [(line.what, line.part, line.quantity) for line in axle.lines[:2]] == [
        ("rotor left", "TW-R-36534-L", 1),
        ("rotor right", "TW-R-36534-R", 1),
    ]


def test_shared_rear_parts_of_an_open_package_can_be_ordered(demo: Catalogue) -> None:
    axle = order(demo, SettledAxle("rear", ("QN-PLUS", "QN-CIRC-S", "QN-CIRC-D"), "QN-R-34524", "QN-P-R2"))
    assert axle.open_questions == ()
    assert [line.only_with for line in axle.lines] == [()] * len(axle.lines)
    assert "wear sensor" in [line.what for line in axle.lines]


def test_an_extra_that_only_some_packages_bring_says_which(demo: Catalogue) -> None:
    axle = order(demo, SettledAxle("front", ("OB-STD", "OB-TOUR-1"), None, "OB-P-F1"))
    assert [line.what for line in axle.lines] == ["pads", "hardware", "bolt"]  # only one of the two has these pads
    rear = order(demo, SettledAxle("rear", ("QN-SPORT", "QN-TOUR"), None, "QN-P-R1"))
    assert [line.what for line in rear.lines] == ["pads"]
    front = order(demo, SettledAxle("front", ("TW-SPORT", "TW-TRACK"), None, "TW-P-F3"))
    hose = next(line for line in front.lines if line.what == "hose")
    assert hose.only_with == ("TW-TRACK",)


def test_alternatives_come_with_the_part_they_replace(demo: Catalogue) -> None:
    axle = order(demo, SettledAxle("front", ("OB-SPORT-S",), "OB-R-33024-S"))
    assert [(each.part, each.surface) for each in axle.alternatives] == [("AV-33024-P", "plain")]


def test_care_notes_follow_the_caliper_and_the_face(demo: Catalogue) -> None:
    rear = order(demo, SettledAxle("rear", ("QN-PLUS",), "QN-R-34524", "QN-P-R2"))
    assert {"electric-parking-brake", "floating-pins", "wear-sensor", "together"} <= {note.code for note in rear.care}
    front = order(demo, SettledAxle("front", ("QN-PLUS", "QN-CIRC-S"), None, "QN-P-F3"))
    assert "floating-pins" not in {note.code for note in front.care}
    assert "not-machined" in {note.code for note in front.care}


def test_the_parcels_mass_is_the_catalogues_or_the_geometrys(demo: Catalogue) -> None:
    told = order(demo, SettledAxle("front", ("OB-STD",), "OB-R-28022")).mass_kg
    assert told is not None
    assert told.nominal_value == pytest.approx(2 * demo.rotors.mass_kg[demo.rotors.index["OB-R-28022"]])
    computed = order(demo, SettledAxle("rear", ("TW-SPORT",), "TW-R-34524")).mass_kg
    assert computed is not None
    assert computed.nominal_value == pytest.approx(18.6, abs=0.2)
    assert computed.std_dev > told.std_dev
    assert order(demo, SettledAxle("front", ("OB-STD",), None, "OB-P-F1")).mass_kg is None


def test_a_right_rotor_that_depends_on_the_package_stays_open(demo: Catalogue) -> None:
    packages = demo.packages
    right = packages.rotor_right.copy()
    right[packages.row[packages.index["TW-SPORT"], 0]] = -1
    rotor = packages.rotor.copy()
    rotor[packages.row[packages.index["TW-TRACK"], 0]] = demo.rotors.index["TW-R-36534-L"]
    right[packages.row[packages.index["TW-TRACK"], 0]] = demo.rotors.index["TW-R-36534-R"]
    changed = dataclasses.replace(demo, packages=dataclasses.replace(packages, rotor=rotor, rotor_right=right))
    axle = order(changed, SettledAxle("front", ("TW-SPORT", "TW-TRACK"), "TW-R-36534-L"))
    assert [line.what for line in axle.lines][:1] == ["rotor left"]
    assert "rotor right" not in [line.what for line in axle.lines]
    assert axle.open_questions == ("The right rotor depends on the package: TW-R-36534-L or TW-R-36534-R.",)


def test_a_part_that_no_package_has_is_a_callers_mistake(demo: Catalogue) -> None:
    with pytest.raises(ValueError, match="none of OB-STD has OB-R-30026 on its front axle"):
        order_sheet(demo, [SettledAxle("front", ("OB-STD",), "OB-R-30026")])


def test_the_wire_form_is_plain(demo: Catalogue) -> None:
    answer = order_sheet(demo, [SettledAxle("front", ("TW-SPORT",), "TW-R-36534-L", "TW-P-F3")]).to_json()
    assert answer["axles"][0]["lines"][0] == {"what": "rotor left", "part": "TW-R-36534-L", "quantity": 1}
    assert answer["axles"][0]["rotors_mass_kg"]["value"] == pytest.approx(26.0)
    assert answer["cautions"] == list(CAUTIONS)
