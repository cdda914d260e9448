"""Packages, evidence and probability. Knows nothing of pixels."""

from catalogue.assumptions import Assumptions, AssumptionsError, load_assumptions
from catalogue.evidence import read_evidence
from catalogue.faults import CatalogueError, EvidenceError, Fault
from catalogue.identification import Identification
from catalogue.identify import identify
from catalogue.json_text import parse_json
from catalogue.load import load_catalogue
from catalogue.names import plain_name
from catalogue.observation import Evidence
from catalogue.overlaps import overlaps
from catalogue.schema import Catalogue

__all__ = [
    "Assumptions",
    "AssumptionsError",
    "Catalogue",
    "CatalogueError",
    "Evidence",
    "EvidenceError",
    "Fault",
    "Identification",
    "identify",
    "load_assumptions",
    "load_catalogue",
    "overlaps",
    "parse_json",
    "plain_name",
    "read_evidence",
]
