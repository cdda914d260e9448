"""The checks a person could make next, and what each would read for a few packages."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from catalogue.assumptions import Assumptions
from catalogue.kinds import KINDS, OTHER_COUNTS, piston_likelihood
from catalogue.observation import LENGTHS, AxleEvidence
from catalogue.outcome import CapOutcome, NormalOutcome, Outcome, ThicknessOutcome, WordOutcome
from catalogue.population import Spread
from catalogue.prepare import Prepared, caliper_shares, pad_spreads, rotor_shares, rotor_spreads
from catalogue.rotor_lengths import std_of
from catalogue.rotor_thickness import hand_thickness
from catalogue.schema import UNKNOWN, FloatArray, IntArray
from catalogue.thickness import Limits
from catalogue.wheel import least_wheel_in, wheel_likelihood, wheels_fitted

SHARPER = 1.5
"""A length already read is worth reading again where the check's error is less than the reading's by this factor."""

PHOTO_OF_SURFACE = "surface on a photo"
"""A second look at the surface, by another eye; it brings the evidence ``surface`` too."""

HOW: Mapping[str, str] = {
    "surface": "Look at the friction face: plain, slots, holes that go through, dimples that end, or both?",
    PHOTO_OF_SURFACE: "Take a photo of the friction face, square to it: it tells holes from dimples by their shade.",
    "construction": "Look at the joint of hat and ring: bolts or rivets all round mean two-piece.",
    "ventilation": "Look at the rotor's edge: one solid ring, or two with vanes between?",
    "bolt_count": "Count the wheel bolts or studs.",
    "diameter_mm": "Lay a tape round the rim and enter the girth, or measure across with a large caliper.",
    "thickness_mm": "Measure the swept ring with a caliper, jaws inside the lip, at three places.",
    "min_thickness_mark_mm": "Read the minimum thickness stamped on the hat or the rim (MIN TH).",
    "height_mm": "Measure from the mounting face to the outer friction face with a depth gauge and a straight edge.",
    "centre_bore_mm": "Measure the centre hole with the caliper's inside jaws.",
    "bolt_circle_mm": "Measure from bolt hole to bolt hole, and work out the pitch circle for the count.",
    "hat_mm": "Measure the hat's outer diameter with a caliper.",
    "pad_height_mm": "Take a pad out and measure its backing plate's height.",
    "pad_length_mm": "Take a pad out and measure its backing plate's length.",
    "caliper_mount": "Does the caliper slide on pins in a bracket (floating), or is it bolted on with pistons on both "
    "sides (fixed)?",
    "pistons": "Count the caliper's pistons, both sides.",
    "parking_brake": "How does the parking brake act: none here, shoes in the hat, a cable, a motor on the caliper?",
    "wheel_in": "Read the wheel's diameter off the tyre's wall, in inches: 18 where it says R18.",
    "rotor_mark": "Clean the hat and the rim and read the number cast or stamped there.",
    "pad_mark": "Take a pad out and read the number on its backing plate.",
    "pad_shape_number": "Take a pad out and read the shape number on its backing plate.",
}

NUMBERS = ("rotor_mark", "pad_mark", "pad_shape_number")
"""Checks that read the part's own number: they name the part, and are no measurement."""


@dataclass(frozen=True, eq=False, slots=True)
class Check:
    """One check and what it would read.

    Attributes
    ----------
    name : str
        Key of the evidence that it would bring.
    axle : str
        front, rear or unknown, as in the evidence.
    group : (S,) ndarray of int
        Which group of the outcome each of S packages belongs to.
    outcome : Outcome
    known : (G,) ndarray of bool
        Whether the catalogue has the cell that this check reads, for each group.
    """

    name: str
    axle: str
    group: IntArray
    outcome: Outcome
    known: "np.ndarray[tuple[int], np.dtype[np.bool_]]"


@dataclass(frozen=True, eq=False, slots=True)
class _Place:
    """Where a check is made: an axle, the packages' rows there, and what is known already."""

    prepared: Prepared
    axle: str
    rows: IntArray
    observed: AxleEvidence
    assumptions: Assumptions

    @property
    def spread(self) -> Mapping[str, Spread]:
        """The population of the axle."""
        return rotor_spreads(self.prepared, self.axle, self.assumptions)


