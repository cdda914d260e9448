"""What holds of the ranking whatever was read."""

import json
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from catalogue import Catalogue, identify, load_catalogue, read_evidence
from catalogue.assumptions import Assumptions, default_assumptions
from catalogue.checks import possible_checks
from catalogue.field import field_of
from catalogue.next_check import gain_bits
from catalogue.observation import AxleEvidence
from catalogue.outcome import NormalOutcome
from catalogue.posterior import posterior
from catalogue.prepare import prepare
from catalogue.schema import SURFACES
from tests.catalogue.conftest import write_catalogue
from tests.catalogue.test_check_values import rotor
from tests.catalogue.trials import probabilities_of

DEMO = load_catalogue()
ASSUMED = default_assumptions()
QUICK = settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])

sizes = st.floats(200, 450)
readings = st.fixed_dictionaries(
    {},
    optional={
        "diameter_mm": sizes,
        "thickness_mm": st.one_of(st.floats(5, 45), st.lists(st.floats(5, 45), min_size=1, max_size=4)),
        "height_mm": st.floats(20, 90),
        "centre_bore_mm": st.floats(40, 120),
        "surface": st.sampled_from(SURFACES),
        "bolt_count": st.integers(3, 8),
        "condition": st.sampled_from(["new", "used", "unknown"]),
        "thickness_over": st.sampled_from(["lip", "swept", "unknown"]),
        "min_thickness_mark_mm": st.floats(4, 200),
        "mass_kg": st.floats(1, 20),
        "wheel_in": st.integers(13, 22),
        "pistons": st.integers(1, 8),
    },
)


def answer(catalogue: Catalogue, axles: dict[str, Any]) -> dict[tuple[int, str], float]:
    return probabilities_of(posterior(prepare(catalogue), read_evidence({"axles": axles}), ASSUMED))


@QUICK
@given(front=readings, rear=readings, axle=st.sampled_from(["front", "rear", "unknown"]))
def test_probabilities_sum_to_one(front: dict[str, Any], rear: dict[str, Any], axle: str) -> None:
    found = answer(DEMO, {axle: front} if axle == "unknown" else {"front": front, "rear": rear})
    assert sum(found.values()) == pytest.approx(1, abs=1e-9)
    assert min(found.values()) >= 0


@QUICK
@given(read=readings)
def test_an_impossible_candidate_changes_no_order(
    read: dict[str, Any], tmp_path_factory: pytest.TempPathFactory
) -> None:
    """One that no reading can be of is added; the others keep their odds, the population set aside."""
    packages = {
        "A": {"front": {"rotor": rotor(330, 24)}},
        "B": {"front": {"rotor": rotor(348, 30)}},
        "C": {"front": {"rotor": rotor(374, 36)}},
    }
    fitments = [
        {"line": "L", "model": "M", "year_from": 2015, "package": package, "share": 0.3} for package in packages
    ]
    impossible = {"line": "L", "model": "M", "year_from": 2015, "package": "C", "year_to": 2016, "share": 0.05}
    found = []
    for rows in (fitments, [*fitments, impossible]):
        folder = tmp_path_factory.mktemp("catalogue")
        catalogue = load_catalogue(write_catalogue(folder, packages, rows))
        evidence = read_evidence({"vehicle": {"year": 2020}, "axles": {"front": {"diameter_mm": 350, **read}}})
        found.append(probabilities_of(posterior(prepare(catalogue), evidence, ASSUMED)))
    for key in found[0]:
        assert found[1][key] == pytest.approx(found[0][key], rel=1e-9, abs=1e-12)


@QUICK
@given(read=readings, order=st.randoms(use_true_random=False))
def test_order_of_evidence_is_irrelevant(read: dict[str, Any], order: Any) -> None:
    shuffled = list(read.items())
    order.shuffle(shuffled)
    thickness = read.get("thickness_mm")
    turned = dict(shuffled) | ({"thickness_mm": thickness[::-1]} if isinstance(thickness, list) else {})
    first, second = answer(DEMO, {"front": read}), answer(DEMO, {"front": turned})
    assert all(second[key] == pytest.approx(value, abs=1e-9) for key, value in first.items())


@QUICK
@given(read=readings)
def test_inches_say_the_same_as_millimetres(read: dict[str, Any]) -> None:
    lengths = {"diameter_mm", "height_mm", "centre_bore_mm", "min_thickness_mark_mm"}
    inches = {key: f"{value / 25.4:.12f} in" if key in lengths else value for key, value in read.items()}
    first, second = answer(DEMO, {"front": read}), answer(DEMO, {"front": inches})
    assert all(second[key] == pytest.approx(value, abs=1e-7) for key, value in first.items())


