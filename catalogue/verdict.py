"""May it be ordered: a verdict for each wanted part by expected cost, and one for all of them."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np

from catalogue.assumptions import Assumptions
from catalogue.checks import Check
from catalogue.field import Field
from catalogue.next_check import chance_to_settle
from catalogue.observation import EvidenceAxle, Part
from catalogue.posterior import Posterior
from catalogue.schema import AXLES, UNKNOWN, IntArray

Verdict = Literal["ready", "check", "decode", "no-match"]

WORST_LAST: tuple[Verdict, ...] = ("ready", "check", "decode", "no-match")

LIKELY_ENOUGH = 0.5
"""Checks are expected to settle a part where they do so in at least so many of the futures thought through."""

LEAST_OPTION = 1e-4


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
    """Whether the answer is that nothing in the catalogue fits."""
    return belief.none_of_these >= assumptions.no_match_from


def part_verdicts(
    belief: Posterior, field: Field, checks: Sequence[Check], assumptions: Assumptions
) -> tuple[PartVerdict, ...]:
    """Return a verdict for each wanted part."""
    verdicts = []
    for axle, part in field.wanted:
        options = options_of(belief, axle, part)
        verdict = _verdict(belief, options, (field, (axle, part), checks), assumptions)
        verdicts.append(PartVerdict(axle, part, verdict, options))
    return tuple(verdicts)


def _verdict(
    belief: Posterior,
    options: tuple[Option, ...],
    asked: tuple[Field, tuple[EvidenceAxle, Part], Sequence[Check]],
    assumptions: Assumptions,
) -> Verdict:
    if fits_nothing(belief, assumptions) or not options:
        return "no-match"
    if options[0].probability >= assumptions.ready_from:
        return "ready"
    field, wanted, checks = asked
    likely = chance_to_settle(field, wanted, checks, assumptions)
    return "check" if likely >= LIKELY_ENOUGH else "decode"


def options_of(belief: Posterior, axle: EvidenceAxle, part: Part) -> tuple[Option, ...]:
    """Return the probability summed by part number, likeliest first."""
    sums: dict[tuple[int, int], float] = {}
    for reading in belief.hypotheses:
        mass = belief.package_mass(reading)
        matter = np.flatnonzero(mass > LEAST_OPTION / 100)
        side = AXLES.index(axle if axle != "unknown" else reading.axle if reading.axle in AXLES else "front")
        row = belief.prepared.catalogue.packages.row[matter, side]
        for number, probability in _sum_by_part(belief, row, mass[matter], part).items():
            sums[number] = sums.get(number, 0.0) + probability
    ranked = sorted(sums.items(), key=lambda each: -each[1])
    return tuple(_option(belief, part, number, p) for number, p in ranked if p >= LEAST_OPTION)


def _sum_by_part(
    belief: Posterior, rows: IntArray, mass: "np.ndarray[tuple[int, ...], np.dtype[np.float64]]", part: Part
) -> Mapping[tuple[int, int], float]:
    prepared = belief.prepared
    fitted = rows != UNKNOWN
    rows, mass = rows[fitted], mass[fitted]
    left = (prepared.rotor if part == "rotor" else prepared.pads)[rows]
    right = prepared.rotor_right[rows] if part == "rotor" else left
    if not len(rows):
        return {}
    parts = int(max(left.max(), right.max())) + 1
    pairs, place = np.unique(left * parts + right, return_inverse=True)
    sums = np.bincount(place, weights=mass)
    return {divmod(int(pair), parts): float(total) for pair, total in zip(pairs, sums, strict=True)}


def _option(belief: Posterior, part: Part, number: tuple[int, int], probability: float) -> Option:
    catalogue = belief.prepared.catalogue
    left, right = number
    if part == "pads":
        return Option(catalogue.pads.part[left], probability)
    names = catalogue.rotors.part
    return Option(names[left], probability, names[right] if right != left else None)


def worst(verdicts: Sequence[PartVerdict]) -> Verdict:
    """Return the worst verdict among the wanted parts; ready where nothing is wanted."""
    return max((each.verdict for each in verdicts), key=WORST_LAST.index, default="ready")
