"""The checks that can still be made, on every axle that could be looked at."""

from collections.abc import Iterable
from dataclasses import replace

from catalogue.assumptions import Assumptions
from catalogue.checks import Check, possible_checks
from catalogue.field import Field
from catalogue.observation import AxleEvidence, Evidence, EvidenceAxle
from catalogue.posterior import Posterior


def checks_left(belief: Posterior, field: Field, evidence: Evidence, assumptions: Assumptions) -> tuple[Check, ...]:
    """Return the checks that would not read the same for all packages in the running."""
    return tuple(_of_axles(field.rows, belief, (field, evidence), assumptions, physical=False))


def physical_checks_left(
    axles: Iterable[EvidenceAxle], belief: Posterior, given: tuple[Field, Evidence], assumptions: Assumptions
) -> list[Check]:
    """Return those of some axles that measure or look, without the numbers read off the parts, which name them."""
    return _of_axles(axles, belief, given, assumptions, physical=True)


def _believed(observed: AxleEvidence, axle: EvidenceAxle, belief: Posterior) -> AxleEvidence:
    """Return what was observed without what is taken for a misreading: that is to be read again."""
    misread = {each.evidence for each in belief.soundness.misread if each.axle == axle}
    if not misread:
        return observed
    return replace(
        observed,
        lengths={key: each for key, each in observed.lengths.items() if key not in misread},
        pad_lengths={key: each for key, each in observed.pad_lengths.items() if key not in misread},
        thickness_mm=() if "thickness_mm" in misread else observed.thickness_mm,
        bolt_count=None if "bolt_count" in misread else observed.bolt_count,
        wheel_in=None if "wheel_in" in misread else observed.wheel_in,
        min_mark_mm=None if "min_thickness_mark_mm" in misread else observed.min_mark_mm,
    )


def _of_axles(
    axles: Iterable[EvidenceAxle],
    belief: Posterior,
    given: tuple[Field, Evidence],
    assumptions: Assumptions,
    *,
    physical: bool,
) -> list[Check]:
    field, evidence = given
    checks: list[Check] = []
    for axle in axles if len(field) else ():
        observed = _believed(evidence.axles.get(axle, AxleEvidence()), axle, belief)
        place = (axle, field.rows[axle])
        checks += possible_checks(belief.prepared, place, observed, assumptions, physical=physical)
    return checks
