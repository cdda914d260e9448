"""A sheet of paper, A4 or Letter, on the bench: beside the rotor or partly under it, curled or not."""

from collections.abc import Sequence

from vision.edges import Image
from vision.figure import Sighting
from vision.references.floor import Floor
from vision.references.lying import find_rectangles
from vision.references.parse import Reference

# Corners are dog-eared; what they curl up besides is fitted.
CORNER_MM = 25.0


def find_sheets(bgr: Image, floors: Sequence[Floor], reference: Reference) -> list[Sighting]:
    """Find a sheet of a given size.

    Parameters
    ----------
    bgr : (H, W, 3) ndarray of uint8
    floors : sequence of Floor
        Where the rotor's face may be: both tilts of its rim.
    reference : Reference

    Returns
    -------
    list of Sighting
        Best first.
    """
    return find_rectangles(bgr, floors, reference, inside=False, corner_mm=CORNER_MM)
