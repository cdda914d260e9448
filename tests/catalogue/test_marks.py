"""A number read off a part names it: dropped blanks and a slip are forgiven, a foreign number is not believed."""

from typing import Any

import pytest

from catalogue import Catalogue, load_catalogue
from tests.catalogue.conftest import Build
from tests.catalogue.test_check_values import by_package, rotor
from tests.catalogue.test_identification import asked


@pytest.fixture
def catalogue(build: Build) -> Catalogue:
    def package(name: str, marks: str, shape: str) -> dict[str, Any]:
        return {
            "front": {
                "rotor": rotor(330, 24, part=name, marks=marks),
                "pads": {"part": f"P{name}", "shape_number": shape},
            }
        }

    return build(
        {
            "A": package("R-100", "44017 K;AB 12", "24110"),
            "B": package("R-200", "55029 M", "24220"),
            "C": package("R-300", "", "24330"),
        }
    )


@pytest.mark.parametrize("mark", ["44017 K", "44017k", "44017-K", "44O17 K", "AB12", "R-100"])
def test_a_listed_number_settles(catalogue: Catalogue, mark: str) -> None:
    assert by_package(asked(catalogue, axles={"front": {"rotor_mark": mark}}))["A"] > 0.95


@pytest.mark.parametrize("mark", ["44018 K", "4401 K", "444017 K"])
def test_one_character_off_still_speaks_for_it(catalogue: Catalogue, mark: str) -> None:
    found = by_package(asked(catalogue, axles={"front": {"rotor_mark": mark}}))
    assert max(found, key=lambda package: found[package]) == "A"
    assert found["A"] > 0.85


def test_a_number_nobody_knows_speaks_for_the_part_without_listed_ones(catalogue: Catalogue) -> None:
    found = asked(catalogue, axles={"front": {"rotor_mark": "99999"}})
    mass = by_package(found)
    assert mass["C"] > 2 * mass["A"]
    assert found.none_of_these > 0.02
    assert "doesn't know" in found.candidates[0].why[0].text


def test_the_mark_beats_a_measurement(catalogue: Catalogue) -> None:
    found = by_package(asked(catalogue, axles={"front": {"rotor_mark": "55029 M", "diameter_mm": 333.5}}))
    assert found["B"] > 0.9


def test_pad_shape_number_settles_pads(catalogue: Catalogue) -> None:
    assert by_package(asked(catalogue, axles={"front": {"pad_shape_number": "24220"}}))["B"] > 0.95


def test_the_number_of_an_alternative_names_the_rotor_it_replaces() -> None:
    demo = load_catalogue()
    alternative = next(each for each in demo.alternatives if each.replaces in demo.rotors.index)
    found = asked(demo, axles={"front": {"rotor_mark": alternative.part}})
    assert found.parts[0].options[0].part == alternative.replaces


def test_a_listed_number_settles_however_many_parts_there_are(build: Build) -> None:
    """Of 400 parts of one size, in a line or in none, the one that carries the number: it beats every measurement."""
    packages = {
        f"K{number}": {"front": {"rotor": rotor(330, 24, part=f"R-{number}", marks=f"{7000 + number} Z")}}
        for number in range(400)
    }
    found = asked(build(packages), axles={"front": {"rotor_mark": "7123 Z"}})
    assert by_package(found)["K123"] > 0.98
    assert found.verdict == "ready"


def test_one_foreign_number_in_a_thousand_parts_is_one_of_all_those_known(build: Build) -> None:
    """A part of 400 alike carries the number with 0.8 x 0.97, each of the others with 0.001 shared by 800 numbers."""
    packages = {
        f"K{number}": {"front": {"rotor": rotor(330, 24, part=f"R-{number}", marks=f"{7000 + number} Z")}}
        for number in range(400)
    }
    found = asked(build(packages), axles={"front": {"rotor_mark": "7123 Z"}})
    own, other = 0.8 * 0.97, 0.001 / 800
    inside = own / 400 + other * 399 / 400
    assert by_package(found)["K123"] == pytest.approx(0.98 * own / 400 / (0.98 * inside + 0.02 * other), rel=1e-6)


def test_the_number_of_another_line_s_part_fits_nothing_of_this_one() -> None:
    demo = load_catalogue()
    other = next(part for part in demo.rotors.part if part.startswith("QN-R"))
    found = asked(demo, vehicle={"line": "Ostrabel"}, axles={"front": {"rotor_mark": other}})
    assert found.none_of_these > 0.5
    assert found.verdict == "no-match"


def test_a_number_and_readings_that_differ_stop_everything(build: Build) -> None:
    packages = {
        name: {"front": {"rotor": rotor(size, 24, part=f"R-{name}", marks=mark)}}
        for name, size, mark in (("A", 300, "1234"), ("B", 330, "5678"))
    }
    read = {"rotor_mark": "5678", "diameter_mm": 300.1, "height_mm": 45, "thickness_mm": 23.5, "bolt_count": 5}
    found = asked(build(packages), axles={"front": read})
    assert any({"rotor_mark", "diameter_mm"} == set(conflict.between) for conflict in found.conflicts)
    assert {part.verdict for part in found.parts} <= {"check", "decode", "no-match"}
    assert found.order.axles == ()
