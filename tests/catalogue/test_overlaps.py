"""What measuring cannot tell apart, on the demo world and on invented catalogues."""

import dataclasses
import json
import math
from pathlib import Path

import numpy as np
import pytest
from scipy import stats

from catalogue.evidence import read_evidence
from catalogue.generate import generate_catalogue
from catalogue.identify import identify
from catalogue.load import load_catalogue
from catalogue.overlaps import Group, Overlaps, Pair, overlaps
from catalogue.schema import AXLES, Catalogue
from catalogue.separation import TOLD_APART_STDS, Separations


@pytest.fixture(scope="module")
def demo() -> Catalogue:
    return load_catalogue()


@pytest.fixture(scope="module")
def found(demo: Catalogue) -> Overlaps:
    return overlaps(demo)


def group(found: Overlaps, package: str, axle: str) -> Group:
    return next(each for each in found.groups if package in each.packages and each.axle == axle)


def pair(found: Overlaps, packages: set[str], axle: str) -> Pair:
    return next(each for each in found.pairs if set(each.packages) == packages and each.axle == axle)


def test_packages_that_nothing_measurable_separates_are_a_group(found: Overlaps) -> None:
    twins = group(found, "TW-HEAVY-A", "front")
    assert set(twins.packages) == {"TW-HEAVY-A", "TW-HEAVY-B"}
    assert {"rotor_mark", "pad_mark"} <= set(twins.resolved_by)
    assert set(twins.same_parts) == {"rear rotor", "rear pads"}


def test_the_option_code_is_not_named_where_a_dealer_fits_one_of_them(demo: Catalogue, found: Overlaps) -> None:
    assert "option_code" not in group(found, "TW-HEAVY-A", "front").resolved_by
    offered = np.ones_like(demo.fitments.offered)
    code = np.arange(len(demo.fitments))
    fitments = dataclasses.replace(
        demo.fitments, offered=offered, code=code, codes=tuple(f"Z{number}" for number in code)
    )
    by_records = overlaps(dataclasses.replace(demo, fitments=fitments))
    assert "option_code" in group(by_records, "TW-HEAVY-A", "front").resolved_by


def test_one_code_for_two_packages_of_a_model_resolves_nothing_but_the_month_does(found: Overlaps) -> None:
    rear = group(found, "OB-TOUR-1", "rear")
    assert set(rear.packages) == {"OB-TOUR-1", "OB-TOUR-2"}
    assert rear.resolved_by == ("built",)


def test_a_shared_rear_rotor_leaves_its_packages_open_there(found: Overlaps) -> None:
    rear = group(found, "QN-PLUS", "rear")
    assert set(rear.packages) == {"QN-PLUS", "QN-CIRC-S", "QN-CIRC-D"}
    assert set(rear.same_parts) == {"rear rotor", "rear pads"}
    shared = next(each for each in found.shared_parts if each.part == "QN-R-34524")
    assert (shared.axle, shared.kind, set(shared.packages)) == ("rear", "rotor", set(rear.packages))


def test_the_other_axle_tells_apart_what_this_one_cannot(found: Overlaps) -> None:
    assert {"surface", "rotor_mark"} <= set(group(found, "OB-SPORT-S", "rear").by_other_axle)
    assert "diameter_mm" not in group(found, "QN-PLUS", "rear").by_other_axle  # two of the three are one size
    assert group(found, "TW-HEAVY-A", "front").by_other_axle == ()


@pytest.mark.parametrize("axle", ["front", "rear"])
def test_the_groups_are_those_that_an_identification_finds(demo: Catalogue, found: Overlaps, axle: str) -> None:
    groups = [each for each in found.groups if each.axle == axle]
    assert groups
    for each in groups:
        row = demo.packages.row[demo.packages.index[each.packages[0]], AXLES.index(axle)]
        diameter_mm = float(demo.rotors.diameter_mm[demo.packages.rotor[row]])
        evidence = {"vehicle": {"line": each.line}, "axles": {axle: {"diameter_mm": diameter_mm}}}
        alike = [
            set(other.packages)
            for other in identify(demo, read_evidence(evidence)).cannot_tell_apart
            if other.by == "any reading"
        ]
        assert set(each.packages) in alike


def test_a_pair_that_differs_in_its_face_says_so_and_keeps_its_pads(found: Overlaps) -> None:
    faces = pair(found, {"QN-CIRC-S", "QN-CIRC-D"}, "front")
    assert [each.evidence for each in faces.separated_by] == ["surface", "rotor_mark"]
    assert faces.needs_std_mm is None
    assert "front pads" in faces.same_parts
    assert faces.models == ("Umbrithe",)


