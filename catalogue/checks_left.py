"""The checks that can still be made, on every axle that could be looked at."""

from collections.abc import Iterable

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
        observed = evidence.axles.get(axle, AxleEvidence())
        place = (axle, field.rows[axle])
        checks += possible_checks(belief.prepared, place, observed, assumptions, physical=physical)
    return checks
