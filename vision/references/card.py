"""A bank card (ISO/IEC 7810 ID-1): any print, on the ring, the hat or the bench."""

from collections.abc import Sequence

from vision.edges import Image
from vision.figure import Sighting
from vision.references.floor import Floor
from vision.references.lying import find_rectangles
from vision.references.parse import Reference

# Corners are rounded by up to 3.48 mm: only the straight sides count.
CORNER_MM = 5.0


def find_cards(bgr: Image, floors: Sequence[Floor], reference: Reference, *, inside: bool) -> list[Sighting]:
    """Find a card.

    Parameters
    ----------
    bgr : (H, W, 3) ndarray of uint8
    floors : sequence of Floor
        Where the rotor's face may be: both tilts of its rim.
    reference : Reference
    inside : bool
        Whether it lies on the rotor; else beside it.

    Returns
    -------
    list of Sighting
        Best first.
    """
    return find_rectangles(bgr, floors, reference, inside=inside, corner_mm=CORNER_MM)
