"""May it be ordered: a verdict for each wanted part by expected cost, and one for all of them."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np

from catalogue.assumptions import Assumptions
from catalogue.checks_left import physical_checks_left
from catalogue.field import Field
from catalogue.futures import futures_of
from catalogue.observation import Evidence, EvidenceAxle, Part
from catalogue.posterior import Posterior
from catalogue.schema import AXLES, UNKNOWN

Verdict = Literal["ready", "check", "decode", "no-match"]

WORST_LAST: tuple[Verdict, ...] = ("ready", "check", "decode", "no-match")

LIKELY_ENOUGH = 0.5
"""Checks are expected to settle a part where they do so in at least so many of the futures thought through."""

Wanted = tuple[EvidenceAxle, Part]

LEAST_OPTION = 1e-3

NEGLIGIBLE = 1e-9
"""Packages of less than this don't count towards a part: of a million, no part misses a thousandth."""


@dataclass(frozen=True, slots=True)
class Option:
    """A part that may be the one, with its probability; ``right`` where the right rotor is another part."""

    part: str
    probability: float
    right: str | None = None


@dataclass(frozen=True, slots=True)
class PartVerdict:
    """What may be done about one wanted part; options likeliest first."""

    axle: EvidenceAxle
    part: Part
    verdict: Verdict
    options: tuple[Option, ...]


def fits_nothing(belief: Posterior, assumptions: Assumptions) -> bool:
    """Whether the answer is that nothing in the catalogue fits the readings as they stand: that is likelier than not,
    and they don't speak against the part being none of these, so that a misreading can't be taken for granted.
    """
    as_they_stand = belief.soundness.as_read
    return belief.none_of_these >= assumptions.none_of_these and 1 - as_they_stand >= assumptions.no_match_from


def part_verdicts(
    belief: Posterior, field: Field, evidence: Evidence, assumptions: Assumptions
) -> tuple[PartVerdict, ...]:
    """Return a verdict for each wanted part."""
    options = {wanted: options_of(belief, *wanted) for wanted in field.wanted}
    if fits_nothing(belief, assumptions):
        return tuple(PartVerdict(*wanted, "no-match", each) for wanted, each in options.items())
    open_parts = [wanted for wanted, each in options.items() if not _settled(each, assumptions)]
    likely = _likely_to_settle(open_parts, belief, (field, evidence), assumptions)
    return tuple(
        PartVerdict(*wanted, _verdict(each, wanted in open_parts, wanted in likely), each)
        for wanted, each in options.items()
    )


def _settled(options: Sequence[Option], assumptions: Assumptions) -> bool:
    return bool(options) and options[0].probability >= assumptions.ready_from


def _verdict(options: Sequence[Option], is_open: bool, likely: bool) -> Verdict:
    if not options:
        return "no-match"
    if not is_open:
        return "ready"
    return "check" if likely else "decode"


def _likely_to_settle(
    parts: Sequence[Wanted], belief: Posterior, given: tuple[Field, Evidence], assumptions: Assumptions
) -> set[Wanted]:
    """Return the parts that checks are expected to settle: those of the axles asked for, else of the whole car."""
    field, _ = given
    likely: set[Wanted] = set()
    for axles in dict.fromkeys((field.asked, tuple(field.rows))):
        if likely == set(parts):
            break
        futures = futures_of(field, physical_checks_left(axles, belief, given, assumptions))
        chance = {part: futures.chance_to_settle(field.wanted[part], assumptions.ready_from) for part in parts}
        likely = {part for part, each in chance.items() if each >= LIKELY_ENOUGH}
    return likely


def options_of(belief: Posterior, axle: EvidenceAxle, part: Part) -> tuple[Option, ...]:
    """Return the probability summed by part number, likeliest first."""
    prepared, catalogue = belief.prepared, belief.prepared.catalogue
    numbers, kinds = (
        (prepared.pads, len(catalogue.pads)) if part == "pads" else (prepared.rotor_set, len(prepared.rotor_sets))
    )
    sums = np.zeros(kinds)
    for reading in belief.hypotheses:
        side = AXLES.index(axle if axle != "unknown" else reading.axle if reading.axle in AXLES else "front")
        matter = np.flatnonzero(reading.package_mass > NEGLIGIBLE)
        rows = catalogue.packages.row[matter, side]
        fitted = rows != UNKNOWN
        sums += np.bincount(numbers[rows[fitted]], weights=reading.package_mass[matter[fitted]], minlength=kinds)
    likely = np.flatnonzero(sums >= LEAST_OPTION)
    ranked = likely[np.argsort(-sums[likely], kind="stable")]
    found = zip(ranked.tolist(), sums[ranked].tolist(), strict=True)
    return tuple(_option(belief, part, number, probability) for number, probability in found)


def _option(belief: Posterior, part: Part, number: int, probability: float) -> Option:
    catalogue = belief.prepared.catalogue
    if part == "pads":
        return Option(catalogue.pads.part[number], probability)
    left, right = belief.prepared.rotor_sets[number].tolist()
    names = catalogue.rotors.part
    return Option(names[left], probability, names[right] if right != left else None)


def worst(verdicts: Sequence[PartVerdict]) -> Verdict:
    """Return the worst verdict among the wanted parts; ready where nothing is wanted."""
    return max((each.verdict for each in verdicts), key=WORST_LAST.index, default="ready")
