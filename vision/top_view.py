"""The rotor's middle as seen from straight above, small: circles stay circles in every plane parallel to the face."""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import cv2
import numpy as np

from vision.measurement import FloatArray
from vision.ring import Face, Map, Mask, Pixels, read_photo
from vision.votes import Ballots

# Half the side over the rim's radius: the bolt circle of a tall hat, shifted by a tilt of 45 degrees.
HALF_SHARE = 0.78
# Steps of the picture over half its side.
HALF_STEPS = 92
NODES = 24


@dataclass(frozen=True, eq=False)
class TopView:
    """A photo carried to the friction plane, for whatever lies in planes above or below it.

    Attributes
    ----------
    level : (S, S) ndarray of float32
        Logarithm of brightness.
    seen : (S, S) ndarray of bool
        In the picture, and not hidden by a reference.
    mm_per_px : float
    face : Face
    """

    level: Map
    seen: Mask
    mm_per_px: float
    face: Face

    def on_view(self, heights_mm: FloatArray) -> FloatArray:
        """Return the homographies (H, 3, 3) from millimetres in the planes ``z = heights_mm`` to pixels of the view."""
        flat = self.face.rim_radius_mm * np.array([[0.4, 0.0], [0.0, 0.4], [-0.4, 0.0], [0.0, -0.4]])
        lifted = np.column_stack([np.tile(flat, (len(heights_mm), 1)), np.repeat(heights_mm, 4)])
        here = self.face.to_plane(self.face.to_pixels(lifted), 0.0) / self.mm_per_px + HALF_STEPS
        corners = np.split(here.astype(np.float32), len(heights_mm))
        return np.array([cv2.getPerspectiveTransform(flat.astype(np.float32), there) for there in corners])

    def votes(self, radii_mm: Sequence[float]) -> Map:
        """Return the best votes, at each pixel, for a disc of any of these radii at a rim of 330 mm."""
        best = np.zeros_like(self.level)
        for radius in radii_mm:
            if radius not in self._votes:
                self._votes[radius] = self._ballots.for_discs(radius * self.face.rim_radius_mm / 165.0 / self.mm_per_px)
            best = np.maximum(best, self._votes[radius])
        return best

    @cached_property
    def _ballots(self) -> Ballots:
        return Ballots.of(self.level)

    @cached_property
    def _votes(self) -> dict[float, Map]:
        return {}


def top_view(grey: Pixels, face: Face, hidden_mm: Sequence[FloatArray] = ()) -> TopView:
    """Carry the rotor's middle to the friction plane.

    Parameters
    ----------
    grey : (H, W) ndarray of uint8
    face : Face
    hidden_mm : sequence of (K, 2) ndarray
        Outlines, carried to the friction plane, of what hides the rotor.

    Returns
    -------
    TopView
    """
    half_mm = HALF_SHARE * face.rim_radius_mm
    size, step = 2 * HALF_STEPS + 1, half_mm / HALF_STEPS
    axis = np.linspace(-half_mm, half_mm, NODES)
    x, y = (part.ravel() for part in np.meshgrid(axis, axis))
    nodes = face.to_pixels(np.stack([x, y, np.zeros_like(x)], axis=-1)).reshape(NODES, NODES, 2)
    share = (NODES - 1) / (size - 1)
    stretch = np.array([[share, 0, 0], [0, share, 0]])
    flags = cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP
    spread = cv2.warpAffine(
        nodes.astype(np.float32), stretch, (size, size), flags=flags, borderMode=cv2.BORDER_REPLICATE
    )
    where: Map = np.asarray(spread, np.float32)
    pitch = float(np.linalg.norm(where[1:, 1:] - where[:-1, :-1], axis=2).mean()) / np.sqrt(2)
    flat = read_photo(grey, where, shrink=max(1, round(pitch / 1.3)))
    high = np.array(grey.shape[::-1], np.float32) - 1
    seen = ((where >= 0) & (where <= high)).all(axis=2)
    hidden = np.zeros((size, size), np.uint8)
    for outline in hidden_mm:
        cv2.fillPoly(hidden, [np.rint(outline / step + HALF_STEPS).astype(np.int32)], 1)
    grown = cv2.dilate(hidden, np.ones((5, 5), np.uint8)).astype(bool)
    return TopView(np.log(flat.astype(np.float32) + 8.0), seen & ~grown, step, face)
