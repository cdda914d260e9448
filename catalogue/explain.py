"""Says in words what each piece of evidence did for a candidate, and in bits how much."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from catalogue.assumptions import Assumptions
from catalogue.factor import Factor
from catalogue.hypotheses import Hypotheses
from catalogue.kinds import KINDS
from catalogue.names import give_or_take
from catalogue.observation import AxleEvidence, Evidence, EvidenceAxle
from catalogue.posterior import Posterior
from catalogue.prepare import Prepared
from catalogue.rooms import spread_to_packages
from catalogue.rotor_lengths import HandReading, hand_readings
from catalogue.rotor_thickness import hand_thickness
from catalogue.schema import UNKNOWN, FloatArray
from catalogue.stranger import of_any_class
from catalogue.thickness import ThicknessReadings

CLEARLY = 3.0
"""So many standard deviations off is said to be impossible, gross errors aside."""


TINY = 1e-300


@dataclass(frozen=True, slots=True)
class Reason:
    """What one piece of evidence did for a candidate: log2 of p(evidence | candidate) over its mean in the prior."""

    evidence: str
    axle: str
    bits: float
    text: str


class Explainer:
    """Explains candidates of one identification; what they share is worked out once."""

    def __init__(self, belief: Posterior, evidence: Evidence, assumptions: Assumptions) -> None:
        self._belief = belief
        self._evidence = evidence
        self._assumptions = assumptions
        self._read = {axle: _Read.of(observed, assumptions) for axle, observed in evidence.axles.items()}
        self._known: dict[tuple[EvidenceAxle, int], tuple[Reason, ...]] = {}

    @cached_property
    def _bits(self) -> dict[tuple[EvidenceAxle, int], FloatArray]:
        return {
            (axle, number): self._bits_of(axle, factor)
            for axle, weighed in self._belief.weighed.items()
            for number, factor in enumerate(weighed.factors)
        }

    def reasons(self, reading: Hypotheses, fitment: int) -> tuple[Reason, ...]:
        """Return a reason for each piece of evidence, the strongest first."""
        package = int(self._belief.prepared.catalogue.fitments.package[fitment])
        found = [reason for axle, rows in reading.rows.items() for reason in self._of_row(axle, int(rows[package]))]
        if self._record_bits is not None:
            bits = float(self._record_bits[fitment])
            found.append(Reason("option_codes", "both", bits, self._record_text(fitment)))
        return tuple(sorted(found, key=lambda reason: -abs(reason.bits)))

    def _of_row(self, axle: EvidenceAxle, row: int) -> tuple[Reason, ...]:
        if (axle, row) not in self._known:
            factors = self._belief.weighed[axle].factors
            self._known[axle, row] = tuple(
                Reason(factor.evidence, axle, float(self._bits[axle, number][row]), self._text(axle, factor, row))
                for number, factor in enumerate(factors)
            )
        return self._known[axle, row]

    def _bits_of(self, axle: EvidenceAxle, factor: Factor) -> FloatArray:
        """Return bits for each package row and, last, for the one of which nothing is known."""
        belief = self._belief
        log_rows = spread_to_packages(belief.prepared, factor.room, factor.log_likelihood)
        of_none = of_any_class(float(log_rows[-1]), factor.of_other_class, self._assumptions)
        top = max(float(log_rows.max()), of_none)
        likelihood = np.exp(log_rows - top)
        mean, mass = belief.prior_none * float(np.exp(of_none - top)), belief.prior_none
        for reading in belief.hypotheses:
            mean += float((reading.package_prior * likelihood[reading.rows[axle]]).sum())
            mass += float(reading.package_prior.sum())
        bits: FloatArray = (log_rows - top - np.log(max(mean / mass, TINY))) / np.log(2)
        return bits

    @cached_property
    def _record_bits(self) -> FloatArray | None:
        records = self._belief.records
        if records is None:
            return None
        prior = np.sum([reading.prior for reading in self._belief.hypotheses], axis=0)
        if not prior.any():
            return np.zeros(len(records))
        bits: FloatArray = np.log2(records / (prior @ records / prior.sum()))
        return bits

    def _record_text(self, fitment: int) -> str:
        fitments = self._belief.prepared.catalogue.fitments
        told = ", ".join(self._evidence.option_codes)
        code = int(fitments.code[fitment])
        own = "no code of its own" if code == UNKNOWN else f"code {fitments.codes[code]}"
        return f"the records say {told}; this package has {own}"

    def _text(self, axle: EvidenceAxle, factor: Factor, row: int) -> str:
        observed, prepared = self._evidence.axles[axle], self._belief.prepared
        if row == UNKNOWN:
            return f"{factor.said}: the package has no such axle in the catalogue"
        writer = _WRITERS.get(factor.evidence)
        rest = writer(_Line(prepared, observed, row, self._assumptions, self._read[axle]), factor) if writer else ""
        return rest or factor.said


@dataclass(frozen=True, eq=False, slots=True)
class _Read:
    """What was read by hand on an axle."""

    lengths: Mapping[str, HandReading]
    thickness: ThicknessReadings

    @classmethod
    def of(cls, observed: AxleEvidence, assumptions: Assumptions) -> "_Read":
        lengths = {each.evidence: each for each in hand_readings(observed, assumptions)}
        return cls(lengths, hand_thickness(observed, assumptions))


@dataclass(frozen=True, eq=False, slots=True)
class _Line:
    """What one sentence is about."""

    prepared: Prepared
    observed: AxleEvidence
    row: int
    assumptions: Assumptions
    read: _Read

    def rotor(self, name: str) -> float:
        """Return a number of the rotor, NaN where not known."""
        return float(self.prepared.rotor_numbers[name][self.prepared.rotor[self.row]])


def _thickness_text(line: _Line, factor: Factor) -> str:
    readings = line.read.thickness
    new_mm, limit_mm = line.rotor("thickness_mm"), line.rotor("min_thickness_mm")
    std_mm = float(np.hypot(readings.std_mm.min(), line.assumptions.tolerance_mm["thickness_mm"]))
    thinnest, thickest = float(readings.value_mm.min()), float(readings.value_mm.max())
    if thickest > new_mm + CLEARLY * std_mm:
        return f"a new {new_mm:g} cannot read {thickest:g}"
    if line.observed.thickness_over == "lip":
        return f"{factor.said} over the lip, which shows the new thickness: {new_mm:g}"
    if line.observed.condition == "new":
        return f"{factor.said} on a new rotor: {new_mm:g}"
    if thinnest > new_mm - std_mm:
        return f"{thinnest:g} is a new {new_mm:g}, or one hardly worn"
    if np.isfinite(limit_mm) and thinnest < limit_mm - std_mm:
        return f"a {new_mm:g} is at its limit at {limit_mm:g}; {thinnest:g} is worn past it"
    limit = f", limit {limit_mm:g}" if np.isfinite(limit_mm) else ""
    return f"a {new_mm:g} worn by {new_mm - thinnest:.1f} reads {thinnest:g}{limit}"


def _length_text(line: _Line, factor: Factor) -> str:
    reading = line.read.lengths[factor.evidence]
    nominal = line.rotor(reading.key)
    if not np.isfinite(nominal):
        return f"{factor.said}: not in the catalogue for this rotor, weighed against all rotors"
    off = abs(reading.value - nominal)
    std = float(np.hypot(reading.std, line.assumptions.tolerance_mm[reading.key]))
    verdict = "too far off" if off > CLEARLY * std else "fits"
    return f"{give_or_take(reading.value, reading.std)} against {nominal:g}: {off:.1f} off, {verdict}"


def _photo_text(line: _Line, factor: Factor) -> str:
    named = ("diameter_mm", "thickness_mm")
    own = " x ".join(f"{line.rotor(name):g}" for name in named)
    return f"{factor.said} off photos; this rotor is {own}"


def _kind_text(line: _Line, factor: Factor) -> str:
    caliper = factor.room == "caliper"
    codes = line.prepared.caliper_codes if caliper else line.prepared.rotor_codes
    at = line.prepared.caliper if caliper else line.prepared.rotor
    code = int(codes[factor.evidence.removeprefix("caliper_")][at[line.row]])
    own = "not in the catalogue" if code == UNKNOWN else KINDS[factor.evidence][code]
    return f"{factor.said}; this one is {own}" if code != UNKNOWN else f"{factor.said}; {own} for this part"


def _mark_text(line: _Line, factor: Factor) -> str:
    prepared, catalogue = line.prepared, line.prepared.catalogue
    rotor = factor.room == "rotor"
    table = catalogue.rotors if rotor else catalogue.pads
    row = int((prepared.rotor if rotor else prepared.pads)[line.row])
    numbers = (catalogue.pads.shape_number[row],) if factor.evidence == "pad_shape_number" else table.marks[row]
    marks = ", ".join(filter(None, numbers)) or "no numbers listed"
    return f"{factor.said}; this part: {table.part[row]}, {marks}"


def _min_mark_text(line: _Line, factor: Factor) -> str:
    limit_mm = line.rotor("min_thickness_mm")
    own = f"the limit is {limit_mm:g}" if np.isfinite(limit_mm) else "its limit is not in the catalogue"
    return f"{factor.said}; new {line.rotor('thickness_mm'):g}, {own}"


def _mass_text(line: _Line, factor: Factor) -> str:
    mass = line.rotor("mass_kg")
    return (
        f"{factor.said}; this rotor weighs {mass:g}" if np.isfinite(mass) else f"{factor.said}; its mass is not known"
    )


def _wheel_text(line: _Line, factor: Factor) -> str:
    least = float(line.prepared.min_wheel_in[line.row])
    return f"{factor.said}; this brake needs {least:g} or more" if np.isfinite(least) else factor.said


def _count_text(line: _Line, factor: Factor) -> str:
    count = line.rotor("bolt_count")
    return f"{factor.said}; this rotor has {count:g}" if np.isfinite(count) else factor.said


def _piston_text(line: _Line, factor: Factor) -> str:
    count = float(line.prepared.caliper_numbers["pistons"][line.prepared.caliper[line.row]])
    return f"{factor.said}; this caliper has {count:g}" if np.isfinite(count) else factor.said


def _pad_text(line: _Line, factor: Factor) -> str:
    column = line.prepared.pad_numbers[factor.evidence.removeprefix("pad_")]
    nominal = float(column[line.prepared.pads[line.row]])
    return f"{factor.said} against {nominal:g}" if np.isfinite(nominal) else f"{factor.said}: not in the catalogue"


_WRITERS: Mapping[str, Callable[[_Line, Factor], str]] = {
    "thickness_mm": _thickness_text,
    "measurements": _photo_text,
    "min_thickness_mark_mm": _min_mark_text,
    "mass_kg": _mass_text,
    "wheel_in": _wheel_text,
    "bolt_count": _count_text,
    "pistons": _piston_text,
    **dict.fromkeys(KINDS, _kind_text),
    **dict.fromkeys(("rotor_mark", "pad_mark", "pad_shape_number"), _mark_text),
    **dict.fromkeys(("pad_height_mm", "pad_length_mm"), _pad_text),
    **dict.fromkeys(
        (
            "diameter_mm",
            "circumference_mm",
            "height_mm",
            "centre_bore_mm",
            "bolt_circle_mm",
            "ring_inner_mm",
            "hat_mm",
        ),
        _length_text,
    ),
}
