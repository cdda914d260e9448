"""The demo world holds every case that makes naming a brake package hard."""

import dataclasses
import itertools
import json
from collections import defaultdict
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
import pytest

from catalogue.columns import COLUMNS
from catalogue.load import DEMO, load_catalogue
from catalogue.mass import mass_from_geometry
from catalogue.schema import AXLES, OFFERS, STILL_MADE, UNKNOWN, Caliper, Catalogue, Pads, Rotor

CATALOGUE = load_catalogue()


@dataclass(frozen=True)
class Brake:
    """One package on one axle, with its parts."""

    package: str
    axle: str
    rotor: Rotor
    right: Rotor | None
    pads: Pads
    caliper: Caliper
    min_wheel_in: float


def brakes(catalogue: Catalogue, axle: str) -> dict[str, Brake]:
    packages = catalogue.packages
    found = {}
    for row in np.flatnonzero(packages.axle == AXLES.index(axle)):
        right = int(packages.rotor_right[row])
        key = packages.keys[packages.key[row]]
        found[key] = Brake(
            key,
            axle,
            catalogue.rotors.row(int(packages.rotor[row])),
            None if right == UNKNOWN else catalogue.rotors.row(right),
            catalogue.pads.row(int(packages.pads[row])),
            catalogue.calipers.row(int(packages.caliper[row])),
            float(packages.min_wheel_in[row]),
        )
    return found


FRONT, REAR = brakes(CATALOGUE, "front"), brakes(CATALOGUE, "rear")


def measurable(part: Rotor | Pads | Caliper, *but: str) -> tuple[object, ...]:
    """All that can be seen or measured on a part: no key, no mark, no colour, and not the names given."""
    hidden = {"part", "caliper", "marks", "colours", "material", *but}
    return tuple(getattr(part, field.name) for field in dataclasses.fields(part) if field.name not in hidden)


def seen(brake: Brake, *but: str) -> tuple[object, ...]:
    return (
        measurable(brake.rotor, *but),
        None if brake.right is None else measurable(brake.right, *but),
        measurable(brake.pads, *but),
        measurable(brake.caliper, *but),
        brake.min_wheel_in,
    )


def models_of(package: str) -> dict[tuple[str, str], str]:
    """How each model offers a package."""
    fitments = CATALOGUE.fitments
    rows = np.flatnonzero(fitments.package == CATALOGUE.packages.index[package])
    return {fitments.models[fitments.model[row]]: OFFERS[fitments.offered[row]] for row in rows}


def sold_together(*packages: str) -> bool:
    return bool(set.intersection(*(set(models_of(package)) for package in packages)))


def pairs(found: dict[str, Brake]) -> Iterator[tuple[Brake, Brake]]:
    return itertools.combinations(found.values(), 2)


def test_it_is_large_enough() -> None:
    assert len(CATALOGUE.fitments.lines) >= 4
    assert len(CATALOGUE.fitments.models) >= 12
    assert len(CATALOGUE.fitments) >= 45
    assert len(CATALOGUE.rotors) >= 25
    assert CATALOGUE.notices == ()


@pytest.mark.parametrize("size", [(330, 24), (330, 20), (348, 36), (345, 24), (374, 36)])
def test_it_has_the_sizes_of_the_check_values(size: tuple[float, float]) -> None:
    sizes = zip(CATALOGUE.rotors.diameter_mm, CATALOGUE.rotors.thickness_mm, strict=True)
    assert size in list(sizes)


def test_a_330x24_front_comes_slotted_drilled_and_plain() -> None:
    surfaces = {
        brake.rotor.surface
        for brake in FRONT.values()
        if (brake.rotor.diameter_mm, brake.rotor.thickness_mm) == (330, 24)
    }
    assert {"slotted", "drilled", "plain"} <= surfaces


def test_two_front_packages_of_one_size_differ_in_the_surface_alone() -> None:
    found = [
        {one.package, other.package}
        for one, other in pairs(FRONT)
        if one.rotor.surface != other.rotor.surface
        and seen(one, "surface") == seen(other, "surface")
        and sold_together(one.package, other.package)
    ]
    assert {"OB-SPORT-S", "OB-SPORT-D"} in found


