"""Packages, evidence and probability. Knows nothing of pixels."""

from catalogue.faults import CatalogueError, EvidenceError, Fault
from catalogue.load import load_catalogue
from catalogue.schema import Catalogue

__all__ = [
    "Catalogue",
    "CatalogueError",
    "EvidenceError",
    "Fault",
    "load_catalogue",
]
