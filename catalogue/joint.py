"""Weighs lengths that don't wear: jointly, with their covariance, tolerances, missing cells and gross errors."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import combinations
from math import log, log1p, pi

import numpy as np

from catalogue.assumptions import Assumptions
from catalogue.density import log_normal, log_sum
from catalogue.population import Spread
from catalogue.schema import BoolArray, FloatArray, IntArray

ALL_SUBSETS_UP_TO = 4
"""Up to so many readings each subset may be gross; beyond, one reading, one photo, or all of them."""


FAR_STDS = 12.0
"""A reading so far off is gross: a sound one would be e^-72 as likely as at its best, less than any misreading."""


@dataclass(frozen=True, eq=False, slots=True)
class Nominals:
    """What a table says of some lengths.

    Attributes
    ----------
    value : (N + 1, K) ndarray
        Nominal lengths, NaN where not known; the last row is all NaN.
    tolerance : (K,) ndarray
        Standard deviation of a part about its nominal.
    spread : tuple of Spread, K
        The population that a cell not known is drawn from.
    """

    value: FloatArray
    tolerance: FloatArray
    spread: tuple[Spread, ...]


@dataclass(frozen=True, eq=False, slots=True)
class Readings:
    """What was read.

    Attributes
    ----------
    value : (n,) ndarray
    covariance : (n, n) ndarray
        Of the reading errors.
    column : tuple of int, n
        Which of the nominals each is a reading of.
    sources : tuple of tuple of int
        Readings that may go wrong together: those of one photo.
    """

    value: FloatArray
    covariance: FloatArray
    column: tuple[int, ...]
    sources: tuple[tuple[int, ...], ...] = ()


def log_likelihood(readings: Readings, nominals: Nominals, gross_error: float) -> FloatArray:
    """Return log p(readings | row) for each row, (N + 1,).

    A reading is of the part's length, nominal and tolerance, or, by a gross error, of something else (see
    ``Spread.log_gross``). A length that a row lacks is drawn from the population too, once for all its readings.
    """
    return log_mixture(readings, nominals, gross_error)[0]


def log_mixture(readings: Readings, nominals: Nominals, gross_error: float) -> tuple[FloatArray, FloatArray]:
    """Return the same, and of it the part in which no reading is grossly wrong; (N + 1,) each."""
    mixture = (_gross_log_density(readings, nominals), list(_gross_subsets(readings, gross_error)))
    missing = np.isnan(nominals.value)
    either, sound = np.empty(len(missing)), np.full(len(missing), -np.inf)
    for pattern in patterns(missing):
        residual, covariance = residuals(readings, nominals, pattern)
        for off, near in patterns(_far(residual, covariance, readings.column)):
            rows = pattern[1][near]
            terms = _terms(residual[near], covariance, off[list(readings.column)], mixture)
            either[rows] = log_sum(terms)
            if not off.any():
                sound[rows] = terms[0]
    return either, sound


def log_other_class(readings: Readings, nominals: Nominals, assumptions: Assumptions) -> float:
    """Return log p(readings | a part of another class of car), of which the table knows no length."""
    width = len(nominals.tolerance)
    spread = tuple(each.of_another_class(assumptions) for each in nominals.spread)
    strange = Nominals(np.full((1, width), np.nan), nominals.tolerance, spread)
    nothing_known = (np.ones(width, dtype=np.bool_), np.zeros(1, dtype=np.int64))
    residual, covariance = residuals(readings, strange, nothing_known)
    mixture = (_gross_log_density(readings, nominals), list(_gross_subsets(readings, assumptions.gross_error)))
    off = np.zeros(len(readings.value), dtype=np.bool_)
    return float(log_sum(_terms(residual, covariance, off, mixture))[0])


def _far(residual: FloatArray, covariance: FloatArray, column: tuple[int, ...]) -> BoolArray:
    """Return for each row and column, (rows, K), whether all its readings are too far off to be sound."""
    off = residual**2 > FAR_STDS**2 * np.diag(covariance)
    places = [[place for place, of in enumerate(column) if of == each] for each in range(max(column) + 1)]
    return np.column_stack([off[:, of_column].all(axis=1) for of_column in places])


def patterns(missing: BoolArray) -> Iterator[tuple[BoolArray, IntArray]]:
    """Yield each pattern of missing columns with the places of the rows that have it."""
    codes = missing @ (1 << np.arange(missing.shape[1]))
    for code in np.flatnonzero(np.bincount(codes)):
        rows = np.flatnonzero(codes == code)
        yield missing[rows[0]], rows


def _terms(
    residual: FloatArray,
    covariance: FloatArray,
    off: BoolArray,
    mixture: tuple[FloatArray, Sequence[tuple[float, list[int]]]],
) -> list[FloatArray]:
    """Return a log density for each set of readings that may be gross, none of them first; those ``off`` must be."""
    alone, subsets = mixture
    terms = []
    for log_weight, gross in subsets:
        sound = [place for place in range(len(alone)) if place not in gross]
        if not off[sound].any():
            terms.append(log_weight + alone[gross].sum() + _log_normal_joint(residual, covariance, sound))
    return terms


def residuals(
    readings: Readings, nominals: Nominals, pattern: tuple[BoolArray, IntArray]
) -> tuple[FloatArray, FloatArray]:
    """Return readings less expectation, (rows, n), and their covariance, (n, n), for rows of one pattern."""
    lacking, rows = pattern
    columns = list(readings.column)
    mean = np.array([spread.mean for spread in nominals.spread])
    std = np.where(lacking, [spread.std for spread in nominals.spread], nominals.tolerance)
    expected = np.where(lacking, mean, nominals.value[rows])[:, columns]
    of_column = np.equal.outer(columns, np.arange(len(mean))).astype(np.float64)
    return readings.value - expected, readings.covariance + (of_column * std**2) @ of_column.T


def _log_normal_joint(residual: FloatArray, covariance: FloatArray, places: list[int]) -> FloatArray:
    if not places:
        return np.zeros(len(residual))
    if len(places) == 1:
        place = places[0]
        return log_normal(residual[:, place], float(np.sqrt(covariance[place, place])))
    root = np.linalg.cholesky(covariance[np.ix_(places, places)])
    whitened: list[FloatArray] = []
    for row, place in enumerate(places):  # forward substitution: a few long columns, no product of matrices
        left = residual[:, place] - sum(root[row, before] * each for before, each in enumerate(whitened))
        whitened.append(left / root[row, row])
    quadratic: FloatArray = np.sum([each**2 for each in whitened], axis=0)
    return -0.5 * quadratic - float(np.log(np.diag(root)).sum()) - 0.5 * len(places) * log(2 * pi)


def _gross_log_density(readings: Readings, nominals: Nominals) -> FloatArray:
    stds = np.sqrt(np.diag(readings.covariance))
    read = zip(readings.value, stds, readings.column, strict=True)
    return np.array([float(nominals.spread[column].log_gross(value, std)) for value, std, column in read])


def _gross_subsets(readings: Readings, gross_error: float) -> Iterator[tuple[float, list[int]]]:
    """Yield log weight and places of the readings that are gross, none of them first."""
    count = len(readings.value)
    places = range(count)
    subsets: set[tuple[int, ...]] = {(), tuple(places), *((place,) for place in places), *readings.sources}
    if count <= ALL_SUBSETS_UP_TO:
        subsets |= {subset for size in places for subset in combinations(places, size)}
    for subset in sorted(subsets, key=lambda each: (len(each), each)):
        as_a_whole = len(subset) > 1 and subset in readings.sources
        gross = 1 if as_a_whole else len(subset)
        yield gross * log(gross_error) + (count - len(subset)) * log1p(-gross_error), list(subset)
