"""Weighs a number that was read off a part: cast on the hat, stamped on the rim, printed on the backing plate."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from catalogue.assumptions import Assumptions
from catalogue.schema import Catalogue, FloatArray, IntArray


@dataclass(frozen=True, eq=False, slots=True)
class MarkIndex:
    """Which rows of a table carry which numbers.

    Attributes
    ----------
    rows : dict of str to list of int
        Plain form of a number to the rows that carry it.
    listed : (N + 1,) ndarray of bool
        Whether the catalogue lists numbers for a row, beyond its part number; False for the unknown row.
    """

    rows: dict[str, list[int]]
    listed: "np.ndarray[tuple[int], np.dtype[np.bool_]]"


def plain(mark: str) -> str:
    """Return a number without what readers drop: blanks, dots, dashes, case; O for 0 and I for 1 are taken alike."""
    kept = "".join(character for character in mark.upper() if character.isalnum())
    return kept.replace("O", "0").replace("I", "1")


@lru_cache(maxsize=4)
def rotor_marks(catalogue: Catalogue) -> MarkIndex:
    """Return the numbers on rotors: part number, marks, and the numbers of alternatives that replace it."""
    replacing: dict[str, list[str]] = {}
    for alternative in catalogue.alternatives:
        replacing.setdefault(alternative.replaces, []).append(alternative.part)
    rotors = catalogue.rotors
    numbers = [(part, *marks, *replacing.get(part, ())) for part, marks in zip(rotors.part, rotors.marks, strict=True)]
    return _index(numbers, rotors.marks)


@lru_cache(maxsize=4)
def pad_marks(catalogue: Catalogue) -> MarkIndex:
    """Return the numbers on pads: part number and marks."""
    pads = catalogue.pads
    return _index([(part, *marks) for part, marks in zip(pads.part, pads.marks, strict=True)], pads.marks)


@lru_cache(maxsize=4)
def shape_numbers(catalogue: Catalogue) -> MarkIndex:
    """Return the pads' shape numbers."""
    numbers = [(number,) if number else () for number in catalogue.pads.shape_number]
    return _index(numbers, numbers)


def _index(numbers: Iterable[Sequence[str]], listed: Iterable[Sequence[str]]) -> MarkIndex:
    rows: dict[str, list[int]] = {}
    for row, of_row in enumerate(numbers):
        for mark in {plain(number) for number in of_row}:
            rows.setdefault(mark, []).append(row)
    return MarkIndex(rows, np.array([bool(of_row) for of_row in listed] + [False]))


def log_mark(index: MarkIndex, mark: str, possible: IntArray, assumptions: Assumptions) -> tuple[FloatArray, bool]:
    """Return log p(number read | row), (N + 1,), up to a factor, and whether the catalogue knows the number.

    A number that the catalogue knows speaks for the rows that carry it: another part carries one of all those known by
    a small chance, and just this one by as much less as there are many. Where no ``possible`` row carries it, it is
    rather another car's part. One that is a character off speaks for its rows too, less. A number it doesn't know may
    be a foundry's, and speaks faintly for rows without listed numbers.
    """
    exact = index.rows.get(plain(mark), [])
    near = [] if exact else _near(index, plain(mark))
    if not exact and not near:
        return np.where(index.listed, np.log(assumptions.mark_unlisted), 0.0), False
    if exact:
        likelihood = np.full(len(index.listed), assumptions.mark_foreign / len(index.rows))
        if not np.isin(exact, possible).any():
            likelihood[-1] = assumptions.mark_elsewhere / len(index.rows)
        likelihood[exact] = (1 - assumptions.mark_unlisted) * (1 - assumptions.mark_misread)
    else:
        likelihood = np.full(len(index.listed), assumptions.mark_foreign)
        likelihood[near] = (1 - assumptions.mark_unlisted) * assumptions.mark_misread
    return np.log(likelihood), True


def _near(index: MarkIndex, mark: str) -> list[int]:
    return [row for other, rows in index.rows.items() if _one_off(mark, other) for row in rows]


def _one_off(one: str, other: str) -> bool:
    """Whether two texts of three characters or more differ by one character changed, dropped or added."""
    if abs(len(one) - len(other)) > 1 or min(len(one), len(other)) < 3:
        return False
    start = next((at for at, (a, b) in enumerate(zip(one, other, strict=False)) if a != b), min(len(one), len(other)))
    if len(one) == len(other):
        return one[start + 1 :] == other[start + 1 :]
    longer, shorter = (one, other) if len(one) > len(other) else (other, one)
    return longer[start + 1 :] == shorter[start:]
