"""Reads one CSV file into columns, in stretches, so that a million rows need no more memory than their values."""

import csv
from collections.abc import Iterator
from itertools import islice
from pathlib import Path
from typing import Any

import numpy as np

from catalogue.cells import ColumnReader
from catalogue.columns import COLUMNS, OPTIONAL_FILES
from catalogue.faults import Fault

STRETCH = 1_000
"""Rows read at a time: few enough to stay in the processor's cache."""

HEADER_ROW = 1


class Table:
    """The columns of one file.

    Attributes
    ----------
    file : str
        Its name.
    columns : dict
        Column's name to an array (numbers, months, words) or a list (texts, marks); each of ``len(self)``.
    notices : list of str
        Columns that were passed over.
    """

    def __init__(self, file: str) -> None:
        self.file = file
        self.columns: dict[str, Any] = {}
        self.notices: list[str] = []
        self._rows = 0

    def __len__(self) -> int:
        return self._rows

    def __getitem__(self, name: str) -> Any:
        return self.columns[name]

    def fill(self, stretches: dict[str, list[Any]], rows: int) -> None:
        """Join the stretches of each column."""
        self._rows = rows
        for column in COLUMNS[self.file]:
            parts = stretches[column.name]
            if column.kind in ("text", "marks"):
                self.columns[column.name] = [value for part in parts for value in part]
            else:
                empty = np.empty(0, dtype=np.int64 if column.kind in ("month", "word") else np.float64)
                self.columns[column.name] = np.concatenate([empty, *parts])


def read_table(folder: Path, file: str, faults: list[Fault]) -> Table:
    """Read ``folder/file``.

    Parameters
    ----------
    folder : Path
        The catalogue.
    file : str
        One of ``COLUMNS``.
    faults : list of Fault
        Grows by each fault found; the table holds what could be read.

    Returns
    -------
    Table
        Empty where the file is optional and not there.
    """
    table = Table(file)
    nothing: dict[str, list[Any]] = {column.name: [] for column in COLUMNS[file]}
    table.fill(nothing, 0)
    path = folder / file
    if not path.is_file():
        if file not in OPTIONAL_FILES:
            faults.append(Fault(file, 0, "", "this file in the catalogue's folder", "no such file"))
        return table
    try:
        with path.open(encoding="utf-8-sig", newline="") as lines:
            _read_rows(csv.reader(lines, strict=True), table, faults)
    except UnicodeDecodeError as error:
        faults.append(Fault(file, 0, "", "text in UTF-8", f"byte 0x{error.object[error.start]:02x} that is none"))
    except csv.Error as error:
        faults.append(Fault(file, 0, "", "comma-separated values", f"{error}"))
    return table


def _stretches(rows: Iterator[list[str]]) -> Iterator[list[list[str]]]:
    """Pass the rows on in stretches, without empty lines after the last filled one."""
    held: list[list[str]] = []
    while stretch := list(islice(rows, STRETCH)):
        stretch = held + stretch
        filled = len(stretch)
        while filled and not stretch[filled - 1]:
            filled -= 1
        held = stretch[filled:]
        if filled:
            yield stretch[:filled]


def _read_rows(rows: Iterator[list[str]], table: Table, faults: list[Fault]) -> None:
    header = [name.strip() for name in next(rows, [])]
    places = _places(header, table, faults)
    if places is None:
        return
    readers = [ColumnReader(table.file, column, faults) for column in COLUMNS[table.file]]
    stretches: dict[str, list[Any]] = {column.name: [] for column in COLUMNS[table.file]}
    first_row = HEADER_ROW + 1
    for stretch in _stretches(rows):
        cells = list(zip(*_even(stretch, len(header), first_row, table.file, faults), strict=True))
        for reader in readers:
            stretches[reader.column.name].append(reader.read(cells[places[reader.column.name]], first_row))
        first_row += len(stretch)
    table.fill(stretches, first_row - HEADER_ROW - 1)


def _places(header: list[str], table: Table, faults: list[Fault]) -> dict[str, int] | None:
    """Return where each wanted column stands, or None where one is missing or stands twice."""
    wanted = [column.name for column in COLUMNS[table.file]]
    wrong = [(name, "in the header row, nothing of that name") for name in wanted if name not in header]
    wrong += [(name, "it twice in the header row") for name in wanted if header.count(name) > 1]
    faults += [Fault(table.file, HEADER_ROW, name, "this column once", got) for name, got in wrong]
    if passed_over := [name for name in header if name not in wanted]:
        table.notices.append(f"{table.file}: columns passed over: {', '.join(map(repr, passed_over))}")
    return None if wrong else {name: header.index(name) for name in wanted}


def _even(stretch: list[list[str]], width: int, first_row: int, file: str, faults: list[Fault]) -> list[list[str]]:
    """Return the rows, each of ``width`` cells; a row of another width is a fault."""
    if set(map(len, stretch)) == {width}:
        return stretch
    for number, row in enumerate(stretch, start=first_row):
        if len(row) != width:
            faults.append(Fault(file, number, "", f"{width} cells, as in the header row", f"{len(row)}"))
    return [row if len(row) == width else (row + [""] * width)[:width] for row in stretch]
