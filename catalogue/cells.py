"""Turns the texts of one column into numbers or codes, and names each cell that won't.

A column says few different things many times over, so each different text is read once.
"""

import math
import re
from collections.abc import Callable, Sequence
from typing import Any

import numpy as np

from catalogue.columns import Column
from catalogue.faults import Fault
from catalogue.schema import UNKNOWN, month_number

FIRST_YEAR, LAST_YEAR = 1885, 2100

_MONTH = re.compile(r"(\d{4})-(0[1-9]|1[0-2])\Z", re.ASCII)
_NUMBER = re.compile(r"[+-]?(\d+\.?\d*|\.\d+)([eE][+-]?\d+)?\Z", re.ASCII)

Reading = Callable[[str], Any]
"""From a filled cell's text to its value, None where the text will not do."""


class ColumnReader:
    """Reads stretches of one column and keeps the faults.

    Parameters
    ----------
    file : str
        Name for the faults.
    column : Column
        What belongs there.
    faults : list of Fault
        Grows.
    """

    def __init__(self, file: str, column: Column, faults: list[Fault]) -> None:
        self.column = column
        self._file = file
        self._faults = faults
        self._nothing = _NOTHING[column.kind]
        self._dtype = _DTYPE.get(column.kind)
        self._reading, self._wanted = _reading(column)

    def read(self, cells: Sequence[str], first_row: int) -> Any:
        """Return the values of ``cells``, the first of which stands in ``first_row``: an array, or a list of texts."""
        distinct = set(cells)
        values = dict(zip(distinct, map(self._read_cell, map(str.strip, distinct)), strict=True))
        if None in values.values():
            wrong = {cell for cell, value in values.items() if value is None}
            self._blame(cells, first_row, wrong)
            values |= dict.fromkeys(wrong, self._nothing)
        read = map(values.__getitem__, cells)
        return list(read) if self._dtype is None else np.fromiter(read, self._dtype, len(cells))

    def _read_cell(self, text: str) -> Any:
        if text:
            return self._reading(text)
        return None if self.column.required else self._nothing

    def _blame(self, cells: Sequence[str], first_row: int, wrong: set[str]) -> None:
        wanted = self._wanted + (" (this cell must be filled)" if self.column.required else "")
        for row, cell in enumerate(cells, start=first_row):
            if cell in wrong:
                got = repr(cell.strip()) if cell.strip() else "nothing"
                self._faults.append(Fault(self._file, row, self.column.name, wanted, got))


def _reading(column: Column) -> tuple[Reading, str]:
    """Return how a cell of ``column`` is read, and what belongs there in words."""
    if column.kind == "word":
        codes = {word: code for code, word in enumerate(column.words)}
        return codes.get, "one of " + ", ".join(column.words)
    return _READINGS[column.kind]


def _marks(text: str) -> tuple[str, ...]:
    if ";" not in text:
        return (text,)
    return tuple(mark.strip() for mark in text.split(";") if mark.strip())


def _month(text: str) -> int | None:
    found = _MONTH.match(text)
    return month_number(int(found[1]), int(found[2])) if found else None


def _number(text: str, least: float = 0.0) -> float | None:
    value = float(text) if _NUMBER.match(text) else math.nan
    return value if math.isfinite(value) and value >= least else None


def _over_0(text: str) -> float | None:
    return _number(text) or None


def _whole(text: str) -> float | None:
    value = _over_0(text)
    return value if value is not None and value == math.floor(value) else None


def _year(text: str) -> float | None:
    value = _whole(text)
    return value if value is not None and FIRST_YEAR <= value <= LAST_YEAR else None


_READINGS: dict[str, tuple[Reading, str]] = {
    "text": (str, "a text"),
    "marks": (_marks, "marks with ; between"),
    "month": (_month, "a month as YYYY-MM"),
    "number": (_over_0, "a number over 0 with a decimal point"),
    "share": (_number, "a number, 0 or more, with a decimal point"),
    "whole": (_whole, "a whole number over 0"),
    "year": (_year, f"a year from {FIRST_YEAR} to {LAST_YEAR}"),
}

_NOTHING: dict[str, Any] = {
    "text": "",
    "marks": (),
    "month": UNKNOWN,
    "word": UNKNOWN,
    "number": math.nan,
    "share": math.nan,
    "whole": math.nan,
    "year": math.nan,
}

_DTYPE: dict[str, type[np.generic]] = {
    "month": np.int64,
    "word": np.int64,
    "number": np.float64,
    "share": np.float64,
    "whole": np.float64,
    "year": np.float64,
}