def possible_checks(
    prepared: Prepared,
    place: tuple[str, IntArray],
    observed: AxleEvidence,
    assumptions: Assumptions,
    *,
    physical: bool = False,
) -> list[Check]:
    """Return the checks of one axle that are not yet made and would not read the same for all packages.

    Parameters
    ----------
    prepared : Prepared
    place : (str, (S,) ndarray of int)
        The axle as in the evidence, and the row of each package there.
    observed : AxleEvidence
        What was observed there.
    assumptions : Assumptions
    physical : bool, optional
        Leave out the numbers read off the parts.
    """
    axle, rows = place
    at = _Place(prepared, axle, rows, observed, assumptions)
    made = made_checks(observed, assumptions) | (frozenset(NUMBERS) if physical else frozenset())
    checks = [build(at, name) for name, build in _BUILDERS.items() if name not in made]
    return [check for check in checks if check is not None]


def made_checks(observed: AxleEvidence, assumptions: Assumptions) -> frozenset[str]:
    """Return the checks that are made already, well enough."""
    made = set(observed.words)
    if "surface" in observed.seen or any(measured.surface is not None for measured in observed.measurements):
        made.add(PHOTO_OF_SURFACE)
    for evidence, reading in (*observed.lengths.items(), *observed.pad_lengths.items()):
        name = "diameter_mm" if evidence == "circumference_mm" else evidence
        factor = np.pi if evidence == "circumference_mm" else 1.0
        if std_of(reading, evidence, assumptions) / factor <= SHARPER * assumptions.check_std_mm.get(name, np.inf):
            made.add(name)
    for measured in observed.measurements:
        made |= {name for name in ("bolt_count",) if measured.bolt_count is not None}
        if measured.lengths is not None:
            stds = np.sqrt(np.diag(measured.lengths.covariance))
            limits = [SHARPER * assumptions.check_std_mm.get(key, np.inf) for key in measured.lengths.keys]
            made |= {key for key, std, limit in zip(measured.lengths.keys, stds, limits, strict=True) if std <= limit}
    made |= {
        name for name in ("thickness_mm", "bolt_count", "pistons", "wheel_in", *NUMBERS) if getattr(observed, name)
    }
    return frozenset(made | ({"min_thickness_mark_mm"} if observed.min_mark_mm is not None else set()))


def _grouped(*columns: NDArray[Any]) -> tuple[IntArray, IntArray] | None:
    """Return each package's group, those alike in all columns, and the place of one package of each group; None where
    all are of one.
    """
    signatures = list(
        zip(*([None if cell != cell else cell for cell in each.tolist()] for each in columns), strict=True)
    )
    number = {signature: place for place, signature in enumerate(dict.fromkeys(signatures))}
    if len(number) < 2:
        return None
    first = [signatures.index(signature) for signature in number]
    return np.array([number[signature] for signature in signatures]), np.array(first)


def _rotor_length(at: _Place, name: str) -> Check | None:
    column = at.prepared.rotor_numbers[name]
    return _length(at, name, column[at.prepared.rotor[at.rows]], at.spread.get(name))


def _pad_length(at: _Place, name: str) -> Check | None:
    column = at.prepared.pad_numbers[name.removeprefix("pad_")]
    return _length(at, name, column[at.prepared.pads[at.rows]], pad_spreads(at.prepared, at.assumptions).get(name))


def _length(at: _Place, name: str, values: FloatArray, spread: Spread | None) -> Check | None:
    grouped = _grouped(values)
    if spread is None or grouped is None:
        return None
    group, first = grouped
    nominal = values[first]
    known = np.isfinite(nominal)
    about = np.where(known, at.assumptions.tolerance_mm[name], spread.std)
    std = np.hypot(about, at.assumptions.check_std_mm[name])
    mean = np.where(known, nominal, spread.mean)
    return Check(name, at.axle, group, NormalOutcome(mean, std, spread, at.assumptions.gross_error), known)


def _limits(at: _Place) -> Limits:
    """Return the rings' thicknesses, of a package without that axle the population's mean."""
    numbers, rotor = at.prepared.rotor_numbers, at.prepared.rotor[at.rows]
    new_mm = numbers["thickness_mm"][rotor]
    return Limits(
        np.where(np.isnan(new_mm), at.spread["thickness_mm"].mean, new_mm),
        numbers["min_thickness_mm"][rotor],
        numbers["machine_to_mm"][rotor],
    )


