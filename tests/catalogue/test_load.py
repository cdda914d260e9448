"""A catalogue with faults is refused whole: each fault with file, row, column, what was wanted and what stood there."""

from pathlib import Path
from typing import Any

import numpy as np
import pytest

from catalogue import CatalogueError, load_catalogue
from catalogue.schema import STILL_MADE, UNKNOWN
from tests.catalogue.conftest import write_catalogue, write_table
from tests.catalogue.test_check_values import PACKAGES


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    return write_catalogue(tmp_path, PACKAGES)


def edit(folder: Path, file: str, old: str, new: str) -> None:
    text = (folder / file).read_text(encoding="utf-8")
    assert old in text
    (folder / file).write_text(text.replace(old, new, 1), encoding="utf-8")


def faults_of(folder: Path) -> list[tuple[str, int, str]]:
    with pytest.raises(CatalogueError) as caught:
        load_catalogue(folder)
    return [(fault.file, fault.row, fault.column) for fault in caught.value.faults]


def test_cells_left_empty_are_not_known(folder: Path) -> None:
    catalogue = load_catalogue(folder)
    row = catalogue.rotors.row(0)
    assert (row.height_mm, row.construction, row.marks) == (None, None, ())
    assert np.isnan(catalogue.rotors.height_mm).all()
    assert (catalogue.fitments.year_to == STILL_MADE).all()
    assert (catalogue.fitments.code == UNKNOWN).all()


def test_every_fault_is_collected(folder: Path) -> None:
    edit(folder, "rotors.csv", "R1,330,24", "R1,33O,24")
    edit(folder, "rotors.csv", ",36,34,", ",36,37,")
    edit(folder, "packages.csv", "BASE,Base,front", "BASE,Base,middle")
    edit(folder, "fitments.csv", "Model,2015", "Model,15")
    assert faults_of(folder) == [
        ("rotors.csv", 2, "diameter_mm"),
        ("rotors.csv", 4, "min_thickness_mm"),
        ("packages.csv", 2, "axle"),
        ("fitments.csv", 2, "year_from"),
    ]


@pytest.mark.parametrize(
    ("file", "old", "new", "message"),
    [
        (
            "rotors.csv",
            "R1,330,24",
            "R1,,24",
            r"row 2, column diameter_mm: .*must be filled\), got nothing",
        ),
        ("rotors.csv", "R1,330,24", "R1,nan,24", r"a number over 0 .*got 'nan'"),
        ("rotors.csv", "R1,330,24", "R1,-330,24", r"a number over 0 .*got '-330'"),
        ("rotors.csv", "R1,330,24", "R1,1_000,24", r"got '1_000'"),
        ("rotors.csv", "plain", "smooth", r"one of plain, slotted, .*got 'smooth'"),
        ("packages.csv", ",R1,", ",R99,", r"packages.csv, row 2, column rotor: wanted a key of rotors.csv, got 'R99'"),
        ("fitments.csv", "BASE", "BAES", r"column package: wanted a key of packages.csv, got 'BAES'"),
        ("fitments.csv", "2015,,", "2015,2014,", r"column year_to: wanted year_from or later \(2015\), got 2014"),
        ("fitments.csv", "2015,,", "2015,,2021-6", r"12 cells|11 cells|YYYY-MM"),
    ],
)
def test_each_fault_says_what_was_wanted_and_what_came(
    folder: Path, file: str, old: str, new: str, message: str
) -> None:
    edit(folder, file, old, new)
    with pytest.raises(CatalogueError, match=message):
        load_catalogue(folder)


def test_a_missing_column_is_named(folder: Path) -> None:
    edit(folder, "pads.csv", "shape_number", "shape")
    with pytest.raises(CatalogueError, match=r"pads.csv, row 1, column shape_number: wanted this column once"):
        load_catalogue(folder)


def test_a_missing_file_is_named(folder: Path) -> None:
    (folder / "calipers.csv").unlink()
    with pytest.raises(CatalogueError, match=r"calipers.csv: wanted this file"):
        load_catalogue(folder)


def test_a_missing_folder_is_named(tmp_path: Path) -> None:
    with pytest.raises(CatalogueError, match="no such folder"):
        load_catalogue(tmp_path / "nowhere")


def test_bytes_that_are_no_text_are_named(folder: Path) -> None:
    (folder / "pads.csv").write_bytes(b"part,height_mm\n\xff\xfe,1\n")
    with pytest.raises(CatalogueError, match="wanted text in UTF-8, got byte 0xff"):
        load_catalogue(folder)


def test_columns_nobody_asked_for_are_passed_over_with_one_notice(folder: Path) -> None:
    text = (folder / "pads.csv").read_text(encoding="utf-8")
    lines = text.splitlines()
    wider = [lines[0] + ",price", *(line + ",9" for line in lines[1:])]
    (folder / "pads.csv").write_text("\n".join(wider), encoding="utf-8")
    assert load_catalogue(folder).notices == ("pads.csv: columns passed over: 'price'",)


def test_a_repeated_key_lists_the_cells_that_differ(folder: Path) -> None:
    text = (folder / "rotors.csv").read_text(encoding="utf-8")
    again = next(line for line in text.splitlines() if line.startswith("R1,")).replace("R1,330", "R1,333")
    (folder / "rotors.csv").write_text(text + again + "\n", encoding="utf-8")
    with pytest.raises(CatalogueError, match=r"'R1' again, as in row 2; they differ in diameter_mm \(330 and 333\)"):
        load_catalogue(folder)


@pytest.mark.parametrize("bad", [3, 19_999, 20_000, 20_001, 44_999])
def test_one_bad_cell_among_many_rows_is_named(folder: Path, bad: int) -> None:
    """Rows are read 20,000 at a time; the benchmark does the same with a million."""
    rows: list[dict[str, Any]] = [
        {"line": "L", "model": f"M{number % 50}", "year_from": 2015, "package": "BASE", "share": 0.1}
        for number in range(45_000)
    ]
    rows[bad]["share"] = "0.1x"
    write_table(folder, "fitments.csv", rows)
    assert faults_of(folder) == [("fitments.csv", bad + 2, "share")]
