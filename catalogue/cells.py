"""Turns the texts of one column into numbers or codes, a whole column at a time, and names each cell that won't."""

import math
import re
from collections.abc import Callable, Sequence

import numpy as np

from catalogue.columns import Column
from catalogue.faults import Fault
from catalogue.schema import UNKNOWN, BoolArray, FloatArray, IntArray, month_number

_MONTH = re.compile(r"(\d{4})-(0[1-9]|1[0-2])\Z")
_PLAIN_NUMBER = re.compile(r"[+-]?(\d+\.?\d*|\.\d+)([eE][+-]?\d+)?\Z")
FIRST_YEAR, LAST_YEAR = 1885, 2100

Cells = Sequence[str]


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

    def read(self, cells: Cells, first_row: int) -> FloatArray | IntArray | list[str] | list[tuple[str, ...]]:
        """Return the values of ``cells``, texts without blanks round them, the first of which is in ``first_row``."""
        if self.column.required and "" in cells:
            self._blame_each(cells, first_row, _is_filled, "a value, this cell must be filled")
        match self.column.kind:
            case "text":
                return list(cells)
            case "marks":
                return [_marks(cell) for cell in cells]
            case "word":
                return self._words(cells, first_row)
            case "month":
                return self._months(cells, first_row)
            case _:
                return self._numbers(cells, first_row)

    def _words(self, cells: Cells, first_row: int) -> IntArray:
        codes = {word: code for code, word in enumerate(self.column.words)} | {"": UNKNOWN}
        try:
            return np.array([codes[cell] for cell in cells], dtype=np.int64)
        except KeyError:
            wanted = "one of " + ", ".join(self.column.words)
            self._blame_each(cells, first_row, lambda cell: cell in codes, wanted)
            return np.array([codes.get(cell, UNKNOWN) for cell in cells], dtype=np.int64)

    def _months(self, cells: Cells, first_row: int) -> IntArray:
        months = np.array([_month(cell) for cell in cells], dtype=np.int64)
        if (months == UNKNOWN).sum() > cells.count(""):
            self._blame_each(cells, first_row, lambda cell: _month(cell) != UNKNOWN, "a month as YYYY-MM")
        return months

    def _numbers(self, cells: Cells, first_row: int) -> FloatArray:
        fits, wanted = _LIMITS[self.column.kind]
        try:
            values = np.array([float(cell) if cell else math.nan for cell in cells])
            sound = not any("_" in cell for cell in set(cells))
        except ValueError:
            values, sound = np.array([_number(cell) for cell in cells]), False
        known = np.isfinite(values)
        sound = sound and int(known.sum()) == len(cells) - cells.count("") and bool(fits(values[known]).all())
        if not sound:
            self._blame_each(cells, first_row, lambda cell: bool(fits(np.array([_number(cell)]))[0]), wanted)
        return values

    def _blame_each(self, cells: Cells, first_row: int, fits: Callable[[str], bool], wanted: str) -> None:
        """Note each cell that ``fits`` doesn't hold for; an empty cell only where a value is a must."""
        skip_empty = fits is not _is_filled
        for row, cell in enumerate(cells, start=first_row):
            if not (cell == "" and skip_empty) and not fits(cell):
                self._faults.append(Fault(self._file, row, self.column.name, wanted, repr(cell) if cell else "nothing"))


def _is_filled(cell: str) -> bool:
    return cell != ""


def _marks(cell: str) -> tuple[str, ...]:
    return tuple(mark.strip() for mark in cell.split(";") if mark.strip()) if cell else ()


def _month(cell: str) -> int:
    found = _MONTH.match(cell)
    return month_number(int(found[1]), int(found[2])) if found else UNKNOWN


def _number(cell: str) -> float:
    """Return a finite number, or NaN where the text is none."""
    return float(cell) if _PLAIN_NUMBER.match(cell) and math.isfinite(float(cell)) else math.nan


def _is_whole(values: FloatArray) -> BoolArray:
    return np.equal(values, np.floor(values))


_LIMITS: dict[str, tuple[Callable[[FloatArray], BoolArray], str]] = {
    "number": (lambda values: values > 0, "a number over 0 with a decimal point"),
    "share": (lambda values: values >= 0, "a number, 0 or more, with a decimal point"),
    "whole": (lambda values: (values > 0) & _is_whole(values), "a whole number over 0"),
    "year": (
        lambda values: (values >= FIRST_YEAR) & (values <= LAST_YEAR) & _is_whole(values),
        f"a year from {FIRST_YEAR} to {LAST_YEAR}",
    ),
}
