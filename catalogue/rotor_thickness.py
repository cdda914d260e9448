"""Gathers what was read of a rotor's thickness and its stamped minimum, and weighs it against every rotor."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from catalogue.assumptions import Assumptions
from catalogue.density import log_normal, log_sum
from catalogue.factor import Factor
from catalogue.names import give_or_take
from catalogue.observation import AxleEvidence, Measured
from catalogue.population import Spread
from catalogue.prepare import distinct_rotors
from catalogue.rotor_lengths import NEVER, Coupling, Population, WeighedGroup, couple_thickness, std_of
from catalogue.schema import FloatArray, IntArray
from catalogue.thickness import Limits, ThicknessReadings, log_min_mark, log_thickness_mixture

GRID_STDS = 4.0
GRID_STEP = 1.5
"""Step of the grid of unknown rings, in tolerances of the thickness: fine enough for the sharpest reading."""

TRAIT = "thickness_mm"
"""What all of these speak of."""

RING = ("thickness_mm", "min_thickness_mm", "machine_to_mm")


@dataclass(frozen=True, eq=False, slots=True)
class _Weighed:
    """One source's log likelihood, and its part without gross errors, over the different rings, (U,), and over the
    grid of unknown ones, (G,); ``place`` says which of the U each rotor has, None each its own.
    """

    evidence: str
    of_rings: FloatArray
    sound: FloatArray
    of_grid: FloatArray
    said: str
    place: IntArray | None


@dataclass(frozen=True, eq=False, slots=True)
class _Rings:
    """The different rings of the catalogue, then a grid of rings that an unknown rotor may have.

    Attributes
    ----------
    limits : Limits
        U different rings, G of the grid.
    place : (N + 1,) ndarray of int
        Which of the U each rotor has.
    log_weight : (G,) ndarray
        Of the grid's.
    log_weight_other : (G,) ndarray
        The same of rotors of another class of car.
    """

    limits: Limits
    place: IntArray
    log_weight: FloatArray
    log_weight_other: FloatArray

    def split(self, evidence: str, log_limits: tuple[FloatArray, FloatArray], said: str) -> _Weighed:
        """Return what a log likelihood over ``limits``, and its part without gross errors, say of every rotor."""
        either, sound = log_limits
        own = len(either) - len(self.log_weight)
        return _Weighed(evidence, either[:own], sound[:own], either[own:], said, self.place)


def thickness_factors(axle: AxleEvidence, groups: Sequence[WeighedGroup], population: Population) -> list[Factor]:
    """Weigh every reading of the thickness, by hand and off photos, and the stamped minimum.

    For the rotor of which nothing is known the new thickness is integrated over the population, once for all the
    readings: they are of one ring.
    """
    assumptions, spread = population.assumptions, population.spread["thickness_mm"]
    rings = _rings(population)
    weighed = _by_hand(axle, rings, assumptions, spread)
    for photo in enumerate(axle.measurements):
        weighed += _off_photo(photo, axle, groups, (population, rings))
    if axle.min_mark_mm is not None and axle.min_mark_mm <= assumptions.thickest_mark_mm:
        log_limits = log_min_mark(axle.min_mark_mm, axle.mark_kind, rings.limits, (assumptions, spread))
        weighed.append(rings.split("min_thickness_mark_mm", log_limits, f"{axle.min_mark_mm:g} stamped"))
    return _as_factors(weighed, (rings.log_weight, rings.log_weight_other))


def _rings(population: Population) -> _Rings:
    distinct, assumptions = distinct_rotors(population.prepared, RING), population.assumptions
    spread = population.spread["thickness_mm"]
    grid = _grid(spread, assumptions)
    nothing = np.full(len(grid), np.nan)
    columns = distinct.value.T
    new_mm = np.where(np.isnan(columns[0]), grid[0], columns[0])  # the unknown rotor's is integrated over the grid
    limits = Limits(
        np.concatenate([new_mm, grid]),
        np.concatenate([columns[1], nothing]),
        np.concatenate([columns[2], nothing]),
    )
    log_weights = (_log_weight(grid, each) for each in (spread, spread.of_another_class(assumptions)))
    return _Rings(limits, distinct.place, *log_weights)


def _grid(spread: Spread, assumptions: Assumptions) -> FloatArray:
    """Return new thicknesses that an unknown rotor, of another class too, may have, (G,), mm."""
    step = GRID_STEP * assumptions.tolerance_mm["thickness_mm"]
    reach = GRID_STDS * spread.std
    far = reach * assumptions.other_class_widening
    high = max(min(spread.mean + far, assumptions.thickest_mark_mm), spread.mean + reach)
    return np.arange(max(spread.mean - far, step), high, step)


def _log_weight(grid: FloatArray, spread: Spread) -> FloatArray:
    log_weight = log_normal(grid - spread.mean, spread.std)
    normalised: FloatArray = log_weight - np.logaddexp.reduce(log_weight)
    return normalised


def _as_factors(weighed: Sequence[_Weighed], log_weights: tuple[FloatArray, FloatArray]) -> list[Factor]:
    """Give each source its value for the unknown rotor, and for one of another class, given the sources before it."""
    factors = []
    log_weight, log_weight_other = log_weights
    for source in weighed:
        of_grid, of_other = log_weight + source.of_grid, log_weight_other + source.of_grid
        unknown, other = np.logaddexp.reduce(of_grid), float(np.logaddexp.reduce(of_other))
        log_weight, log_weight_other = of_grid - unknown, of_other - other
        of_rings = source.of_rings.copy()
        of_rings[-1 if source.place is None else source.place[-1]] = unknown
        factors.append(
            Factor(
                source.evidence,
                "rotor",
                of_rings,
                source.said,
                source.place,
                TRAIT,
                log_sound=source.sound,
                log_other_class=other,
            )
        )
    return factors


def _by_hand(axle: AxleEvidence, rings: _Rings, assumptions: Assumptions, spread: Spread) -> list[_Weighed]:
    if not axle.thickness_mm:
        return []
    readings = hand_thickness(axle, assumptions)
    values = ", ".join(f"{value:g}" for value in readings.value_mm)
    log_limits = log_thickness_mixture(readings, rings.limits, assumptions, spread)
    return [rings.split("thickness_mm", log_limits, f"{values} ± {readings.std_mm.max():g}")]


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
    groups: Sequence[WeighedGroup],
    given: tuple[Population, _Rings],
) -> list[_Weighed]:
    population, rings = given
    _, measured = photo
    if measured.lengths is None or "thickness_mm" not in measured.lengths.keys:
        return []
    readings = _photo_thickness(measured, axle, population.assumptions)
    spread = population.spread["thickness_mm"]
    log_limits = log_thickness_mixture(readings, rings.limits, population.assumptions, spread)
    said = f"thickness {give_or_take(readings.value_mm[0], readings.std_mm[0])}"
    plain = rings.split("measurements", log_limits, said)
    coupling = couple_thickness(photo, groups, population)
    return [plain if coupling is None else _coupled(readings, plain, coupling, (population, rings))]


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
    readings: ThicknessReadings, plain: _Weighed, coupling: Coupling, given: tuple[Population, _Rings]
) -> _Weighed:
    """Weigh the thickness by the error that the photo's other lengths tell, so far as those are sound."""
    population, rings = given
    told = (readings, coupling, population)
    either, sound = plain.of_rings[rings.place], plain.sound[rings.place]
    near = np.flatnonzero(coupling.sound > NEVER)
    limits = rings.limits.at(rings.place[near])
    either[near], sound[near] = _with_error_told(told, limits, near, (either[near], sound[near]))
    own, whole = len(plain.of_rings), len(rings.limits.new_mm)
    unknown = np.full(whole - own, len(either) - 1)
    of_grid, _ = _with_error_told(told, rings.limits.at(np.arange(own, whole)), unknown, (plain.of_grid, plain.of_grid))
    return replace(plain, of_rings=either, sound=sound, of_grid=of_grid, place=None)


def _with_error_told(
    told: tuple[ThicknessReadings, Coupling, Population],
    limits: Limits,
    at: IntArray,
    plain: tuple[FloatArray, FloatArray],
) -> list[FloatArray]:
    """Return the ``plain`` log likelihoods of the rotors ``at``, mixed with those by the error that is told."""
    readings, coupling, population = told
    shifted = replace(readings, std_mm=np.array([coupling.std_mm]), shift_mm=coupling.shift_mm[at])
    logs = log_thickness_mixture(shifted, limits, population.assumptions, population.spread["thickness_mm"])
    with np.errstate(divide="ignore"):
        sound, gross = np.log(coupling.sound[at]), np.log1p(-coupling.sound[at])
    return [log_sum([sound + one, gross + other]) for one, other in zip(logs, plain, strict=True)]