def _thickness(at: _Place, name: str) -> Check | None:
    limits = _limits(at)
    spread = at.spread.get("thickness_mm")
    grouped = _grouped(limits.new_mm, limits.discard_mm)
    if spread is None or grouped is None:
        return None
    group, first = grouped
    readings = hand_thickness(at.observed, at.assumptions)
    std_mm = at.assumptions.check_std_mm[name]
    outcome = ThicknessOutcome(limits.at(first), std_mm, readings, spread, at.assumptions)
    return Check(name, at.axle, group, outcome, at.rows[first] != UNKNOWN)


def _min_mark(at: _Place, name: str) -> Check | None:
    every = _limits(at)
    spread = at.spread.get("min_thickness_mm")
    grouped = _grouped(every.discard_mm)
    if spread is None or grouped is None:
        return None
    group, first = grouped
    limits = every.at(first)
    known = np.isfinite(limits.discard_mm)
    std = np.where(known, at.assumptions.mark_std_mm, at.assumptions.usable_wear_std_mm)
    mean = limits.discard_or_usual(at.assumptions)
    return Check(name, at.axle, group, NormalOutcome(mean, std, spread, at.assumptions.gross_error), known)


def _rotor_kind(at: _Place, name: str) -> Check | None:
    codes = at.prepared.rotor_codes[name]
    shares = rotor_shares(at.prepared, at.axle, name, len(KINDS[name]))
    return _kind(at, name, codes[at.prepared.rotor[at.rows]], shares)


def _caliper_kind(at: _Place, name: str) -> Check | None:
    column = name.removeprefix("caliper_")
    codes = at.prepared.caliper_codes[column]
    shares = caliper_shares(at.prepared, column, len(KINDS[name]))
    return _kind(at, name, codes[at.prepared.caliper[at.rows]], shares)


def _kind(at: _Place, name: str, of_rows: IntArray, shares: FloatArray) -> Check | None:
    grouped = _grouped(of_rows)
    if grouped is None:
        return None
    group, first = grouped
    table = _told_table(at, name)
    unknown = shares @ table
    codes = of_rows[first]
    outcome = WordOutcome(np.vstack([table, unknown])[codes])
    return Check(name, at.axle, group, outcome, codes != UNKNOWN)


def _photo_of_surface(at: _Place, name: str) -> Check | None:
    """Build the photo's look at the surface, as a word that is right with a known chance."""
    codes = at.prepared.rotor_codes["surface"][at.prepared.rotor[at.rows]]
    grouped = _grouped(codes)
    if grouped is None:
        return None
    group, first = grouped
    right, kinds = at.assumptions.seen_rightly, len(KINDS["surface"])
    channel = np.full((kinds, kinds), (1 - right) / (kinds - 1)) + np.eye(kinds) * (right - (1 - right) / (kinds - 1))
    table = np.vstack([_replaced(at, channel), np.full(kinds, 1 / kinds)])[codes[first]]
    return Check(name, at.axle, group, WordOutcome(table), codes[first] != UNKNOWN)


def _told_table(at: _Place, name: str) -> FloatArray:
    """Return p(word | the catalogue's kind), replacement rotors of another surface included."""
    table = at.assumptions.confusion[name]
    return _replaced(at, table) if name == "surface" else table


def _replaced(at: _Place, table: FloatArray) -> FloatArray:
    """Return p(answer | the catalogue's surface) from p(answer | the surface in hand)."""
    if at.observed.condition == "new":
        return table
    chance = at.assumptions.replaced_surface
    others = (table.sum(axis=0) - table) / (len(table) - 1)
    told: FloatArray = (1 - chance) * table + chance * others
    return told


def _bolt_count(at: _Place, name: str) -> Check | None:
    counts = at.prepared.rotor_numbers[name][at.prepared.rotor[at.rows]]
    grouped = _grouped(counts)
    if grouped is None:
        return None
    group, first = grouped
    right = at.assumptions.counted_rightly
    table = _right_or_other(counts[first], right, (1 - right) / OTHER_COUNTS)
    return Check(name, at.axle, group, WordOutcome(table), np.isfinite(counts[first]))


