"""One bad cell among a million rows is named: file, row, column.

Run with ``pytest tests/benchmarks/test_million_rows.py --benchmark-enable``; without it a fiftieth of the rows.
"""

import time
from pathlib import Path
from typing import Any

import pytest

from catalogue import CatalogueError, load_catalogue
from tests.catalogue.conftest import write_catalogue
from tests.catalogue.test_check_values import PACKAGES

ROWS = 1_000_000
FEW_ROWS = 20_000


@pytest.mark.benchmark(group="one bad cell", timer=time.process_time)
def test_one_bad_cell_in_a_million_rows_is_named(
    benchmark: Any, request: pytest.FixtureRequest, tmp_path: Path
) -> None:
    rows = ROWS if request.config.getoption("benchmark_enable") else FEW_ROWS
    folder = write_catalogue(tmp_path, PACKAGES)
    bad = rows * 7 // 9
    with (folder / "fitments.csv").open("w", encoding="utf-8") as file:
        file.write("line,model,year_from,year_to,built_from,built_to,package,option_code,offered,share,cars\n")
        for row in range(rows):
            share = "0.1O" if row == bad else "0.10"
            file.write(
                f"Line,Model {row % 900},{1990 + row % 35},,,,BASE,X{row % 40},optional,{share},{1000 + row % 77}\n"
            )

    def load() -> list[tuple[str, int, str, str]]:
        with pytest.raises(CatalogueError) as caught:
            load_catalogue(folder)
        return [(fault.file, fault.row, fault.column, fault.got) for fault in caught.value.faults]

    assert benchmark.pedantic(load, rounds=1) == [("fitments.csv", bad + 2, "share", "'0.1O'")]
