"""Gathers what was read of a rotor's thickness and its stamped minimum, and weighs it against every rotor."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from catalogue.assumptions import Assumptions
from catalogue.factor import Factor
from catalogue.joint import log_normal, log_sum
from catalogue.observation import AxleEvidence, Measured
from catalogue.population import Spread
from catalogue.rotor_lengths import Coupling, Group, RotorTable, couple_thickness, std_of
from catalogue.schema import FloatArray
from catalogue.thickness import Limits, ThicknessReadings, log_min_mark, log_thickness

GRID_STDS = 4.0
GRID_STEP_MM = 0.25


@dataclass(frozen=True, eq=False, slots=True)
class _Weighed:
    """One source's log likelihood over the rotors and, after them, over the grid of unknown ones."""

    evidence: str
    log: FloatArray
    said: str


def thickness_factors(
    axle: AxleEvidence, groups: Sequence[Group], table: RotorTable, assumptions: Assumptions
) -> list[Factor]:
    """Weigh every reading of the thickness, by hand and off photos, and the stamped minimum.

    For the rotor of which nothing is known the new thickness is integrated over the population, once for all the
    readings: they are of one ring.
    """
    spread = table.spread["thickness_mm"]
    grid, log_weight = _grid(spread)
    limits = _limits(table, grid)
    rotors = len(table.column["thickness_mm"]) - 1
    weighed = _by_hand(axle, limits, assumptions, spread)
    for photo in enumerate(axle.measurements):
        weighed += _off_photo(photo, axle, groups, (table, limits, assumptions))
    if axle.min_mark_mm is not None and axle.min_mark_mm <= assumptions.thickest_mark_mm:
        log = log_min_mark(axle.min_mark_mm, axle.mark_kind, limits, (assumptions, spread))
        weighed.append(_Weighed("min_thickness_mark_mm", log, f"{axle.min_mark_mm:g} stamped"))
    return _as_factors(weighed, rotors, log_weight)


def _grid(spread: Spread) -> tuple[FloatArray, FloatArray]:
    """Return new thicknesses that an unknown rotor may have, (G,), mm, and their log weights."""
    low = max(spread.mean - GRID_STDS * spread.std, 1.0)
    grid = np.arange(low, spread.mean + GRID_STDS * spread.std, GRID_STEP_MM)
    log_weight = log_normal(grid - spread.mean, spread.std)
    return grid, log_weight - np.logaddexp.reduce(log_weight)


def _limits(table: RotorTable, grid: FloatArray) -> Limits:
    nothing = np.full(len(grid), np.nan)
    return Limits(
        new_mm=np.concatenate([table.column["thickness_mm"][:-1], grid]),
        discard_mm=np.concatenate([table.column["min_thickness_mm"][:-1], nothing]),
        machine_to_mm=np.concatenate([table.column["machine_to_mm"][:-1], nothing]),
    )


def _as_factors(weighed: Sequence[_Weighed], rotors: int, log_weight: FloatArray) -> list[Factor]:
    """Close each source over the rotors with its value for the unknown one, given the sources before it."""
    factors = []
    for source in weighed:
        of_grid = log_weight + source.log[rotors:]
        unknown = np.logaddexp.reduce(of_grid)
        log_weight = of_grid - unknown
        factors.append(Factor(source.evidence, "rotor", np.append(source.log[:rotors], unknown), source.said))
    return factors


def _by_hand(axle: AxleEvidence, limits: Limits, assumptions: Assumptions, spread: Spread) -> list[_Weighed]:
    if not axle.thickness_mm:
        return []
    readings = hand_thickness(axle, assumptions)
    values = ", ".join(f"{value:g}" for value in readings.value_mm)
    said = f"{values} ± {readings.std_mm.max():g}"
    return [_Weighed("thickness_mm", log_thickness(readings, limits, assumptions, spread), said)]


def hand_thickness(axle: AxleEvidence, assumptions: Assumptions) -> ThicknessReadings:
    """Return the thickness as read by hand."""
    lip = {"lip": 1.0, "swept": 0.0}.get(axle.thickness_over, assumptions.lip_when_unknown)
    return ThicknessReadings(
        value_mm=np.array([reading.value for reading in axle.thickness_mm]),
        std_mm=np.array([std_of(reading, "thickness_mm", assumptions) for reading in axle.thickness_mm]),
        new=chance_new(axle, assumptions),
        lip=lip,
    )


def chance_new(axle: AxleEvidence, assumptions: Assumptions) -> float:
    """Return the probability that the rotor is new."""
    return {"new": 1.0, "used": 0.0}.get(axle.condition, assumptions.new_when_unknown)


def _off_photo(
    photo: tuple[int, Measured],
    axle: AxleEvidence,
    groups: Sequence[Group],
    given: tuple[RotorTable, Limits, Assumptions],
) -> list[_Weighed]:
    table, limits, assumptions = given
    _, measured = photo
    if measured.lengths is None or "thickness_mm" not in measured.lengths.keys:
        return []
    readings = _photo_thickness(measured, axle, assumptions)
    spread = table.spread["thickness_mm"]
    log = log_thickness(readings, limits, assumptions, spread)
    coupling = couple_thickness(photo, groups, table, assumptions)
    if coupling is not None:
        log = _coupled(readings, log, coupling, (limits, assumptions, spread))
    said = f"thickness {readings.value_mm[0]:.1f} ± {readings.std_mm[0]:.1f} off a photo"
    return [_Weighed("measurements", log, said)]


def _photo_thickness(measured: Measured, axle: AxleEvidence, assumptions: Assumptions) -> ThicknessReadings:
    assert measured.lengths is not None
    place = measured.lengths.keys.index("thickness_mm")
    said = measured.thickness_over or "unknown"
    return ThicknessReadings(
        value_mm=measured.lengths.value[[place]],
        std_mm=np.sqrt(measured.lengths.covariance[[place], [place]]),
        new=chance_new(axle, assumptions),
        lip={"lip": 1.0, "swept": 0.0}.get(said, assumptions.lip_when_unknown_photo),
    )


def _coupled(
    readings: ThicknessReadings,
    plain: FloatArray,
    coupling: Coupling,
    given: tuple[Limits, Assumptions, Spread],
) -> FloatArray:
    """Weigh the thickness by the error that the photo's other lengths tell, so far as those are sound."""
    limits, assumptions, spread = given
    over_grid = np.full(len(limits.new_mm) - len(coupling.shift_mm) + 1, coupling.shift_mm[-1])
    shift = np.concatenate([coupling.shift_mm[:-1], over_grid])
    sound = np.concatenate([coupling.sound[:-1], np.full(len(over_grid), coupling.sound[-1])])
    shifted = replace(readings, std_mm=np.array([coupling.std_mm]), shift_mm=shift)
    with np.errstate(divide="ignore"):
        return log_sum([np.log(sound) + log_thickness(shifted, limits, assumptions, spread), np.log1p(-sound) + plain])
