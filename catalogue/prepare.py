"""What the ranking needs of a catalogue and doesn't change from one question to the next, worked out once."""

from collections.abc import Mapping
from dataclasses import dataclass, fields
from functools import lru_cache

import numpy as np

from catalogue.assumptions import Assumptions
from catalogue.population import Spread, frequencies, spread_of
from catalogue.prior import fitment_weights
from catalogue.schema import AXLES, UNKNOWN, Calipers, Catalogue, FloatArray, IntArray, PadTable, Rotors

KEPT = 4
"""So many catalogues stay prepared."""


@dataclass(frozen=True, eq=False)
class Prepared:
    """A catalogue made ready.

    Each column has one more row at its end, of which nothing is known: the row that ``UNKNOWN`` (-1) points at.
    "None of these" is that row.

    Attributes
    ----------
    catalogue : Catalogue
    rotor_numbers, pad_numbers, caliper_numbers : dict of str to (N + 1,) ndarray
        The columns that hold numbers.
    rotor_codes, caliper_codes : dict of str to (N + 1,) ndarray of int
        The columns that hold words.
    rotor, rotor_right, pads, caliper : (P + 1,) ndarray of int
        Of each package row; ``rotor_right`` is the same as ``rotor`` where left and right don't differ.
    two_sided : (M,) ndarray of int
        Package rows of which left and right differ.
    min_wheel_in : (P + 1,) ndarray
    rotor_set : (P + 1,) ndarray of int
        Number of the pair of left and right rotor that a row takes, UNKNOWN for the unknown row.
    rotor_sets : (Q, 2) ndarray of int
        Rows of the left and right rotor of each pair.
    rotor_rows : dict of str to ndarray of int
        Rotors that occur on an axle ("front", "rear") or on either ("unknown").
    weight : (F,) ndarray
        Prior weight of each fitment, before the scope; they sum to 1.
    """

    catalogue: Catalogue
    rotor_numbers: dict[str, FloatArray]
    pad_numbers: dict[str, FloatArray]
    caliper_numbers: dict[str, FloatArray]
    rotor_codes: dict[str, IntArray]
    caliper_codes: dict[str, IntArray]
    rotor: IntArray
    rotor_right: IntArray
    two_sided: IntArray
    pads: IntArray
    caliper: IntArray
    min_wheel_in: FloatArray
    rotor_set: IntArray
    rotor_sets: IntArray
    rotor_rows: dict[str, IntArray]
    weight: FloatArray


@lru_cache(maxsize=KEPT)
def prepare(catalogue: Catalogue) -> Prepared:
    """Prepare ``catalogue``; a second call with the same one costs nothing."""
    packages = catalogue.packages
    right = np.where(packages.rotor_right == UNKNOWN, packages.rotor, packages.rotor_right)
    sets, rotor_set = np.unique(np.column_stack([packages.rotor, right]), axis=0, return_inverse=True)
    return Prepared(
        catalogue=catalogue,
        rotor_numbers=_numbers(catalogue.rotors),
        pad_numbers=_numbers(catalogue.pads),
        caliper_numbers=_numbers(catalogue.calipers),
        rotor_codes=_codes(catalogue.rotors),
        caliper_codes=_codes(catalogue.calipers),
        rotor=_and_unknown(packages.rotor),
        rotor_right=_and_unknown(right),
        two_sided=np.flatnonzero(right != packages.rotor),
        pads=_and_unknown(packages.pads),
        caliper=_and_unknown(packages.caliper),
        min_wheel_in=np.append(packages.min_wheel_in, np.nan),
        rotor_set=_and_unknown(rotor_set.reshape(-1)),
        rotor_sets=sets,
        rotor_rows=_rotor_rows(catalogue, right),
        weight=fitment_weights(catalogue.fitments),
    )


