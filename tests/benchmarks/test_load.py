"""Loading a large catalogue: processor time beside the plain alternative, in one run.

Run with ``pytest tests/benchmarks/test_load.py --benchmark-enable``. Without it each runs once, on a small catalogue.
"""

import csv
import time
from pathlib import Path
from typing import Any

import pytest

from catalogue.columns import COLUMNS
from catalogue.generate import generate_catalogue
from catalogue.load import load_catalogue

FITMENTS = 100_000
FEW_FITMENTS = 2_000
LIMIT_S = 3.0
"""What the project asks of 100,000 fitments on one core."""


@pytest.fixture(scope="module")
def fitments(request: pytest.FixtureRequest) -> int:
    return FITMENTS if request.config.getoption("benchmark_enable") else FEW_FITMENTS


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory, fitments: int) -> Path:
    written = tmp_path_factory.mktemp("catalogue")
    generate_catalogue(written, fitments=fitments, seed=1)
    return written


@pytest.mark.benchmark(group="load", timer=time.process_time)
def test_loading_takes_less_than_three_seconds(benchmark: Any, folder: Path, fitments: int) -> None:
    catalogue = benchmark.pedantic(load_catalogue, args=(folder,), rounds=3)
    assert len(catalogue.fitments) == fitments
    if benchmark.enabled:
        assert benchmark.stats.stats.min < LIMIT_S


@pytest.mark.benchmark(group="load", timer=time.process_time)
def test_the_plain_alternative_for_comparison(benchmark: Any, folder: Path, fitments: int) -> None:
    rows = benchmark.pedantic(_plain_dicts, args=(folder,), rounds=3)
    assert len(rows["fitments.csv"]) == fitments


def _plain_dicts(folder: Path) -> dict[str, list[dict[str, Any]]]:
    """Read every row as a dict, numbers by ``float`` where they are numbers, and check nothing."""
    tables = {}
    for file, columns in COLUMNS.items():
        numbers = {column.name for column in columns if column.kind in ("number", "share", "whole", "year")}
        with (folder / file).open(encoding="utf-8", newline="") as handle:
            tables[file] = [
                {name: float(cell) if cell and name in numbers else cell for name, cell in row.items()}
                for row in csv.DictReader(handle)
            ]
    return tables
