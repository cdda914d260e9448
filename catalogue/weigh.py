"""Weighs all that was observed of one axle against every package row of the catalogue."""

from collections.abc import Callable
from dataclasses import dataclass, replace
from math import log, log1p

import numpy as np

from catalogue.assumptions import Assumptions
from catalogue.density import log_normal, log_sum
from catalogue.factor import Factor
from catalogue.joint import Nominals, Readings, log_mixture, log_other_class
from catalogue.kinds import (
    KINDS,
    kind_likelihood,
    log_of_counts,
    log_of_kinds,
    piston_likelihood,
    replaced_surface,
)
from catalogue.marks import MarkIndex, log_mark, pad_marks, rotor_marks, shape_numbers
from catalogue.names import plain_name
from catalogue.observation import LENGTHS, AxleEvidence, Lengths, Measured
from catalogue.percent import percent
from catalogue.population import Spread, spread_of
from catalogue.prepare import (
    Prepared,
    caliper_shares,
    distinct_rotors,
    pad_spreads,
    rotor_counts,
    rotor_shares,
    rotor_spreads,
)
from catalogue.rooms import sum_over_rooms
from catalogue.rotor_lengths import Population, group_readings, hand_readings, std_of, weigh_group
from catalogue.rotor_thickness import thickness_factors
from catalogue.schema import AXLES, UNKNOWN, BoolArray, FloatArray, IntArray
from catalogue.stranger import Kin, kin_of
from catalogue.wheel import least_wheel_in, wheel_likelihood

LOG_WIDE = 0.5
"""Spread of the logarithm of a ratio that was taken of the wrong circle."""


@dataclass(frozen=True, slots=True)
class Ignored:
    """Evidence that was accepted and not weighed, and why."""

    evidence: str
    why: str


@dataclass(frozen=True, eq=False, slots=True)
class WeighedAxle:
    """One axle's evidence.

    Attributes
    ----------
    factors : tuple of Factor
        One a piece of evidence.
    log_likelihood : (P + 1,) ndarray
        All of them together for each package row, and for the one of which nothing is known.
    kin : Kin
        The same of a stranger that is kin of each row's parts.
    log_other_class : float
        The same of a stranger of another class of car.
    ignored : tuple of Ignored
    """

    factors: tuple[Factor, ...]
    log_likelihood: FloatArray
    kin: Kin
    log_other_class: float
    ignored: tuple[Ignored, ...]


def weigh_axle(
    prepared: Prepared, observed: tuple[str, AxleEvidence], scope: BoolArray | None, assumptions: Assumptions
) -> WeighedAxle:
    """Weigh one axle's evidence.

    Parameters
    ----------
    prepared : Prepared
    observed : ({"front", "rear", "unknown"}, AxleEvidence)
        The name decides on the population that unknown cells are drawn from.
    scope : (F,) ndarray of bool, or None for all
        Fitments of the vehicle.
    assumptions : Assumptions
    """
    weighing = _Weighing(prepared, observed, scope, assumptions)
    for weigh in _STEPS:
        weigh(weighing)
    factors = tuple(weighing.factors)
    log_likelihood = sum_over_rooms(prepared, [(factor.room, factor.log_likelihood) for factor in factors])
    kin = kin_of(prepared, factors, assumptions)
    other_class = sum(factor.of_other_class for factor in factors)
    return WeighedAxle(factors, log_likelihood, kin, other_class, tuple(weighing.ignored))


class _Weighing:
    """One axle's evidence on its way: what is weighed and what is passed over."""

    def __init__(
        self, prepared: Prepared, observed: tuple[str, AxleEvidence], scope: BoolArray | None, assumptions: Assumptions
    ) -> None:
        self.prepared = prepared
        self.name, self.axle = observed
        self.rows = prepared.rotor_rows[self.name]
        self.scope = scope
        self.assumptions = assumptions
        self.factors: list[Factor] = []
        self.ignored: list[Ignored] = []

    def pass_over(self, evidence: str, why: str) -> None:
        """Note evidence that is not weighed."""
        self.ignored.append(Ignored(evidence, why))


