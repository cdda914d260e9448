"""The checks that can still be made, on every axle that could be looked at."""

from catalogue.assumptions import Assumptions
from catalogue.checks import Check, possible_checks
from catalogue.field import Field
from catalogue.observation import AxleEvidence, Evidence
from catalogue.posterior import Posterior


def checks_left(
    belief: Posterior, field: Field, evidence: Evidence, assumptions: Assumptions, *, physical: bool = False
) -> tuple[Check, ...]:
    """Return the checks that would not read the same for all packages in the running.

    ``physical`` leaves out the numbers read off the parts: they name the part and are no measurement.
    """
    if not len(field):
        return ()
    checks: list[Check] = []
    for axle, rows in field.rows.items():
        observed = evidence.axles.get(axle, AxleEvidence())
        checks += possible_checks(belief.prepared, (axle, rows), observed, assumptions, physical=physical)
    return tuple(checks)