def test_a_374x36_pair_differs_in_slots_and_dimples_and_shares_its_pads() -> None:
    one, other = FRONT["QN-CIRC-S"], FRONT["QN-CIRC-D"]
    assert {one.rotor.surface, other.rotor.surface} == {"slotted", "dimpled"}
    assert seen(one, "surface") == seen(other, "surface")
    assert one.pads == other.pads


def test_two_packages_are_the_same_to_every_gauge_and_differ_in_code_and_mark() -> None:
    one, other = "TW-HEAVY-A", "TW-HEAVY-B"
    assert seen(FRONT[one]) == seen(FRONT[other])
    assert seen(REAR[one]) == seen(REAR[other])
    assert FRONT[one].rotor.part != FRONT[other].rotor.part
    assert not set(FRONT[one].rotor.marks) & set(FRONT[other].rotor.marks)
    assert sold_together(one, other)
    assert "dealer" in models_of(other).values()  # there no record knows of it
    assert "optional" in models_of(other).values()  # here one does


def test_a_rear_345x24_is_shared_by_three_packages_whose_fronts_differ() -> None:
    sharing = [brake.package for brake in REAR.values() if brake.rotor.part == "QN-R-34524"]
    assert len(sharing) >= 3
    assert len({REAR[package].pads.part for package in sharing}) == 1
    assert len({FRONT[package].rotor.part for package in sharing}) == len(sharing)


def test_on_one_model_that_rear_leaves_just_two_packages() -> None:
    leaves = [
        package for package in ("QN-PLUS", "QN-CIRC-S", "QN-CIRC-D") if ("Quennith", "Pellinquay") in models_of(package)
    ]
    assert leaves == ["QN-PLUS", "QN-CIRC-S"]


def test_sizes_lie_two_to_four_millimetres_apart() -> None:
    gaps = {
        abs(one.rotor.diameter_mm - other.rotor.diameter_mm)
        for one, other in itertools.chain(pairs(FRONT), pairs(REAR))
        if one.rotor.bolt_circle_mm == other.rotor.bolt_circle_mm
    }
    assert {2, 3} <= gaps
    assert any(2 <= gap <= 4 for gap in gaps)


def test_a_worn_thick_rotor_reads_like_a_new_thin_one_on_the_same_model() -> None:
    thin, thick = FRONT["OB-TOUR-1"].rotor, FRONT["OB-TOUR-2"].rotor
    assert measurable(thin, "thickness_mm", "min_thickness_mm", "machine_to_mm", "mass_kg") == measurable(
        thick, "thickness_mm", "min_thickness_mm", "machine_to_mm", "mass_kg"
    )
    assert thick.min_thickness_mm is not None
    assert thick.min_thickness_mm <= thin.thickness_mm < thick.thickness_mm
    assert sold_together("OB-TOUR-1", "OB-TOUR-2")


def test_look_alike_pads_differ_in_height_on_one_rotor() -> None:
    one, other = FRONT["QN-COMFORT"], FRONT["QN-TOW"]
    assert one.rotor == other.rotor
    assert measurable(one.pads, "height_mm", "shape_number") == measurable(other.pads, "height_mm", "shape_number")
    assert one.pads.height_mm != other.pads.height_mm
    assert sold_together("QN-COMFORT", "QN-TOW")


def test_one_option_code_means_different_packages_on_different_models() -> None:
    fitments = CATALOGUE.fitments
    meanings = defaultdict(set)
    for code, package in zip(fitments.code, fitments.package, strict=True):
        if code != UNKNOWN:
            meanings[fitments.codes[code]].add(CATALOGUE.packages.keys[package])
    assert len(meanings["BK20"]) >= 2


@pytest.mark.parametrize("package", ["QN-PLUS", "YX-SPORT"])
def test_one_package_is_standard_here_optional_there_and_dealer_fitted_elsewhere(package: str) -> None:
    assert set(models_of(package).values()) == {"standard", "optional", "dealer"}


def test_no_record_knows_a_dealer_fitted_package() -> None:
    fitments = CATALOGUE.fitments
    dealer = fitments.offered == OFFERS.index("dealer")
    assert dealer.any()
    assert (fitments.code[dealer] == UNKNOWN).all()


