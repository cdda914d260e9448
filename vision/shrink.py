"""Photos made smaller by halves: a mean over two by two pixels is many times as fast as one over any other number."""

from math import sqrt

import cv2
import numpy as np

from vision.edges import Image


def shrunk(image: Image, times: float) -> Image:
    """Reduce an image (H, W) or (H, W, C) so many times, if by any, each pixel the mean of what it covers."""
    width, height = (max(1, round(size / max(times, 1.0))) for size in image.shape[1::-1])
    while all(old % 2 == 0 and old >= 2 * new for old, new in zip(image.shape[1::-1], (width, height), strict=True)):
        image = _halved(image)
    if image.shape[1::-1] == (width, height):
        return image
    return np.asarray(cv2.resize(image, (width, height), interpolation=cv2.INTER_AREA))


def for_steps(image: Image, step_px: float) -> tuple[Image, int]:
    """Make an image ready to be read at points so far apart, so that no texture between them turns into a pattern.

    Parameters
    ----------
    image : (H, W) or (H, W, C) ndarray of uint8
    step_px : float

    Returns
    -------
    image : ndarray
        What it shows is blurred as a mean over a step would be that is read between four such means.
    factor : int
        How many times smaller it is: ``(x + 0.5) / factor - 0.5`` is where to read.
    """
    factor = 1
    while step_px >= 2 * factor and min(image.shape[:2]) > 1:
        image = _halved(image[: image.shape[0] // 2 * 2, : image.shape[1] // 2 * 2])
        factor *= 2
    left = step_px / factor
    # A mean over so many pixels adds a twelfth of their number's square, less one, to the variance of what a pixel
    # shows; reading between four such means adds, on the average, twice that.
    if left > 1:
        image = cv2.GaussianBlur(image, (0, 0), sqrt(left**2 - 1) / 2)
    return image, factor


def _halved(image: Image) -> Image:
    return np.asarray(cv2.resize(image, (image.shape[1] // 2, image.shape[0] // 2), interpolation=cv2.INTER_AREA))
