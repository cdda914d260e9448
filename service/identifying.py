"""Evidence in its wire form in, identification in its wire form out: what every entrance calls."""

from collections.abc import Mapping
from typing import Any

from catalogue import Assumptions, Catalogue, identify, read_evidence


def identify_wire(
    catalogue: Catalogue, evidence: Mapping[str, Any], assumptions: Assumptions | None = None
) -> dict[str, Any]:
    """Rank the packages of ``catalogue`` that ``evidence`` speaks for.

    Parameters
    ----------
    catalogue : Catalogue
    evidence : mapping
        The contract's evidence, as read from JSON.
    assumptions : Assumptions, optional
        The catalogue's defaults where not given.

    Raises
    ------
    catalogue.EvidenceError
        With what is wrong in the evidence, and where.
    """
    return identify(catalogue, read_evidence(evidence), assumptions=assumptions).to_json()
