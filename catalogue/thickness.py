"""Weighs the one length that wears, and the minimum that is stamped for it."""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import combinations
from math import log, log1p, pi

import numpy as np
from scipy.special import log_ndtr, ndtr

from catalogue.assumptions import Assumptions
from catalogue.density import log_normal, log_sum
from catalogue.population import Spread
from catalogue.schema import FloatArray, IntArray

ALL_SUBSETS_UP_TO = 3


@dataclass(frozen=True, eq=False, slots=True)
class Limits:
    """Thickness of new rings and their limits, each (N,), mm; limits NaN where not known."""

    new_mm: FloatArray
    discard_mm: FloatArray
    machine_to_mm: FloatArray

    def at(self, places: IntArray) -> "Limits":
        """Return the rings at some places."""
        return Limits(self.new_mm[places], self.discard_mm[places], self.machine_to_mm[places])

    def discard_or_usual(self, assumptions: Assumptions) -> FloatArray:
        """Return the discard thickness, where not known the usual distance under the new one."""
        return np.where(np.isnan(self.discard_mm), self.new_mm - assumptions.usable_wear_mm, self.discard_mm)


@dataclass(frozen=True, eq=False, slots=True)
class ThicknessReadings:
    """Readings of one ring that share its wear.

    Attributes
    ----------
    value_mm, std_mm : (n,) ndarray
        Readings and the standard deviations of their errors.
    new, lip : float
        Probability that the ring is new, and that a used one was read over its unworn lip.
    shift_mm : (N,) ndarray or float
        Expected error of the readings for each row, where other lengths of the photo tell it.
    """

    value_mm: FloatArray
    std_mm: FloatArray
    new: float
    lip: float
    shift_mm: FloatArray | float = 0.0


def log_worn(read_mm: FloatArray, std_mm: FloatArray | float, limits: Limits, assumptions: Assumptions) -> FloatArray:
    """Return the log density of a reading on a worn ring.

    Wear is even from none to the discard limit; a share ``wear_below_limit`` is worn past it, by an exponential of
    mean ``wear_below_scale_mm``. Both are convolved with the reading's normal error in closed form: a difference of
    two normal integrals, and an exponentially modified normal.

    Parameters
    ----------
    read_mm : (N,) ndarray or scalar
        Reading for each row.
    std_mm : (N,) ndarray or float
        Standard deviation of reading and tolerance together, mm.
    limits : Limits
        N rows.
    """
    new_mm, discard_mm = limits.new_mm, limits.discard_or_usual(assumptions)
    past, scale_mm = assumptions.wear_below_limit, assumptions.wear_below_scale_mm
    above, below = (new_mm - read_mm) / std_mm, (discard_mm - read_mm) / std_mm
    with np.errstate(divide="ignore"):
        even = log1p(-past) - np.log(new_mm - discard_mm) + np.log(_normal_between(below, above))
    ratio = std_mm / scale_mm
    tail = log(past / scale_mm) - below * ratio + 0.5 * ratio**2 + log_ndtr(below - ratio)
    return log_sum([even, tail])


def _normal_between(low: FloatArray, high: FloatArray) -> FloatArray:
    """Return the normal integral between two bounds, from the side on which it doesn't cancel."""
    flip = low > 0
    between: FloatArray = np.where(flip, ndtr(-low) - ndtr(-high), ndtr(high) - ndtr(low))
    return between


def log_thickness(readings: ThicknessReadings, limits: Limits, assumptions: Assumptions, spread: Spread) -> FloatArray:
    """Return log p(readings | row), (N,), each reading gross with its chance, then of something else."""
    return log_thickness_mixture(readings, limits, assumptions, spread)[0]


def log_thickness_mixture(
    readings: ThicknessReadings, limits: Limits, assumptions: Assumptions, spread: Spread
) -> tuple[FloatArray, FloatArray]:
    """Return the same, and of it the part in which no reading is gross; (N,) each."""
    terms = []
    for gross in _gross_subsets(len(readings.value_mm)):
        sound = [place for place in range(len(readings.value_mm)) if place not in gross]
        weight = len(gross) * log(assumptions.gross_error) + len(sound) * log1p(-assumptions.gross_error)
        alone = sum(float(spread.log_gross(readings.value_mm[place], readings.std_mm[place])) for place in gross)
        terms.append(weight + alone + _log_sound(readings, sound, limits, assumptions))
    return log_sum(terms), terms[0]


