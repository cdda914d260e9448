"""How sharp a photo is, as far as measuring goes."""

import cv2
import numpy as np

from vision.edges import Image
from vision.measurement import FloatArray
from vision.ring import Map
from vision.shrink import shrunk

WORKING_SIZE_PX, TILE_PX = 800, 40
# Widths of two looks at an edge, working pixels: a sharp edge is that much steeper in the finer one.
FINE_PX, COARSE_PX = 1.0, 3.0
# Slopes that are more than grain, levels a pixel; tiles that must show one, and which of them tells.
LEAST_SLOPE, LEAST_TILES, TOLD_BY_PERCENT = 1.2, 5, 75.0
# Of 16 photos spoilt by shake or focus 15 are under the first, 14 under the second; of some 560 that can be measured,
# one and none; of 13 real ones none.
SOFT, HOPELESS = 2.1, 1.95
SHARPEST = COARSE_PX / FINE_PX


def sharpness(grey: Image) -> float:
    """Return by how much a photo's edges are steeper looked at finely than coarsely.

    That tells how wide they are whatever their height: a bright window does not make a dark rotor's edges soft.

    Parameters
    ----------
    grey : (H, W) ndarray of uint8

    Returns
    -------
    float
        1 where all is blurred, about 2.3 to 3 for a sharp photo of anything, and where nothing is to be seen.
    """
    small = shrunk(grey, max(grey.shape) / WORKING_SIZE_PX).astype(np.float32)
    fine, coarse = (_tiles(_slope(small, width_px)) for width_px in (FINE_PX, COARSE_PX))
    steepest = coarse.argmax(axis=1)[:, None]
    fine, coarse = (np.take_along_axis(tiles, steepest, axis=1)[:, 0] for tiles in (fine, coarse))
    shown = coarse > LEAST_SLOPE
    if shown.sum() < LEAST_TILES:
        return SHARPEST
    return float(np.percentile(fine[shown] / coarse[shown], TOLD_BY_PERCENT))


def _slope(levels: Map, width_px: float) -> FloatArray:
    smooth = cv2.GaussianBlur(levels, (0, 0), width_px)
    return np.asarray(np.hypot(cv2.Sobel(smooth, cv2.CV_32F, 1, 0), cv2.Sobel(smooth, cv2.CV_32F, 0, 1)) / 8)


def _tiles(image: FloatArray) -> FloatArray:
    """Cut an image into square tiles, (T, TILE_PX * TILE_PX); what is left over at its right and below is left out."""
    rows, columns = (size // TILE_PX for size in image.shape)
    cut = image[: rows * TILE_PX, : columns * TILE_PX].reshape(rows, TILE_PX, columns, TILE_PX)
    return cut.swapaxes(1, 2).reshape(rows * columns, TILE_PX * TILE_PX)


def softness(sharp: float) -> tuple[str, ...]:
    """Return the code of what a photo so sharp may show nothing for, where it may."""
    return ("blurred",) if sharp < SOFT else ()
