"""A coin of a named kind, told from the other circles on and round a rotor."""

from collections.abc import Sequence

from vision.edges import Image
from vision.figure import Sighting
from vision.references.floor import Floor
from vision.references.parse import Reference


def find_coins(bgr: Image, floors: Sequence[Floor], reference: Reference, *, inside: bool) -> list[Sighting]:
    """Find a coin."""
    return []
