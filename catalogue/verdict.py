"""May it be ordered: a verdict for each wanted part by expected cost, and one for all of them."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np

from catalogue.assumptions import Assumptions
from catalogue.checks_left import checks_left
from catalogue.field import Field
from catalogue.futures import Futures, futures_of
from catalogue.observation import Evidence, EvidenceAxle, Part
from catalogue.posterior import Posterior
from catalogue.schema import AXLES, UNKNOWN

Verdict = Literal["ready", "check", "decode", "no-match"]

WORST_LAST: tuple[Verdict, ...] = ("ready", "check", "decode", "no-match")

LIKELY_ENOUGH = 0.5
"""Checks are expected to settle a part where they do so in at least so many of the futures thought through."""

LEAST_OPTION = 1e-3


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
    """Whether the answer is that nothing in the catalogue fits: likelier than not, or likely and ahead of all."""
    none = belief.none_of_these
    likeliest = max(float(reading.package_mass.max()) for reading in belief.hypotheses)
    return none >= assumptions.no_match_from or (none >= assumptions.no_match_first_from and none >= likeliest)


def part_verdicts(
    belief: Posterior, field: Field, evidence: Evidence, assumptions: Assumptions
) -> tuple[PartVerdict, ...]:
    """Return a verdict for each wanted part."""
    options = {wanted: options_of(belief, *wanted) for wanted in field.wanted}
    if fits_nothing(belief, assumptions):
        return tuple(PartVerdict(*wanted, "no-match", each) for wanted, each in options.items())
    open_parts = [wanted for wanted, each in options.items() if not _settled(each, assumptions)]
    futures = None
    if open_parts:
        futures = futures_of(field, checks_left(belief, field, evidence, assumptions, physical=True))
    return tuple(
        PartVerdict(*wanted, _verdict(wanted, each, futures, (field, assumptions)), each)
        for wanted, each in options.items()
    )


def _settled(options: Sequence[Option], assumptions: Assumptions) -> bool:
    return bool(options) and options[0].probability >= assumptions.ready_from


def _verdict(
    wanted: tuple[EvidenceAxle, Part],
    options: Sequence[Option],
    futures: Futures | None,
    given: tuple[Field, Assumptions],
) -> Verdict:
    field, assumptions = given
    if not options:
        return "no-match"
    if futures is None or _settled(options, assumptions):
        return "ready"
    likely = futures.chance_to_settle(field.wanted[wanted], assumptions.ready_from)
    return "check" if likely >= LIKELY_ENOUGH else "decode"


def options_of(belief: Posterior, axle: EvidenceAxle, part: Part) -> tuple[Option, ...]:
    """Return the probability summed by part number, likeliest first."""
    prepared, catalogue = belief.prepared, belief.prepared.catalogue
    numbers, kinds = (
        (prepared.pads, len(catalogue.pads)) if part == "pads" else (prepared.rotor_set, len(prepared.rotor_sets))
    )
    sums = np.zeros(kinds)
    for reading in belief.hypotheses:
        side = AXLES.index(axle if axle != "unknown" else reading.axle if reading.axle in AXLES else "front")
        rows = catalogue.packages.row[:, side]
        fitted = rows != UNKNOWN
        mass = reading.package_mass
        sums += np.bincount(numbers[rows[fitted]], weights=mass[fitted], minlength=kinds)
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
