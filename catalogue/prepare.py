"""What the ranking needs of a catalogue and doesn't change from one question to the next, worked out once."""

from collections.abc import Mapping
from dataclasses import dataclass, fields
from functools import lru_cache

import numpy as np

from catalogue.assumptions import Assumptions
from catalogue.population import Spread, spread_of
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
    min_wheel_in : (P + 1,) ndarray
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
    pads: IntArray
    caliper: IntArray
    min_wheel_in: FloatArray
    rotor_rows: dict[str, IntArray]
    weight: FloatArray


@lru_cache(maxsize=KEPT)
def prepare(catalogue: Catalogue) -> Prepared:
    """Prepare ``catalogue``; a second call with the same one costs nothing."""
    packages = catalogue.packages
    right = np.where(packages.rotor_right == UNKNOWN, packages.rotor, packages.rotor_right)
    return Prepared(
        catalogue=catalogue,
        rotor_numbers=_numbers(catalogue.rotors),
        pad_numbers=_numbers(catalogue.pads),
        caliper_numbers=_numbers(catalogue.calipers),
        rotor_codes=_codes(catalogue.rotors),
        caliper_codes=_codes(catalogue.calipers),
        rotor=_and_unknown(packages.rotor),
        rotor_right=_and_unknown(right),
        pads=_and_unknown(packages.pads),
        caliper=_and_unknown(packages.caliper),
        min_wheel_in=np.append(packages.min_wheel_in, np.nan),
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
    spreads = {name: spread_of(column, assumptions) for name, column in columns.items()}
    return {name: spread for name, spread in spreads.items() if spread is not None}