def _weigh_rotor_lengths(weighing: _Weighing) -> None:
    axle, assumptions = weighing.axle, weighing.assumptions
    population = Population(weighing.prepared, weighing.name, assumptions)
    hand = hand_readings(axle, assumptions)
    for reading in hand:
        if reading.key not in population.spread:
            weighing.pass_over(reading.evidence, "no rotor in the catalogue has this length filled in")
    groups = group_readings(hand, axle.measurements, population.spread, assumptions)
    weighed = [(group, weigh_group(group, population)) for group in groups]
    weighing.factors += [factor for _, factor in weighed]
    weighing.factors += thickness_factors(axle, weighed, population)
    if axle.min_mark_mm is not None and axle.min_mark_mm > assumptions.thickest_mark_mm:
        why = f"{axle.min_mark_mm:g} mm is no thickness: it is likely the drum diameter of the parking brake in the hat"
        weighing.pass_over("min_thickness_mark_mm", why)


def _weigh_ratios(weighing: _Weighing) -> None:
    """Weigh photos without a scale: lengths over the diameter, in logarithms; the scale falls out."""
    photos = [_log_ratios(photo) for photo in weighing.axle.measurements if photo.ratios is not None]
    if not photos:
        return
    numbers, assumptions = weighing.prepared.rotor_numbers, weighing.assumptions
    keys = [key for key in LENGTHS if any(key in _names(photo) for photo in photos)]
    columns = {key: np.log(numbers[key] / numbers["diameter_mm"]) for key in keys}
    spread = {key: _log_spread(columns[key][weighing.rows], assumptions) for key in keys}
    known = {key: each for key, each in spread.items() if each is not None}
    tolerance = {key: _log_tolerance(weighing, key) for key in known}
    for group in group_readings((), photos, known, assumptions):
        value = np.column_stack([columns[key] for key in group.keys])
        of_group = np.array([tolerance[key] for key in group.keys])
        nominals = Nominals(value, of_group, tuple(known[key] for key in group.keys))
        log_rows, sound = log_mixture(group.readings, nominals, assumptions.gross_error)
        said = ", ".join(_ratio_said(group.keys[column], each) for column, each in _pairs(group.readings))
        trait = " ".join(("ratio", *group.keys))
        other = log_other_class(group.readings, nominals, assumptions)
        weighing.factors.append(
            Factor("measurements", "rotor", log_rows, said, trait=trait, log_sound=sound, log_other_class=other)
        )


def _names(photo: Measured) -> tuple[str, ...]:
    return () if photo.lengths is None else photo.lengths.keys


def _pairs(readings: Readings) -> list[tuple[int, float]]:
    return list(zip(readings.column, np.exp(readings.value).tolist(), strict=True))


def _ratio_said(key: str, ratio: float) -> str:
    return f"{plain_name(key)} over diameter {ratio:.3f}"


def _log_ratios(photo: Measured) -> Measured:
    """Return a photo's ratios as if they were its lengths, in logarithms."""
    ratios = photo.ratios
    assert ratios is not None
    covariance = ratios.covariance / np.outer(ratios.value, ratios.value)
    return Measured(lengths=Lengths(ratios.keys, np.log(ratios.value), covariance))


def _log_spread(values: FloatArray, assumptions: Assumptions) -> Spread | None:
    spread = spread_of(values, assumptions)
    least = assumptions.least_spread("ratio") * assumptions.population_widening
    return None if spread is None else replace(spread, std=max(spread.std, least), wide=LOG_WIDE)


def _log_tolerance(weighing: _Weighing, key: str) -> float:
    numbers, tolerance = weighing.prepared.rotor_numbers, weighing.assumptions.tolerance_mm
    own = tolerance[key] / float(np.nanmean(numbers[key][weighing.rows]))
    diameter = tolerance["diameter_mm"] / float(np.nanmean(numbers["diameter_mm"][weighing.rows]))
    return float(np.hypot(own, diameter))


