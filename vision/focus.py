"""How sharp a photo is, as far as measuring goes."""

import cv2
import numpy as np

from vision.edges import Image

WORKING_SIZE_PX = 800
STEEPEST_PERCENT = 99.8
# Sharpness under which a photo may show nothing for it, and under which nothing it shows counts.
SOFT, HOPELESS = 0.15, 0.09


def sharpness(grey: Image) -> float:
    """Return the slope of the photo's steepest edges, per working pixel, over its whole range of brightness.

    Parameters
    ----------
    grey : (H, W) ndarray of uint8

    Returns
    -------
    float
        About 0.2 to 0.3 for a sharp photo of anything; under 0.1 no edge can be placed.
    """
    scale = min(1.0, WORKING_SIZE_PX / max(grey.shape))
    small = cv2.resize(grey, None, fx=scale, fy=scale, interpolation=cv2.INTER_AREA)
    soft = cv2.GaussianBlur(small.astype(np.float32), (0, 0), 1.0)
    slope = np.hypot(cv2.Sobel(soft, cv2.CV_32F, 1, 0), cv2.Sobel(soft, cv2.CV_32F, 0, 1)) / 8
    low, high = np.percentile(soft, [1, 99])
    return float(np.percentile(slope, STEEPEST_PERCENT) / max(high - low, 1.0))


def softness(sharp: float) -> tuple[str, ...]:
    """Return the code of what a photo so sharp may show nothing for, where it may."""
    return ("blurred",) if sharp < SOFT else ()