def _pistons(at: _Place, name: str) -> Check | None:
    pistons = at.prepared.caliper_numbers[name][at.prepared.caliper[at.rows]]
    grouped = _grouped(pistons)
    if grouped is None:
        return None
    group, first = grouped
    of_group = pistons[first]
    known = np.isfinite(of_group)
    answers = np.unique(np.concatenate([of_group[known], of_group[known] / 2]))
    table = np.column_stack([piston_likelihood(int(told), of_group, at.assumptions) for told in answers])
    table[~known] = 1.0
    return Check(name, at.axle, group, WordOutcome(table / table.sum(axis=1, keepdims=True)), known)


def _wheel(at: _Place, name: str) -> Check | None:
    """Build the look at the tyre's wall, where the catalogue gives least wheels that differ."""
    stated_in = at.prepared.min_wheel_in[at.rows]
    if len(np.unique(stated_in[np.isfinite(stated_in)])) < 2:
        return None
    least_in = least_wheel_in(at.prepared, at.assumptions)[at.rows]
    least_in[np.isnan(least_in)] = np.nanmean(least_in)
    grouped = _grouped(least_in, np.isfinite(stated_in))
    if grouped is None:
        return None
    group, first = grouped
    sizes_in, chance = wheels_fitted(least_in[first], at.assumptions)
    likelihood = wheel_likelihood(sizes_in, least_in[first][:, None], at.assumptions)
    return Check(name, at.axle, group, CapOutcome(chance, likelihood), np.isfinite(stated_in[first]))


def _number(at: _Place, name: str) -> Check | None:
    """Build the reading of a part's number: rows that share one cannot be told apart by it."""
    catalogue, rotor, pads = at.prepared.catalogue, at.prepared.rotor[at.rows], at.prepared.pads[at.rows]
    numbers: Sequence[tuple[str, ...]]
    if name == "rotor_mark":
        numbers = [catalogue.rotors.marks[row] if row != UNKNOWN else () for row in rotor]
    elif name == "pad_mark":
        numbers = [catalogue.pads.marks[row] if row != UNKNOWN else () for row in pads]
    else:
        shapes = catalogue.pads.shape_number
        numbers = [(shapes[row],) if row != UNKNOWN and shapes[row] else () for row in pads]
    of_set = {each: code for code, each in enumerate(dict.fromkeys(numbers))}
    grouped = _grouped(np.array([of_set[each] for each in numbers]))
    if grouped is None:
        return None
    known = np.array([bool(each) for each in of_set])
    right = (1 - at.assumptions.mark_unlisted) * (1 - at.assumptions.mark_misread)
    foreign = at.assumptions.mark_foreign / len(known)
    table = _right_or_other(np.where(known, np.arange(len(known)), np.nan), right, foreign)
    return Check(name, at.axle, grouped[0], WordOutcome(table), known)


def _right_or_other(values: FloatArray, right: float, other: float) -> FloatArray:
    """Return chances of answers: each group's own value, another's, or something else; rows sum to 1."""
    known = np.isfinite(values)
    answers = np.unique(values[known])
    table = np.where(values[:, None] == answers, right, other)
    table[~known] = 1 / (len(answers) + 1)
    return np.column_stack([table, np.maximum(1 - table.sum(axis=1), other)])


_BUILDERS: Mapping[str, Callable[[_Place, str], Check | None]] = {
    "surface": _rotor_kind,
    PHOTO_OF_SURFACE: _photo_of_surface,
    "construction": _rotor_kind,
    "ventilation": _rotor_kind,
    "bolt_count": _bolt_count,
    **{name: _rotor_length for name in LENGTHS if name != "ring_inner_mm"},
    "thickness_mm": _thickness,
    "min_thickness_mark_mm": _min_mark,
    "pad_height_mm": _pad_length,
    "pad_length_mm": _pad_length,
    "caliper_mount": _caliper_kind,
    "pistons": _pistons,
    "parking_brake": _caliper_kind,
    "wheel_in": _wheel,
    "rotor_mark": _number,
    "pad_mark": _number,
    "pad_shape_number": _number,
}
