"""What people glue together to measure a circle in a photo, each in a few lines of OpenCV: the plain alternatives.

All are told by the truth where the reference lies, which flatters them; none states an uncertainty. Each returns a
diameter in millimetres, or None where it finds no circle.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any

import cv2
import numpy as np
import numpy.typing as npt

from vision.edges import Image
from vision.measurement import FloatArray
from vision.references.parse import Reference

SMALL_PX = 1000
# Hough's circles: gradient over the edge threshold, votes, and the rotor's radius as shares of the picture's side.
CANNY, VOTES, ROTOR_SHARE = 120, 60, (0.12, 0.5)
# A rotor's area over the reference's, at least.
LARGER = 5.0


@dataclass(frozen=True)
class Sight:
    """A photo and its reference.

    Attributes
    ----------
    bgr : (H, W, 3) ndarray of uint8
    reference : Reference
    outline_px : (N, 2) ndarray
        Corners of a card or tag, or points round a coin's edge, as the truth has them.
    """

    bgr: Image
    reference: Reference
    outline_px: FloatArray

    @property
    def small(self) -> tuple[npt.NDArray[np.uint8], float]:
        """The picture in grey, its longer side `SMALL_PX`, and how many of the photo's pixels one of its is."""
        shrink = max(1.0, max(self.bgr.shape) / SMALL_PX)
        grey = cv2.cvtColor(self.bgr, cv2.COLOR_BGR2GRAY)
        return np.asarray(cv2.resize(grey, None, fx=1 / shrink, fy=1 / shrink, interpolation=cv2.INTER_AREA)), shrink

    @property
    def width_px(self) -> float:
        """The reference's size in the photo, as somebody would measure it with a ruler on the screen."""
        if self.reference.family == "coin":
            return float(np.mean(np.ptp(self.outline_px, axis=0)))
        return float(np.mean(np.linalg.norm(np.roll(self.outline_px, -1, axis=0) - self.outline_px, axis=1)))

    @property
    def width_mm(self) -> float:
        """The same in millimetres."""
        return float(np.mean(self.reference.size_mm))


def hough_circles(sight: Sight) -> float | None:
    """Scale by the reference's own pixels per millimetre; the rotor is Hough's strongest large circle."""
    grey, shrink = sight.small
    side = min(grey.shape)
    found = cv2.HoughCircles(
        cv2.medianBlur(grey, 5),
        cv2.HOUGH_GRADIENT,
        1.5,
        side / 4,
        param1=CANNY,
        param2=VOTES,
        minRadius=round(ROTOR_SHARE[0] * side),
        maxRadius=round(ROTOR_SHARE[1] * side),
    )
    if found is None:
        return None
    return 2 * float(found[0, 0, 2]) * shrink * sight.width_mm / sight.width_px


def ellipse_axis(sight: Sight) -> float | None:
    """Scale by pixels per millimetre too; the rotor is EdgeDrawing's largest ellipse, by its longer axis."""
    grey, shrink = sight.small
    drawing = cv2.ximgproc.createEdgeDrawing()
    drawing.detectEdges(grey)
    ellipses = drawing.detectEllipses()
    if ellipses is None:
        return None
    x, y, radius, a, b, _ = ellipses.reshape(-1, 6).T
    fits = (x > 0) & (y > 0) & (x < grey.shape[1]) & (y < grey.shape[0])
    axis = np.where(fits, np.maximum(radius + a, radius + b), 0.0)
    return 2 * float(axis.max()) * shrink * sight.width_mm / sight.width_px if axis.max() > 0 else None


def card_homography(sight: Sight) -> float | None:
    """Flatten the picture by four corners; the rotor is the ellipse round Otsu's largest contour that holds them."""
    if len(sight.outline_px) != 4:
        return None
    width, height = sight.reference.size_mm
    flat_mm = np.array([[0, 0], [width, 0], [width, height], [0, height]])
    sides = np.linalg.norm(np.roll(sight.outline_px, -1, axis=0) - sight.outline_px, axis=1)
    upright = np.roll(sight.outline_px, -1, axis=0) if sides[0] < sides[1] and width > height else sight.outline_px
    to_mm = cv2.getPerspectiveTransform(upright.astype(np.float32), flat_mm.astype(np.float32))
    grey, shrink = sight.small
    _, mask = cv2.threshold(cv2.GaussianBlur(grey, (5, 5), 0), 0, 255, cv2.THRESH_BINARY + cv2.THRESH_OTSU)
    middle = tuple((sight.outline_px.mean(axis=0) / shrink).tolist())
    contours = [
        contour
        for picture in (mask, 255 - mask)
        for contour in cv2.findContours(picture, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)[0]
        if not _touches(contour, grey.shape)
        and cv2.contourArea(contour) > LARGER * cv2.contourArea(sight.outline_px.astype(np.float32)) / shrink**2
        and cv2.pointPolygonTest(contour, middle, measureDist=False) > 0
    ]
    if not contours:
        return None
    largest = max(contours, key=cv2.contourArea).astype(np.float32) * shrink
    _, axes, _ = cv2.fitEllipse(cv2.perspectiveTransform(largest, to_mm))
    return float(np.mean(axes))


def _touches(contour: npt.NDArray[Any], shape: tuple[int, ...]) -> bool:
    """Whether a contour runs along the picture's border."""
    xy = contour.reshape(-1, 2)
    return bool((xy.min() <= 1) or (xy[:, 0].max() >= shape[1] - 2) or (xy[:, 1].max() >= shape[0] - 2))


RECIPES: Mapping[str, Callable[[Sight], float | None]] = {
    "HoughCircles, pixels per millimetre": hough_circles,
    "EdgeDrawing, longer axis": ellipse_axis,
    "homography, contour's ellipse": card_homography,
}
