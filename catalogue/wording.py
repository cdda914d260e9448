"""The sentences round an identification: its message, its cautions, and what was not weighed."""

from collections.abc import Sequence

from catalogue.care import CAUTIONS
from catalogue.conflict import Conflict
from catalogue.names import plain_name
from catalogue.next_check import NextCheck
from catalogue.observation import AxleEvidence, Evidence
from catalogue.percent import percent
from catalogue.posterior import Posterior
from catalogue.schema import AXLES
from catalogue.soundness import Misread
from catalogue.verdict import PartVerdict, Verdict
from catalogue.vin import examine_vin
from catalogue.weigh import Ignored

DECODE = (
    "Nothing that can be measured or seen is expected to settle the rest: use the VIN or the production option code "
    "with the maker's records, and where a dealer-fitted package is among those left, the mark on the part."
)

AXLE_SETTLED_FROM = 0.95
"""Chance from which on an unknown axle is said to be known."""

SMALLEST_ROTOR_MM = 100.0

SHOP_CALIPER_MM = 300.0
"""A shop caliper ends at 150 to 300 mm."""


def message_of(
    verdict: Verdict,
    parts: Sequence[PartVerdict],
    found: tuple[Posterior, Sequence[NextCheck], Sequence[Conflict]],
    *,
    nothing_fits: bool,
) -> str:
    """Return the answer in a sentence or two."""
    belief, checks, conflicts = found
    if nothing_fits:
        return _no_match(belief)
    settled = [_part(each) for each in parts if each.verdict == "ready"]
    open_parts = [f"{_axle(each.axle)}{each.part}" for each in parts if each.verdict not in ("ready", "no-match")]
    lacking = [f"{_axle(each.axle)}{each.part}" for each in parts if each.verdict == "no-match"]
    sentences = [f"Settled: {', '.join(settled)}."] if settled else []
    if open_parts:
        sentences.append(f"Open: {', '.join(open_parts)}.")
    if lacking:
        sentences.append(f"Not in the catalogue for this car: {', '.join(lacking)}.")
    sentences += _which_axle(belief)
    sentences += [conflict.text for conflict in conflicts if conflict.stops]
    if verdict in ("check", "no-match") and checks:
        sentences.append(f"Next: {checks[0].how}")
    if verdict == "decode":
        sentences.append(DECODE)
    return " ".join(sentences)


def _part(each: PartVerdict) -> str:
    option = each.options[0]
    sides = f"{option.part} left, {option.right} right" if option.right else option.part
    return f"{_axle(each.axle)}{each.part} {sides} ({percent(option.probability)})"


def _which_axle(belief: Posterior) -> list[str]:
    """Say which axle evidence on an unknown one is likely of."""
    if len(belief.hypotheses) < 2:
        return []
    mass = {each.axle: float(each.package_mass.sum()) for each in belief.hypotheses}
    likeliest = max(mass, key=lambda axle: mass[axle])
    chance = mass[likeliest] / sum(mass.values())
    if chance >= AXLE_SETTLED_FROM:
        return [f"It is of a {likeliest} axle ({percent(chance)})."]
    return [f"Front or rear axle is open ({likeliest} {percent(chance)}): say which, if it can be found out."]


def _no_match(belief: Posterior) -> str:
    if belief.empty_scope is not None:
        return f"The catalogue has {belief.empty_scope}: correct the vehicle, or leave it out to search everything."
    if not belief.soundness.misread:
        return (
            f"Fits nothing in the catalogue ({percent(belief.none_of_these)}). Read again what was read, "
            "and check axle, line and model; if the readings stand, the part is of another car."
        )
    doubtful = _listed([_reading(each) for each in belief.soundness.misread])
    return (
        f"Nothing in the catalogue fits these readings as they stand ({percent(1 - belief.soundness.as_read)}). "
        f"Read again {doubtful}; if that stands, check axle, line and model, or the part is of another car "
        f"({percent(belief.none_of_these)} so far)."
    )


def _reading(each: Misread) -> str:
    """Return a reading in words: ``the front diameter (345 ± 0.3)``."""
    if each.evidence == "measurements":
        return f"what the photo says of the {_axle(each.axle)}rotor ({each.said})"
    name = plain_name(each.evidence)
    return f"the {_axle(each.axle)}{name} ({each.said.removeprefix(name).strip()})"


def _axle(axle: str) -> str:
    return f"{axle} " if axle in AXLES else ""


def _listed(words: Sequence[str]) -> str:
    return " and ".join(filter(None, [", ".join(words[:-1]), *words[-1:]]))


def cautions_of(evidence: Evidence, belief: Posterior, *, nothing_fits: bool) -> list[str]:
    """Return the cautions: the standing ones, and those that this evidence calls for."""
    found = [
        f"{_reading(each)} fits no package in the running and is taken for a misreading: read it again."
        for each in (() if nothing_fits else belief.soundness.misread)
    ]
    for axle, observed in evidence.axles.items():
        place = f"{axle}: " if axle in AXLES else ""
        found += [f"{place}{each}" for each in _cautions_of_axle(observed)]
    if evidence.vin is not None:
        report = examine_vin(evidence.vin)
        found += [f"VIN: {each}" for each in (*report.faults, *report.notices)]
    return [*found, *CAUTIONS]


def _cautions_of_axle(observed: AxleEvidence) -> list[str]:
    found = []
    for name, reading in observed.lengths.items():
        if reading.tool == "caliper" and reading.value > SHOP_CALIPER_MM:
            found.append(
                f"{plain_name(name)} {reading.value:g} is said to be read by caliper; "
                "a shop caliper ends at 150 to 300 mm: was it a tape or a rule?"
            )
        if name == "diameter_mm" and reading.value < SMALLEST_ROTOR_MM:
            found.append(
                f"diameter {reading.value:g} mm is no rotor's: if it was read in inches, write '{reading.value:g} in'."
            )
    if observed.thickness_mm and observed.thickness_over == "unknown" and observed.condition != "new":
        found.append(
            "jaws that rest on the unworn lip read too much: say whether the thickness was read on the swept ring "
            "or over the lip."
        )
    thinnest = min((reading.value for reading in observed.thickness_mm), default=None)
    if thinnest is not None and observed.min_mark_mm is not None and thinnest <= observed.min_mark_mm:
        found.append(f"{thinnest:g} mm is at or under the {observed.min_mark_mm:g} stamped: not to be used again.")
    return found


def ignored_of(belief: Posterior, evidence: Evidence) -> list[Ignored]:
    """Return what was accepted and not weighed."""
    found = [each for weighed in belief.weighed.values() for each in weighed.ignored]
    if evidence.vin is not None:
        found.append(Ignored("vin", "looked at for form only; a VIN is never decoded into a package here"))
    codes = [
        Ignored("option_codes", f"no fitment in the catalogue has the code {code!r}") for code in belief.unknown_codes
    ]
    return found + codes
