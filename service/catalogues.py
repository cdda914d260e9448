"""The catalogue that a run works with: the one named, or the demo."""

from pathlib import Path

import catalogue as room
from catalogue import Catalogue, load_catalogue

DEMO = Path(room.__file__).with_name("demo")


def open_catalogue(folder: Path | None) -> Catalogue:
    """Load the catalogue in ``folder``, or the demo catalogue where that is None.

    Raises
    ------
    catalogue.CatalogueError
        With every fault that was found.
    """
    return load_catalogue(folder or DEMO)
