"""Every column of the contract, one at a time: a cell that must be filled, a value of the wrong kind, a key that no row
has, a key that stands twice. Each gets one line with file, row and column.
"""

import csv
import shutil
from collections.abc import Callable
from pathlib import Path

import pytest

from catalogue import CatalogueError, Fault, load_catalogue
from catalogue.columns import COLUMNS, OPTIONAL_FILES
from catalogue.load import DEMO

ROW = 3
"""A row of data in every file of the demo catalogue, as a spreadsheet counts it."""

EVERY = [(file, column) for file, columns in COLUMNS.items() for column in columns]
WRONG = {
    "number": ("12,5", "12 mm", "-1", "0", "1e999", "nan"),
    "share": ("0,5", "50%", "-0.1", "inf"),
    "whole": ("2.5", "two", "0", "-5"),
    "year": ("17", "2017.5", "2017-01", "3017"),
    "month": ("2021", "2021-13", "03-2021", "2021-3"),
    "word": ("sometimes", "FRONT"),
}
REFERENCES = [
    ("packages.csv", "rotor", "rotors.csv"),
    ("packages.csv", "rotor_right", "rotors.csv"),
    ("packages.csv", "pads", "pads.csv"),
    ("packages.csv", "caliper", "calipers.csv"),
    ("fitments.csv", "package", "packages.csv"),
    ("extras.csv", "package", "packages.csv"),
    ("alternatives.csv", "replaces", "rotors.csv"),
]
KEYS = [
    ("rotors.csv", "part", "mass_kg", "99"),
    ("pads.csv", "part", "shape_number", "S-99"),
    ("calipers.csv", "caliper", "pistons", "9"),
    ("packages.csv", "package+axle", "min_wheel_in", "23"),
]
"""Of each file: its key, another column, and what the row that repeats the key says there."""


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    return Path(shutil.copytree(DEMO, tmp_path / "copy"))


Change = Callable[[list[list[str]]], None]


def rewrite(folder: Path, file: str, change: Change) -> None:
    with (folder / file).open(encoding="utf-8", newline="") as lines:
        rows = list(csv.reader(lines))
    change(rows)
    with (folder / file).open("w", encoding="utf-8", newline="") as lines:
        csv.writer(lines).writerows(rows)


def put(folder: Path, file: str, column: str, text: str) -> None:
    def change(rows: list[list[str]]) -> None:
        rows[ROW - 1][rows[0].index(column)] = text

    rewrite(folder, file, change)


def faults_of(folder: Path) -> tuple[Fault, ...]:
    with pytest.raises(CatalogueError) as caught:
        load_catalogue(folder)
    assert all("\n" not in str(fault) for fault in caught.value.faults)
    return caught.value.faults


@pytest.mark.parametrize(("file", "column"), [(file, each.name) for file, each in EVERY if each.required])
def test_a_cell_that_must_be_filled(folder: Path, file: str, column: str) -> None:
    put(folder, file, column, "  ")
    found = next(fault for fault in faults_of(folder) if fault.column == column)
    assert (found.file, found.row, found.got) == (file, ROW, "nothing")
    assert "must be filled" in found.wanted


@pytest.mark.parametrize(
    ("file", "column"), [(file, each.name) for file, each in EVERY if not each.required and each.kind != "text"]
)
def test_any_other_cell_may_be_empty(folder: Path, file: str, column: str) -> None:
    put(folder, file, column, "")
    load_catalogue(folder)


@pytest.mark.parametrize(
    ("file", "column", "text"),
    [(file, each.name, text) for file, each in EVERY for text in WRONG.get(each.kind, ())],
)
def test_a_value_of_the_wrong_kind(folder: Path, file: str, column: str, text: str) -> None:
    put(folder, file, column, text)
    found = faults_of(folder)[0]
    assert (found.file, found.row, found.column, found.got) == (file, ROW, column, repr(text))
    assert found.wanted


@pytest.mark.parametrize(("file", "column", "of"), REFERENCES)
def test_a_key_that_no_row_has(folder: Path, file: str, column: str, of: str) -> None:
    put(folder, file, column, "NOBODY")
    found = faults_of(folder)[0]
    assert (found.file, found.row, found.column, found.got) == (file, ROW, column, "'NOBODY'")
    assert of in found.wanted


@pytest.mark.parametrize(("file", "columns", "differing", "text"), KEYS)
def test_a_key_that_stands_twice_lists_the_cells_that_differ(
    folder: Path, file: str, columns: str, differing: str, text: str
) -> None:
    before: list[str] = []

    def change(rows: list[list[str]]) -> None:
        again = list(rows[ROW - 1])
        place = rows[0].index(differing)
        before.append(again[place])
        again[place] = text
        rows.append(again)

    rewrite(folder, file, change)
    (found,) = faults_of(folder)
    assert (found.file, found.column, found.wanted) == (file, columns, "each key once")
    assert f"as in row {ROW}; they differ in {differing} ({before[0]} and {text})" in found.got


@pytest.mark.parametrize("file", sorted(set(COLUMNS) - OPTIONAL_FILES))
def test_a_file_that_is_not_there(folder: Path, file: str) -> None:
    (folder / file).unlink()
    found = faults_of(folder)
    assert [(fault.file, fault.got) for fault in found] == [(file, "no such file")]


@pytest.mark.parametrize("file", sorted(OPTIONAL_FILES))
def test_an_optional_file_may_be_left_out(folder: Path, file: str) -> None:
    (folder / file).unlink()
    load_catalogue(folder)


@pytest.mark.parametrize(("file", "column"), [(file, each.name) for file, each in EVERY])
def test_a_column_that_is_not_there(folder: Path, file: str, column: str) -> None:
    def change(rows: list[list[str]]) -> None:
        rows[0][rows[0].index(column)] = "other"

    rewrite(folder, file, change)
    found = faults_of(folder)
    assert [(fault.file, fault.row, fault.column) for fault in found] == [(file, 1, column)]


@pytest.mark.parametrize("file", sorted(COLUMNS))
def test_cells_with_semicolons_between_them(folder: Path, file: str) -> None:
    text = (folder / file).read_text(encoding="utf-8")
    (folder / file).write_text(text.replace(",", ";"), encoding="utf-8")
    assert {(fault.file, fault.row) for fault in faults_of(folder)} == {(file, 1)}


def test_a_row_with_a_cell_too_many(folder: Path) -> None:
    rewrite(folder, "rotors.csv", lambda rows: rows[ROW - 1].append("1"))
    found = faults_of(folder)[0]
    assert (found.file, found.row, found.column) == ("rotors.csv", ROW, "")
    assert "cells, as in the header row" in found.wanted