@QUICK
@given(front=readings, rear=readings, line=st.sampled_from([None, "Ostrabel", "Thramwell", "nowhere"]))
def test_any_evidence_gets_a_whole_answer(front: dict[str, Any], rear: dict[str, Any], line: str | None) -> None:
    """Numbers are finite, JSON is plain, and what is listed and what is not make one."""
    document = {"vehicle": {"line": line}, "axles": {"front": front, "rear": rear}}
    answer_json = identify(DEMO, read_evidence(document)).to_json()
    json.dumps(answer_json, allow_nan=False)
    listed = sum(candidate["probability"] for candidate in answer_json["candidates"])
    whole = listed + answer_json["others"]["probability"] + answer_json["none_of_these"]
    assert whole == pytest.approx(1, abs=1e-9)


LENGTH_CELLS = (
    *("diameter_mm", "thickness_mm", "min_thickness_mm", "machine_to_mm", "height_mm", "centre_bore_mm"),
    *("bolt_circle_mm", "ring_inner_mm", "hat_mm"),
)


def in_metres(assumptions: Assumptions) -> Assumptions:
    """Return the same assumptions with every length in metres."""
    values = vars(assumptions).copy()
    for name, value in values.items():
        if name.endswith("_mm") and isinstance(value, float):
            values[name] = value / 1000
    values["reading_std_mm"] = {
        key: {tool: std / 1000 for tool, std in table.items()} for key, table in assumptions.reading_std_mm.items()
    }
    values["tolerance_mm"] = {key: value / 1000 for key, value in assumptions.tolerance_mm.items()}
    return Assumptions(**values)


@pytest.mark.parametrize("seed", range(6))
def test_millimetres_or_metres_inside_change_no_posterior(seed: int, tmp_path: Path) -> None:
    """With cells missing: a reading that a row cannot explain by its own cell is weighed by a density, whose unit
    must not matter."""
    random = np.random.default_rng(seed)
    tables: dict[str, dict[str, dict[str, Any]]] = {"mm": {}, "m": {}}
    for name in "ABCDE":
        cells = rotor(float(random.integers(300, 380)), float(random.integers(20, 36)))
        cells |= {"height_mm": float(random.integers(40, 60)), "centre_bore_mm": float(random.integers(57, 75))}
        for missing in random.choice(["height_mm", "centre_bore_mm", "min_thickness_mm"], size=1):
            del cells[str(missing)]
        tables["mm"][name] = {"front": {"rotor": cells}}
        metres = {key: value / 1000 if key in LENGTH_CELLS else value for key, value in cells.items()}
        tables["m"][name] = {"front": {"rotor": metres}}
    read = {"diameter_mm": 341.0, "height_mm": 50.2, "centre_bore_mm": 66.1, "min_thickness_mark_mm": 26.0}
    answers = []
    for unit, factor, assumptions in (("mm", 1.0, ASSUMED), ("m", 1000.0, in_metres(ASSUMED))):
        folder = tmp_path / unit
        folder.mkdir()
        catalogue = load_catalogue(write_catalogue(folder, tables[unit]))
        axle: dict[str, Any] = {key: value / factor for key, value in read.items()}
        axle["thickness_mm"] = {"value": 27.1 / factor, "std": 0.15 / factor}
        evidence = read_evidence({"axles": {"front": axle}})
        answers.append(probabilities_of(posterior(prepare(catalogue), evidence, assumptions)))
    assert all(answers[1][key] == pytest.approx(value, abs=1e-6) for key, value in answers[0].items())


@QUICK
@given(std=st.floats(0.05, 5), sharper=st.floats(0.1, 0.95))
def test_a_sharper_reading_never_lowers_the_expected_information(std: float, sharper: float) -> None:
    """The reading itself, without gross errors, which no sharpness mends."""
    evidence = read_evidence({"vehicle": {"line": "Quennith"}})
    field = field_of(posterior(prepare(DEMO), evidence, ASSUMED), evidence)
    checks = possible_checks(prepare(DEMO), ("front", field.rows["front"]), AxleEvidence(), ASSUMED)
    check = next(each for each in checks if each.name == "diameter_mm")
    assert isinstance(check.outcome, NormalOutcome)
    nominal = check.outcome.mean
    classes = np.arange(len(field))
    gains = []
    for each in (std, std * sharper):
        outcome = NormalOutcome(nominal, np.full(len(nominal), each), check.outcome.spread, 1e-9)
        sharp = type(check)(check.name, check.axle, check.group, outcome, check.known)
        gains.append(gain_bits(field.mass, classes, sharp))
    assert gains[1] >= gains[0] - QUADRATURE_BITS


QUADRATURE_BITS = 0.02
"""Seven outcomes a group stand for an integral: so much may a gain be off."""