def test_a_rotor_changes_in_mid_year() -> None:
    fitments = CATALOGUE.fitments
    ends = np.flatnonzero(fitments.built_to != UNKNOWN)
    changes = [
        (before, after)
        for before, after in itertools.product(ends, range(len(fitments)))
        if fitments.model[before] == fitments.model[after]
        and fitments.built_from[after] == fitments.built_to[before] + 1
        and fitments.built_from[after] % 12 != 0
        and fitments.year_to[before] == fitments.year_from[after]
    ]
    assert changes
    for before, after in changes:
        old, new = (FRONT[CATALOGUE.packages.keys[fitments.package[row]]].rotor for row in (before, after))
        assert old.part != new.part


def test_calipers_of_different_packages_share_colours() -> None:
    colours = [set(caliper) for caliper in CATALOGUE.calipers.colours]
    overlapping = [(one, other) for one, other in itertools.combinations(colours, 2) if one & other and one != other]
    assert overlapping


def test_left_and_right_rotors_differ_in_the_mark_alone() -> None:
    for package in ("TW-SPORT", "YX-CERAMIC"):
        brake = FRONT[package]
        assert brake.right is not None
        assert measurable(brake.rotor) == measurable(brake.right)
        assert set(brake.rotor.marks).isdisjoint(brake.right.marks)


def test_marks_are_on_most_parts_and_name_one_part_each() -> None:
    marks = [mark for table in (CATALOGUE.rotors, CATALOGUE.pads) for listed in table.marks for mark in listed]
    assert len(marks) == len(set(marks))
    marked = [bool(listed) for listed in CATALOGUE.rotors.marks]
    assert 0.8 < np.mean(marked) < 1


def test_extras_and_alternatives_are_there() -> None:
    assert {"wear sensor", "hardware", "bolt", "hose"} <= {extra.kind for extra in CATALOGUE.extras}
    rotors = CATALOGUE.rotors.index
    assert any(each.replaces in rotors and each.surface is not None for each in CATALOGUE.alternatives)
    assert any(each.replaces in CATALOGUE.pads.index for each in CATALOGUE.alternatives)


def test_some_cells_are_empty_and_some_cars_go_on_being_made() -> None:
    assert np.isnan(CATALOGUE.rotors.mass_kg).any()
    assert np.isnan(CATALOGUE.rotors.ring_inner_mm).any()
    assert np.isnan(CATALOGUE.fitments.share).any()
    assert (CATALOGUE.fitments.year_to == STILL_MADE).any()
    assert set(FRONT) - set(REAR) == {"NV-STD"}  # drums behind


def test_every_rotor_fits_its_wheel_and_carries_its_pads() -> None:
    for brake in (*FRONT.values(), *REAR.values()):
        assert brake.rotor.diameter_mm < brake.min_wheel_in * 25.4 - 80
        if brake.rotor.ring_inner_mm is not None:
            assert brake.pads.height_mm is not None
            assert brake.pads.height_mm <= (brake.rotor.diameter_mm - brake.rotor.ring_inner_mm) / 2


def test_every_mass_agrees_with_the_geometry() -> None:
    for row in range(len(CATALOGUE.rotors)):
        rotor = CATALOGUE.rotors.row(row)
        if rotor.mass_kg is not None:
            mass = mass_from_geometry(rotor)
            assert abs(rotor.mass_kg - mass.nominal_value) < 2 * mass.std_dev


def test_the_data_package_describes_the_columns_that_are_loaded() -> None:
    package = json.loads((DEMO / "datapackage.json").read_text(encoding="utf-8"))
    resources = {resource["path"]: resource["schema"] for resource in package["resources"]}
    assert set(resources) == set(COLUMNS)
    for file, columns in COLUMNS.items():
        described = {field["name"]: field for field in resources[file]["fields"]}
        assert list(described) == [column.name for column in columns]
        for column in columns:
            constraints = described[column.name].get("constraints", {})
            assert bool(constraints.get("required")) == column.required, (file, column.name)
            assert tuple(constraints.get("enum", ())) == column.words, (file, column.name)
        header = (DEMO / file).read_text(encoding="utf-8").splitlines()[0]
        assert header.split(",") == list(described)
