"""From evidence to an answer: what the car may have, what may be ordered, and what to check next."""

from catalogue.assumptions import Assumptions, default_assumptions
from catalogue.checks import Check, possible_checks
from catalogue.field import Field, field_of
from catalogue.identification import Identification
from catalogue.observation import AxleEvidence, Evidence
from catalogue.posterior import Posterior, posterior
from catalogue.prepare import prepare
from catalogue.schema import Catalogue
from catalogue.verdict import part_verdicts


def identify(catalogue: Catalogue, evidence: Evidence, *, assumptions: Assumptions | None = None) -> Identification:
    """Rank the packages of ``catalogue`` by ``evidence``.

    Parameters
    ----------
    catalogue : Catalogue
    evidence : Evidence
        From ``read_evidence``; without any the answer is the prior, with the checks worth making first.
    assumptions : Assumptions, optional
        From ``load_assumptions``; the defaults where not given.

    Returns
    -------
    Identification
        ``to_json`` gives the contract's document.
    """
    assumptions = assumptions or default_assumptions()
    belief = posterior(prepare(catalogue), evidence, assumptions)
    field = field_of(belief, evidence)
    checks = _checks(belief, field, evidence, assumptions)
    verdicts = part_verdicts(belief, field, checks, assumptions)
    return Identification(belief, field, evidence, assumptions, tuple(checks), verdicts)


def _checks(belief: Posterior, field: Field, evidence: Evidence, assumptions: Assumptions) -> list[Check]:
    """Return the checks that can still be made, on each axle that is observed or wanted."""
    if not len(field):
        return []
    checks: list[Check] = []
    for axle, rows in field.rows.items():
        observed = evidence.axles.get(axle, AxleEvidence())
        checks += possible_checks(belief.prepared, (axle, rows), observed, assumptions)
    return checks