def test_worn_thick_and_new_thin_are_told_apart_over_the_lip_alone(found: Overlaps) -> None:
    worn = pair(found, {"OB-TOUR-1", "OB-TOUR-2"}, "front")
    assert worn.needs_std_mm is None
    lip = next(each for each in worn.separated_by if each.evidence == "thickness_mm")
    assert (lip.kind, lip.gap) == ("lip", 2.0)


def test_what_a_reading_needs_is_what_keeps_it_right_95_times_in_100(found: Overlaps) -> None:
    # scipy.stats: halfway between two nominals, an error larger than half the gap is the wrong one.
    close = pair(found, {"TW-SPORT", "TW-TRACK"}, "front")
    diameter = next(each for each in close.separated_by if each.evidence == "diameter_mm")
    assert diameter.gap == 3.0
    assert diameter.needs_std is not None
    assert stats.norm.cdf(diameter.gap / 2, scale=diameter.needs_std) == pytest.approx(0.95, abs=1e-4)


def test_a_coarser_reading_leaves_more_pairs_open(demo: Catalogue) -> None:
    counts = [len(overlaps(demo, precision_mm=precision_mm).pairs) for precision_mm in (0.1, 0.65, 1.0, 3.0, math.inf)]
    assert counts == sorted(counts)
    assert counts[0] < counts[1] < counts[-1]
    assert overlaps(demo, precision_mm=math.inf).easy_pairs == 0


@pytest.mark.parametrize("bad", [0.0, -1.0, math.nan])
def test_a_precision_must_be_a_length(demo: Catalogue, bad: float) -> None:
    with pytest.raises(ValueError, match="precision_mm: needs a positive length"):
        overlaps(demo, precision_mm=bad)


def test_the_matrix_agrees_with_the_pairs(demo: Catalogue) -> None:
    whole = overlaps(demo, precision_mm=math.inf)
    matrices = {(matrix.line, matrix.axle): matrix for matrix in whole.matrices}
    assert len(matrices) == 10
    for each in whole.pairs:
        matrix = matrices[each.line, each.axle]
        one, other = (matrix.packages.index(package) for package in each.packages)
        assert matrix.needs_std_mm[one, other] == matrix.needs_std_mm[other, one]
        assert matrix.needs_std_mm[one, other] == pytest.approx(each.needs_std_mm or 0.0)
        assert matrix.by_reading[one, other] == any(each.kind != "number" for each in each.separated_by)


def test_separations_agree_with_a_plain_loop_over_cells(tmp_path: Path) -> None:
    generate_catalogue(tmp_path, fitments=300, seed=5)
    catalogue = load_catalogue(tmp_path)
    rows = np.flatnonzero(catalogue.packages.axle == 0)[:12]
    separations = Separations(catalogue, rows)
    rotors = [catalogue.rotors.row(int(catalogue.packages.rotor[row])) for row in rows]
    for one, first in enumerate(rotors):
        for other, second in enumerate(rotors):
            for name in ("diameter_mm", "hat_mm", "centre_bore_mm", "height_mm"):
                a, b = getattr(first, name), getattr(second, name)
                gap = 0.0 if a is None or b is None else abs(a - b)
                assert separations.lengths_mm[name][one, other] == pytest.approx(gap if gap >= 0.05 else 0.0)
            assert separations.looks["surface"][one, other] == (first.surface != second.surface)
            thin, thick = sorted((first, second), key=lambda rotor: rotor.thickness_mm)
            least_mm = thick.thickness_mm - 2 if thick.min_thickness_mm is None else thick.min_thickness_mm
            gap = max(least_mm - thin.thickness_mm, 0.0)
            assert separations.lengths_mm["thickness_mm"][one, other] == pytest.approx(gap)


def test_a_cell_that_nobody_filled_separates_nothing(demo: Catalogue) -> None:
    height_mm = np.full_like(demo.rotors.height_mm, np.nan)
    blind = dataclasses.replace(demo, rotors=dataclasses.replace(demo.rotors, height_mm=height_mm))
    for each in overlaps(blind, precision_mm=math.inf).pairs:
        assert "height_mm" not in [separation.evidence for separation in each.separated_by]


def test_the_wire_form_and_the_tables_say_the_same(found: Overlaps) -> None:
    answer = json.loads(json.dumps(found.to_json(), allow_nan=False))
    text = found.to_text()
    assert len(answer["pairs"]) == len(found.pairs)
    for each in answer["cannot_tell_apart"]:
        assert " / ".join(each["packages"]) in text
    assert answer["pairs"][0]["needs_std_mm"] is None
    assert pytest.approx(2 * stats.norm.ppf(0.95), abs=1e-4) == TOLD_APART_STDS