def _weigh_pad_lengths(weighing: _Weighing) -> None:
    assumptions, numbers = weighing.assumptions, weighing.prepared.pad_numbers
    for evidence, reading in weighing.axle.pad_lengths.items():
        column = numbers[evidence.removeprefix("pad_")]
        spread = pad_spreads(weighing.prepared, assumptions).get(evidence)
        if spread is None:
            weighing.pass_over(evidence, "no pads in the catalogue have this length filled in")
            continue
        std = std_of(reading, evidence, assumptions)
        nominals = Nominals(column[:, None], np.array([assumptions.tolerance_mm[evidence]]), (spread,))
        readings = Readings(np.array([reading.value]), np.array([[std**2]]), (0,))
        log_rows, sound = log_mixture(readings, nominals, assumptions.gross_error)
        other = log_other_class(readings, nominals, assumptions)
        said = f"{reading.value:g} ± {std:g}"
        weighing.factors.append(Factor(evidence, "pads", log_rows, said, log_sound=sound, log_other_class=other))


def _weigh_mass(weighing: _Weighing) -> None:
    reading, assumptions = weighing.axle.mass_kg, weighing.assumptions
    if reading is None:
        return
    mass = weighing.prepared.rotor_numbers["mass_kg"]
    spread = rotor_spreads(weighing.prepared, weighing.name, assumptions).get("mass_kg")
    if spread is None:
        weighing.pass_over("mass_kg", "no rotor in the catalogue has a mass filled in")
        return
    std = std_of(reading, "mass_kg", assumptions)
    known = np.isfinite(mass)
    expected = np.append(np.where(known, mass, spread.mean), spread.mean)  # the last is of another class of car
    spread_kg = np.append(
        np.where(known, assumptions.scale_share * mass, spread.std), spread.of_another_class(assumptions).std
    )
    log_gross = log(assumptions.gross_error) + float(spread.log_gross(reading.value, std))
    sound = log1p(-assumptions.gross_error) + log_normal(reading.value - expected, np.hypot(std, spread_kg))
    *rows, other = log_sum([sound, np.full(len(expected), log_gross)])
    said = f"{reading.value:g} ± {std:g} kg"
    weighing.factors.append(
        Factor("mass_kg", "rotor", np.array(rows), said, log_sound=sound[:-1], log_other_class=float(other))
    )


def _weigh_rotor_kinds(weighing: _Weighing) -> None:
    for key in ("surface", "construction", "ventilation"):
        likelihood = kind_likelihood(weighing.axle, key, weighing.assumptions)
        if likelihood is None:
            continue
        if key == "surface":
            likelihood = replaced_surface(likelihood, weighing.axle, weighing.assumptions)
        codes = weighing.prepared.rotor_codes[key]
        shares = rotor_shares(weighing.prepared, weighing.name, key, len(likelihood))
        log_kinds = log_of_kinds(likelihood, shares)
        weighing.factors.append(Factor(key, "rotor", log_kinds, _kind_said(weighing.axle, key, likelihood), codes))


def _kind_said(axle: AxleEvidence, key: str, likelihood: FloatArray) -> str:
    if key in axle.words:
        return f"told {axle.words[key]}"
    best = int(np.argmax(likelihood))
    return f"seen as {KINDS[key][best]} ({percent(likelihood[best] / likelihood.sum())})"


def _weigh_caliper_kinds(weighing: _Weighing) -> None:
    for key, column in (("caliper_mount", "mount"), ("parking_brake", "parking_brake")):
        likelihood = kind_likelihood(weighing.axle, key, weighing.assumptions)
        if likelihood is not None:
            codes = weighing.prepared.caliper_codes[column]
            shares = caliper_shares(weighing.prepared, column, len(likelihood))
            log_kinds = log_of_kinds(likelihood, shares)
            weighing.factors.append(Factor(key, "caliper", log_kinds, f"told {weighing.axle.words[key]}", codes))


def _weigh_bolt_count(weighing: _Weighing) -> None:
    axle, assumptions = weighing.axle, weighing.assumptions
    observed = [measured.bolt_count for measured in axle.measurements if measured.bolt_count is not None]
    if axle.bolt_count is not None:
        observed.insert(0, (axle.bolt_count, assumptions.counted_rightly))
    if observed:
        distinct = distinct_rotors(weighing.prepared, ("bolt_count",))
        population = rotor_counts(weighing.prepared, weighing.name, "bolt_count")
        log_counts = log_of_counts(observed, distinct.value[:, 0], population, assumptions)
        said = ", ".join(f"{count} bolt holes" for count, _ in observed)
        counts = distinct.value[:, 0]
        miscounted = np.isfinite(counts) & (counts != axle.bolt_count) if axle.bolt_count is not None else False
        sound = np.where(miscounted, -np.inf, log_counts)
        weighing.factors.append(Factor("bolt_count", "rotor", log_counts, said, distinct.place, log_sound=sound))


