"""From evidence to an answer: what the car may have, what may be ordered, and what to check next."""

from catalogue.assumptions import Assumptions, default_assumptions
from catalogue.field import field_of
from catalogue.identification import Identification
from catalogue.observation import Evidence
from catalogue.posterior import posterior
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
    verdicts = part_verdicts(belief, field, evidence, assumptions)
    return Identification(belief, field, evidence, assumptions, verdicts)