def _numbers(table: Rotors | PadTable | Calipers) -> dict[str, FloatArray]:
    columns = {column.name: getattr(table, column.name) for column in fields(table)}
    return {
        name: np.append(column, np.nan)
        for name, column in columns.items()
        if isinstance(column, np.ndarray) and column.dtype == np.float64
    }


def _codes(table: Rotors | Calipers) -> dict[str, IntArray]:
    columns = {column.name: getattr(table, column.name) for column in fields(table)}
    return {
        name: _and_unknown(column)
        for name, column in columns.items()
        if isinstance(column, np.ndarray) and column.dtype == np.int64
    }


def _and_unknown(column: IntArray) -> IntArray:
    return np.append(column, UNKNOWN)


def _rotor_rows(catalogue: Catalogue, right: IntArray) -> dict[str, IntArray]:
    packages = catalogue.packages
    used = {
        axle: np.unique(np.concatenate([packages.rotor[packages.axle == code], right[packages.axle == code]]))
        for code, axle in enumerate(AXLES)
    }
    either = np.unique(np.concatenate(list(used.values())))
    rows = {axle: found if len(found) else either for axle, found in used.items()}
    return rows | {"unknown": either}


@dataclass(frozen=True, eq=False, slots=True)
class Distinct:
    """The different rows of some columns of the rotors: few, so that each is weighed once.

    Attributes
    ----------
    value : (U, K) ndarray
    place : (N + 1,) ndarray of int
        Which of them each rotor has, the unknown one too.
    """

    value: FloatArray
    place: IntArray


@lru_cache(maxsize=KEPT * 16)
def distinct_rotors(prepared: Prepared, names: tuple[str, ...]) -> Distinct:
    """Return the different rows of the columns ``names``."""
    columns = np.column_stack([prepared.rotor_numbers[name] for name in names])
    _, first, place = np.unique(np.nan_to_num(columns, nan=-1.0), axis=0, return_index=True, return_inverse=True)
    return Distinct(columns[first], place.reshape(-1))


@lru_cache(maxsize=KEPT * 16)
def rotor_shares(prepared: Prepared, axle: str, name: str, kinds: int) -> FloatArray:
    """Return how often each of ``kinds`` stands in a column of words among the rotors of an axle."""
    return frequencies(prepared.rotor_codes[name][prepared.rotor_rows[axle]], kinds)


@lru_cache(maxsize=KEPT * 4)
def caliper_shares(prepared: Prepared, name: str, kinds: int) -> FloatArray:
    """Return the same of the calipers."""
    return frequencies(prepared.caliper_codes[name][:-1], kinds)


@lru_cache(maxsize=KEPT * 4)
def rotor_counts(prepared: Prepared, axle: str, name: str) -> FloatArray:
    """Return how often each different value of a column of counts stands among the rotors of an axle, (U,)."""
    distinct = distinct_rotors(prepared, (name,))
    of_axle = distinct.place[prepared.rotor_rows[axle]]
    return np.bincount(of_axle, minlength=len(distinct.value)).astype(np.float64)


@lru_cache(maxsize=KEPT * 4)
def rotor_spreads(prepared: Prepared, axle: str, assumptions: Assumptions) -> dict[str, Spread]:
    """Return how each number of the rotors of an axle is spread, without those of which nothing is known."""
    rows = prepared.rotor_rows[axle]
    return _spreads({name: column[rows] for name, column in prepared.rotor_numbers.items()}, assumptions)


@lru_cache(maxsize=KEPT)
def pad_spreads(prepared: Prepared, assumptions: Assumptions) -> dict[str, Spread]:
    """Return the same of the pads, by the evidence's names (``pad_height_mm``)."""
    return _spreads({f"pad_{name}": column for name, column in prepared.pad_numbers.items()}, assumptions)


def _spreads(columns: Mapping[str, FloatArray], assumptions: Assumptions) -> dict[str, Spread]:
    spreads = {name: spread_of(column, assumptions, name) for name, column in columns.items()}
    return {name: spread for name, spread in spreads.items() if spread is not None}