def _log_sound(
    readings: ThicknessReadings, sound: Sequence[int], limits: Limits, assumptions: Assumptions
) -> FloatArray:
    """Several readings of one wear say the same as their weighted mean, but for a constant."""
    if not sound:
        return np.zeros(len(limits.new_mm))
    value, variance = readings.value_mm[list(sound)], readings.std_mm[list(sound)] ** 2
    mean_variance = 1 / float((1 / variance).sum())
    mean = float((value / variance).sum()) * mean_variance
    apart = -0.5 * float(((value - mean) ** 2 / variance).sum())
    constant = apart - 0.5 * float(np.log(2 * pi * variance).sum()) + 0.5 * log(2 * pi * mean_variance)
    return constant + log_one_reading(mean - readings.shift_mm, mean_variance, readings, (limits, assumptions))


def log_one_reading(
    read_mm: FloatArray | float, variance: float, readings: ThicknessReadings, given: tuple[Limits, Assumptions]
) -> FloatArray:
    """Return the log density of one reading, gross errors aside: new, over the lip, or worn.

    ``readings`` says with which chances; its values don't count here.
    """
    limits, assumptions = given
    std_mm = float(np.sqrt(variance + assumptions.tolerance_mm["thickness_mm"] ** 2))
    read = np.broadcast_to(np.asarray(read_mm, dtype=np.float64), limits.new_mm.shape)
    terms = []
    if readings.new > 0:
        terms.append(log(readings.new) + log_normal(read - limits.new_mm, std_mm))
    used = 1 - readings.new
    if used * readings.lip > 0:
        over_lip = log_normal(read - limits.new_mm, float(np.hypot(std_mm, assumptions.lip_std_mm)))
        terms.append(log(used * readings.lip) + over_lip)
    if used * (1 - readings.lip) > 0:
        terms.append(log(used * (1 - readings.lip)) + log_worn(read, std_mm, limits, assumptions))
    return log_sum(terms)


def log_min_mark(
    mark_mm: float, kind: str, limits: Limits, given: tuple[Assumptions, Spread]
) -> tuple[FloatArray, FloatArray]:
    """Return log p(stamped minimum | row), the discard figure, the machine-to figure or misread, and of it the part
    in which it is not misread; (N,) each.
    """
    assumptions, spread = given
    discard_share = {"discard": 1.0, "machine-to": 0.0}.get(kind, assumptions.mark_is_discard)
    known, rounding = np.isfinite(limits.discard_mm), assumptions.mark_std_mm
    discard_std = np.where(known, rounding, float(np.hypot(rounding, assumptions.usable_wear_std_mm)))
    machine_known = np.isfinite(limits.machine_to_mm)
    machine_mm = np.where(
        machine_known, limits.machine_to_mm, limits.discard_or_usual(assumptions) + assumptions.machining_allowance_mm
    )
    machine_std = np.where(machine_known, rounding, np.hypot(discard_std, assumptions.machining_allowance_mm / 2))
    misread = spread.log_gross(mark_mm + assumptions.usable_wear_mm, rounding)
    gross = np.full(len(known), log(assumptions.gross_error) + float(misread))
    terms, sound = [], log1p(-assumptions.gross_error)
    if discard_share > 0:
        deviation = mark_mm - limits.discard_or_usual(assumptions)
        terms.append(sound + log(discard_share) + log_normal(deviation, discard_std))
    if discard_share < 1:
        terms.append(sound + log(1 - discard_share) + log_normal(mark_mm - machine_mm, machine_std))
    return log_sum([gross, *terms]), log_sum(terms)


def _gross_subsets(count: int) -> list[tuple[int, ...]]:
    places = range(count)
    if count <= ALL_SUBSETS_UP_TO:
        return [subset for size in range(count + 1) for subset in combinations(places, size)]
    return [(), *((place,) for place in places), tuple(places)]
