"""Two marks a known length apart, as a person set them."""

import numpy as np

from vision.figure import Figure, Sighting
from vision.measurement import FloatArray
from vision.references.parse import Reference
from vision.references.sides import edge_samples

# How well a person sets a mark, by finger or mouse, on the photo enlarged.
MARK_STD_PX = 1.0


def place_points(reference: Reference) -> Sighting:
    """Turn two marks into a figure: the ends of a line along x, each tied lengthwise and across.

    Parameters
    ----------
    reference : Reference
        Of the family ``points``.

    Returns
    -------
    Sighting
        Four samples: each mark once against its end of the length, once against the line.

    Raises
    ------
    ValueError
        For a reference without points.
    """
    if reference.points_px is None:
        raise ValueError(f"a reference with points is needed, got {reference.kind!r}")
    ends_px = np.array(reference.points_px, dtype=np.float64)
    length_mm = reference.size_mm[0]
    sides = np.array([[-1, 0, length_mm / 2], [1, 0, length_mm / 2], [0, 1, 0], [0, 1, 0]], dtype=np.float64)
    figure = Figure("points", sides, size_std=reference.size_std)
    samples = edge_samples(np.vstack([ends_px, ends_px]), np.zeros(4), np.full(4, MARK_STD_PX), np.arange(4))
    return Sighting(figure, samples, ends_px, _pose(ends_px, length_mm), 1.0)


def _pose(ends_px: FloatArray, length_mm: float) -> FloatArray:
    """Return the similarity (3, 3) from the line's frame, y upward in the picture, to pixels."""
    along_x, along_y = (ends_px[1] - ends_px[0]) / length_mm
    centre_x, centre_y = ends_px.mean(axis=0)
    return np.array([[along_x, along_y, centre_x], [along_y, -along_x, centre_y], [0.0, 0.0, 1.0]])
