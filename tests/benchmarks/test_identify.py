"""Ranking in a large catalogue: processor time beside the plain alternatives, in one run, with equal answers.

Run with ``pytest tests/benchmarks/test_identify.py --benchmark-enable``. Without it each runs once, on a small
catalogue: then only the answers are compared.
"""

import math
import time
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from scipy import stats

from catalogue.assumptions import default_assumptions
from catalogue.evidence import read_evidence
from catalogue.generate import generate_catalogue
from catalogue.identify import identify
from catalogue.load import load_catalogue
from catalogue.population import Spread
from catalogue.prepare import prepare, rotor_spreads
from catalogue.schema import UNKNOWN, Catalogue

FITMENTS = 100_000
FEW_FITMENTS = 2_000
LIMIT_S = 0.010
"""What the project asks of the median in 100,000 fitments on one core."""

READ_MM = {"diameter_mm": (330.2, 0.4), "height_mm": (48.0, 0.5)}
SIZES = {"axles": {"front": {key: {"value": value, "std": std} for key, (value, std) in READ_MM.items()}}}
CASES: dict[str, dict[str, Any]] = {
    "sizes": SIZES,
    "one line": {"vehicle": {"line": "L00001"}, "axles": {"front": {"diameter_mm": 330.2, "thickness_mm": 27.1}}},
    "much evidence": {
        "axles": {
            "front": {
                "diameter_mm": 330.2,
                "thickness_mm": [27.1, 27.0, 27.05],
                "surface": "drilled",
                "bolt_circle_mm": 112,
                "caliper_mount": "fixed",
                "pistons": 4,
            },
            "rear": {"diameter_mm": 300},
        }
    },
    "unknown axle": {"axles": {"unknown": {"diameter_mm": 330.2, "thickness_mm": 27.1}}},
    "photo": {
        "axles": {
            "front": {
                "measurements": [
                    {
                        "dimensions": {
                            "diameter_mm": {"value": 330.5, "std": 0.5},
                            "hat_mm": {"value": 170, "std": 1},
                            "thickness_mm": {"value": 23.5, "std": 0.4},
                        },
                        "covariance": {
                            "keys": ["diameter_mm", "hat_mm", "thickness_mm"],
                            "matrix": [[0.25, 0.2, 0.05], [0.2, 1, 0.05], [0.05, 0.05, 0.16]],
                        },
                        "surface": {"plain": 0.9, "slotted": 0.1},
                        "bolt_count": {"value": 5, "probability": 0.98},
                    }
                ]
            }
        }
    },
}
TIMED = {"timer": time.process_time, "min_rounds": 15, "warmup": True, "warmup_iterations": 2}