def _weigh_pistons(weighing: _Weighing) -> None:
    told = weighing.axle.pistons
    if told is None:
        return
    pistons = weighing.prepared.caliper_numbers["pistons"]
    likelihood = piston_likelihood(told, pistons, weighing.assumptions)
    known = np.isfinite(pistons)
    unknown = float(likelihood[known].mean()) if known.any() else 1.0
    log_rows = np.log(np.where(known, likelihood, unknown))
    weighing.factors.append(Factor("pistons", "caliper", log_rows, f"told {told} piston{'s' if told > 1 else ''}"))


def _weigh_marks(weighing: _Weighing) -> None:
    catalogue, axle = weighing.prepared.catalogue, weighing.axle
    if axle.rotor_mark is not None:
        _weigh_mark(weighing, ("rotor_mark", "rotor"), rotor_marks(catalogue), axle.rotor_mark)
    if axle.pad_mark is not None:
        _weigh_mark(weighing, ("pad_mark", "pads"), pad_marks(catalogue), axle.pad_mark)
    if axle.pad_shape_number is not None:
        _weigh_mark(weighing, ("pad_shape_number", "pads"), shape_numbers(catalogue), axle.pad_shape_number)


def _weigh_mark(weighing: _Weighing, place: tuple[str, str], index: MarkIndex, mark: str) -> None:
    evidence, room = place
    log_rows, known = log_mark(index, mark, _possible_parts(weighing, room), weighing.assumptions)
    said = f"{mark} read off the part" + ("" if known else ", a number that the catalogue doesn't know")
    weighing.factors.append(Factor(evidence, "rotor" if room == "rotor" else "pads", log_rows, said, number=True))


def _possible_parts(weighing: _Weighing, room: str) -> IntArray:
    """Return the rotors or pads that the vehicle may have on the axle, row by row."""
    prepared, catalogue = weighing.prepared, weighing.prepared.catalogue
    package = catalogue.fitments.package
    row = catalogue.packages.row[np.unique(package if weighing.scope is None else package[weighing.scope])]
    rows = row[:, AXLES.index(weighing.name)] if weighing.name in AXLES else row.ravel()
    rows = rows[rows != UNKNOWN]
    return (
        np.concatenate([prepared.rotor[rows], prepared.rotor_right[rows]]) if room == "rotor" else prepared.pads[rows]
    )


def _weigh_wheel(weighing: _Weighing) -> None:
    """Weigh the wheel, whose size caps the rotor's."""
    wheel_in, assumptions, prepared = weighing.axle.wheel_in, weighing.assumptions, weighing.prepared
    if wheel_in is None:
        return
    likelihood = wheel_likelihood(wheel_in, least_wheel_in(prepared, assumptions), assumptions)
    likelihood[-1] = likelihood[:-1].mean()
    log_rows = np.log(likelihood)
    sound = np.where(likelihood > assumptions.gross_error, log_rows, -np.inf)
    weighing.factors.append(Factor("wheel_in", "package", log_rows, f"{wheel_in:g} inch wheel", log_sound=sound))


def _pass_over_colour(weighing: _Weighing) -> None:
    if weighing.axle.caliper_colour is not None:
        weighing.pass_over(
            "caliper_colour", "caliper paint is no evidence: packages share colours, and calipers get painted"
        )


_STEPS: tuple[Callable[[_Weighing], None], ...] = (
    _weigh_rotor_lengths,
    _weigh_ratios,
    _weigh_mass,
    _weigh_rotor_kinds,
    _weigh_bolt_count,
    _weigh_marks,
    _weigh_pad_lengths,
    _weigh_caliper_kinds,
    _weigh_pistons,
    _weigh_wheel,
    _pass_over_colour,
)
