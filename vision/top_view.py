"""The rotor's middle as seen from straight above, small: circles stay circles in every plane parallel to the face."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import cv2
import numpy as np

from vision.hub_look import HubLook, shipped_hub_net
from vision.measurement import FloatArray
from vision.ring import Face, Map, Mask, Pixels, read_photo

# Half the side over the rim's radius: the bolt circle of a tall hat, shifted by a tilt of 45 degrees.
HALF_SHARE = 0.78
# Cells over half a side, and steps of the picture in a cell.
HALF_STEPS, FINER = 92, 2
CELLS = 2 * HALF_STEPS + 1
NODES = 24


@dataclass(frozen=True, eq=False)
class TopView:
    """A photo carried to the friction plane, for whatever lies in planes above or below it.

    Attributes
    ----------
    grey : (FINER * CELLS, FINER * CELLS) ndarray of uint8
        Brightness.
    seen : (CELLS, CELLS) ndarray of bool
        In the picture, and not hidden by a reference.
    hub : HubLook
        What a net sees in it.
    mm_per_px : float
        Of a cell.
    laid : Face
        Whose friction plane the photo was carried to.
    face : Face
        Whose planes are looked at: of the same scene, or of another that may be meant.
    """

    grey: Pixels
    seen: Mask
    hub: HubLook
    mm_per_px: float
    laid: Face
    face: Face

    def on_view(self, heights_mm: FloatArray) -> FloatArray:
        """Return the homographies (H, 3, 3) from millimetres in the planes ``z = heights_mm`` to cells of the view."""
        flat = self.face.rim_radius_mm * np.array([[0.4, 0.0], [0.0, 0.4], [-0.4, 0.0], [0.0, -0.4]])
        lifted = np.column_stack([np.tile(flat, (len(heights_mm), 1)), np.repeat(heights_mm, 4)])
        corners = np.split(self.cells_of(self.face.to_pixels(lifted)).astype(np.float32), len(heights_mm))
        return np.array([cv2.getPerspectiveTransform(flat.astype(np.float32), there) for there in corners])

    def cells_of(self, xy_px: FloatArray) -> FloatArray:
        """Carry pixels of the photo (N, 2) to cells ``(column, row)``."""
        return self.laid.to_plane(xy_px, 0.0) / self.mm_per_px + HALF_STEPS

    def pixels_of(self, cells: FloatArray) -> FloatArray:
        """Carry cells ``(column, row)``, (N, 2), to pixels of the photo."""
        flat = (cells - HALF_STEPS) * self.mm_per_px
        return self.laid.to_pixels(np.column_stack([flat, np.zeros(len(flat))]))

    def meant_by(self, face: Face) -> "TopView":
        """Return the same view, with what was seen in it, for the planes of another face."""
        return replace(self, face=face)


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
    step = HALF_SHARE * face.rim_radius_mm / HALF_STEPS
    size = FINER * CELLS
    end = (size - 1) / 2 * step / FINER
    axis = np.linspace(-end, end, NODES)
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
    flat = read_photo(grey, where, step_px=max(1, round(pitch)))
    high = np.array(grey.shape[::-1], np.float32) - 1
    seen = ((where >= 0) & (where <= high))[::FINER, ::FINER].all(axis=2)
    hidden = np.zeros((CELLS, CELLS), np.uint8)
    for outline in hidden_mm:
        cv2.fillPoly(hidden, [np.rint(outline / step + HALF_STEPS).astype(np.int32)], 1)
    grown = cv2.dilate(hidden, np.ones((5, 5), np.uint8)).astype(bool)
    return TopView(flat, seen & ~grown, shipped_hub_net().look(flat), step, face, face)