@pytest.fixture(scope="module")
def catalogue(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> Catalogue:
    return generated(
        tmp_path_factory.mktemp("catalogue"),
        FITMENTS if request.config.getoption("benchmark_enable") else FEW_FITMENTS,
    )


def generated(folder: Path, fitments: int) -> Catalogue:
    generate_catalogue(folder, fitments=fitments, seed=1)
    return load_catalogue(folder)


def answer(catalogue: Catalogue, document: dict[str, Any]) -> dict[str, Any]:
    return identify(catalogue, read_evidence(document)).to_json()


@pytest.mark.parametrize("case", list(CASES))
@pytest.mark.benchmark(group="ranking and verdicts", **TIMED)
def test_a_ranking_takes_less_than_ten_milliseconds(benchmark: Any, catalogue: Catalogue, case: str) -> None:
    found = benchmark(identify, catalogue, read_evidence(CASES[case]))
    assert 0 < found.none_of_these < 1
    if benchmark.enabled:
        assert benchmark.stats.stats.median < LIMIT_S


@pytest.mark.parametrize("case", list(CASES))
@pytest.mark.benchmark(group="the whole document, with a reason for each candidate", **TIMED)
def test_the_whole_document_adds_up(benchmark: Any, catalogue: Catalogue, case: str) -> None:
    found = benchmark(answer, catalogue, CASES[case])
    listed = sum(candidate["probability"] for candidate in found["candidates"])
    assert listed + found["others"]["probability"] + found["none_of_these"] == pytest.approx(1, abs=1e-6)


@pytest.mark.benchmark(group="sizes alone", **TIMED)
def test_the_ranking_for_comparison(benchmark: Any, catalogue: Catalogue) -> None:
    evidence = read_evidence(SIZES)
    assert len(benchmark(identify, catalogue, evidence).to_json()["candidates"]) > 0


@pytest.mark.benchmark(group="sizes alone", timer=time.process_time)
def test_a_plain_loop_over_the_rows_for_comparison(benchmark: Any, catalogue: Catalogue) -> None:
    assert_same(catalogue, benchmark.pedantic(plain_loop, args=(catalogue,), rounds=3))


@pytest.mark.benchmark(group="sizes alone", timer=time.process_time)
def test_calls_of_a_statistics_library_for_comparison(benchmark: Any, catalogue: Catalogue) -> None:
    assert_same(catalogue, benchmark.pedantic(library_calls, args=(catalogue,), rounds=3))


def test_time_grows_no_faster_than_the_catalogue(request: pytest.FixtureRequest, tmp_path: Path) -> None:
    sizes = (100_000, 1_000_000) if request.config.getoption("benchmark_enable") else (500, 5_000)
    small_s, large_s = (fastest_s(generated(tmp_path / str(size), size)) for size in sizes)
    assert large_s < small_s * (sizes[1] / sizes[0])


def fastest_s(catalogue: Catalogue) -> float:
    answer(catalogue, CASES["much evidence"])
    times = []
    for _ in range(5):
        start = time.process_time()
        answer(catalogue, CASES["much evidence"])
        times.append(time.process_time() - start)
    return min(times)


def assert_same(catalogue: Catalogue, posterior: tuple[np.ndarray[Any, Any], float]) -> None:
    """The alternative must have worked out the same probabilities."""
    probability, none = posterior
    found = answer(catalogue, SIZES)
    assert found["none_of_these"] == pytest.approx(none, abs=1e-9)
    best = sorted(probability, reverse=True)[: len(found["candidates"])]
    assert [candidate["probability"] for candidate in found["candidates"]] == pytest.approx(best, abs=1e-6)


def plain_loop(catalogue: Catalogue) -> tuple[np.ndarray[Any, Any], float]:
    """Weigh fitment by fitment in plain Python: the same densities, written out."""
    assumed, prepared = default_assumptions(), prepare(catalogue)
    spreads = rotor_spreads(prepared, "front", assumed)
    weights, kin = [], []
    for package, prior in zip(catalogue.fitments.package, prepared.weight, strict=True):
        row = catalogue.packages.row[package, 0]
        weight = differing = 0.0 if row == UNKNOWN else float(prior)
        if weight:
            for key, (read_mm, std_mm) in READ_MM.items():
                nominal_mm = getattr(catalogue.rotors, key)[catalogue.packages.rotor[row]]
                spread = spreads[key]
                unknown = density(read_mm, spread.mean, math.hypot(std_mm, spread.std))
                sound = unknown
                if not math.isnan(nominal_mm):
                    sound = density(read_mm, nominal_mm, math.hypot(std_mm, assumed.tolerance_mm[key]))
                of_row = with_gross_errors(sound, read_mm, std_mm, spread)
                weight *= of_row
                of_any = of_any_car(read_mm, std_mm, spread)
                differing *= assumed.kin_alike * of_row + (1 - assumed.kin_alike) * of_any
        weights.append(weight)
        kin.append(differing - assumed.kin_alike ** len(READ_MM) * weight)
    return normalised(catalogue, np.array(weights), np.array(kin))


def with_gross_errors(sound: Any, read_mm: float, std_mm: float, spread: Spread) -> Any:
    """Return a sound reading's density mixed with that of another rotor's length and of anything at all."""
    gross_error = default_assumptions().gross_error
    another = density(read_mm, spread.mean, math.hypot(std_mm, spread.std))
    anything = density(read_mm, spread.mean, math.hypot(std_mm, spread.wide))
    gross = (1 - spread.elsewhere) * another + spread.elsewhere * anything
    return (1 - gross_error) * sound + gross_error * gross


def of_any_car(read_mm: float, std_mm: float, spread: Spread) -> float:
    """Return the density of a reading of any car's rotor, now and then of another class than the catalogue's."""
    assumed = default_assumptions()
    alike, other = (
        with_gross_errors(density(read_mm, spread.mean, math.hypot(std_mm, wide * spread.std)), read_mm, std_mm, spread)
        for wide in (1.0, assumed.other_class_widening)
    )
    return float((1 - assumed.other_class) * alike + assumed.other_class * other)


def density(value: float, mean: float, std: float) -> float:
    return math.exp(-0.5 * ((value - mean) / std) ** 2) / (std * math.sqrt(2 * math.pi))


def library_calls(catalogue: Catalogue) -> tuple[np.ndarray[Any, Any], float]:
    """The same by scipy.stats on whole columns."""
    assumed, prepared = default_assumptions(), prepare(catalogue)
    spreads = rotor_spreads(prepared, "front", assumed)
    rows = catalogue.packages.row[catalogue.fitments.package, 0]
    weights = np.where(rows == UNKNOWN, 0.0, prepared.weight)
    kin = weights
    for key, (read_mm, std_mm) in READ_MM.items():
        nominal_mm = getattr(catalogue.rotors, key)[catalogue.packages.rotor[rows]]
        unknown = stats.norm.pdf(read_mm, spreads[key].mean, np.hypot(std_mm, spreads[key].std))
        known = stats.norm.pdf(read_mm, nominal_mm, np.hypot(std_mm, assumed.tolerance_mm[key]))
        sound = np.where(np.isnan(nominal_mm), unknown, known)
        of_row = with_gross_errors(sound, read_mm, std_mm, spreads[key])
        of_any = of_any_car(read_mm, std_mm, spreads[key])
        weights = weights * of_row
        kin = kin * (assumed.kin_alike * of_row + (1 - assumed.kin_alike) * of_any)
    return normalised(catalogue, weights, kin - assumed.kin_alike ** len(READ_MM) * weights)


def normalised(
    catalogue: Catalogue, weights: np.ndarray[Any, Any], kin: np.ndarray[Any, Any]
) -> tuple[np.ndarray[Any, Any], float]:
    """Return posterior probabilities and that of none of these: of any car, or kin of what has an axle of that kind."""
    assumed, prepared = default_assumptions(), prepare(catalogue)
    spreads = rotor_spreads(prepared, "front", assumed)
    prior = prepared.weight[catalogue.packages.row[catalogue.fitments.package, 0] != UNKNOWN].sum()
    any_car = 0.0
    for widening, share in ((1.0, 1 - assumed.other_class), (assumed.other_class_widening, assumed.other_class)):
        for key, (read_mm, std_mm) in READ_MM.items():
            unknown = density(read_mm, spreads[key].mean, math.hypot(std_mm, widening * spreads[key].std))
            share *= with_gross_errors(unknown, read_mm, std_mm, spreads[key])
        any_car += share
    of_kin = kin.sum() / prior / (1 - assumed.kin_alike ** len(READ_MM))
    share = assumed.kin_of_a_part
    none = assumed.none_of_these * ((1 - share) * any_car + share * of_kin)
    weights = weights * (1 - assumed.none_of_these) / prior
    total = weights.sum() + none
    return weights / total, none / total
