"""Straight edge pieces in a photo: what sides of cards and sheets are put together from."""

from dataclasses import dataclass

import cv2
import numpy as np
import numpy.typing as npt

from vision.edges import Image
from vision.measurement import FloatArray
from vision.references.floor import Floor

MAX_PIECES = 220
# Canny's thresholds, in units of the clutter around.
WEAK, STRONG = 0.35, 0.8
SECTORS = 8
SECTOR_HALF_RAD = np.radians(32.0)
LEAST_PIXELS = 9
# Mean square distance of a piece's pixels from its line, px**2.
STRAIGHT = 0.6
_CANNY_UNIT = 200.0
# Brightness, red over green, yellow over blue, from blue, green and red.
OPPONENTS = np.array([[0.25, 0.5, 0.25], [0.0, -1.0, 1.0], [-1.0, 0.5, 0.5]], np.float32)


@dataclass(frozen=True)
class Pieces:
    """Straight edge pieces on the floor's plane.

    Attributes
    ----------
    middle_mm : (N, 2) ndarray
    turn_rad : (N,) ndarray
        Direction, 0 to pi.
    length_mm : (N,) ndarray
    """

    middle_mm: FloatArray
    turn_rad: FloatArray
    length_mm: FloatArray

    def __getitem__(self, which: npt.NDArray[np.intp]) -> "Pieces":
        return Pieces(self.middle_mm[which], self.turn_rad[which], self.length_mm[which])


@dataclass(frozen=True)
class Contrast:
    """A reduced photo's edges: gradient (H, W, 2) of the strongest channel over the local clutter."""

    gradient: npt.NDArray[np.float32]

    @classmethod
    def of(cls, bgr: Image) -> "Contrast":
        """Work out the gradient; colour counts as much as brightness."""
        smooth = cv2.GaussianBlur(bgr, (0, 0), 0.9).astype(np.float32)
        light, red_green, yellow_blue = cv2.split(cv2.transform(smooth, OPPONENTS))
        best, power = _gradient(light)
        for colour in (red_green, yellow_blue):
            other, strength = _gradient(colour)
            best = np.where((strength > power)[..., None], other, best)
            power = np.maximum(power, strength)
        clutter = cv2.blur(np.sqrt(power), (25, 25))
        return cls(best / (1.5 * clutter + 1.0)[..., None])

    def across(self, xy_px: FloatArray, normal_px: FloatArray) -> FloatArray:
        """Return the gradient along normals, clipped to -1..1, at points of any leading shape; 0 off the picture."""
        height, width = self.gradient.shape[:2]
        column, row = np.rint(xy_px[..., 0]).astype(np.intp), np.rint(xy_px[..., 1]).astype(np.intp)
        inside = (column >= 0) & (column < width) & (row >= 0) & (row < height)
        read = self.gradient[np.where(inside, row, 0), np.where(inside, column, 0)]
        steep: FloatArray = np.clip((read * normal_px).sum(axis=-1), -1.0, 1.0)
        return np.where(inside, steep, 0.0)

    def straight_ends(self) -> FloatArray:
        """Return the ends (N, 4) of straight edge pieces: thin edges, parted by direction, the straight parts."""
        steps = np.clip(self.gradient * _CANNY_UNIT, -32000, 32000).astype(np.int16)
        along_x, along_y = cv2.split(steps)
        thin = cv2.Canny(along_x, along_y, WEAK * _CANNY_UNIT, STRONG * _CANNY_UNIT, L2gradient=True)
        row, column = np.nonzero(thin)
        angle = np.arctan2(self.gradient[row, column, 1], self.gradient[row, column, 0])
        ends = [np.zeros((0, 4))]
        for centre in np.arange(SECTORS) * (2 * np.pi / SECTORS):
            own = np.abs((angle - centre + np.pi) % (2 * np.pi) - np.pi) < SECTOR_HALF_RAD
            ends.append(_straight_parts(column[own], row[own], thin.shape))
        return np.vstack(ends)


def pieces_on(floor: Floor, ends_px: FloatArray) -> Pieces:
    """Carry edge pieces, given by their ends (N, 4), to the plane."""
    first, last = floor.to_plane(ends_px[:, :2]), floor.to_plane(ends_px[:, 2:])
    run = last - first
    return Pieces((first + last) / 2, np.arctan2(run[:, 1], run[:, 0]) % np.pi, np.hypot(*run.T))


def _gradient(channel: Image) -> tuple[npt.NDArray[np.float32], npt.NDArray[np.float32]]:
    """Return a channel's gradient (H, W, 2), levels per pixel, and its square."""
    gradient = cv2.merge([cv2.Sobel(channel, cv2.CV_32F, *axis, scale=0.125) for axis in ((1, 0), (0, 1))])
    return np.asarray(gradient), np.asarray((gradient * gradient).sum(axis=2))


def _straight_parts(column: npt.NDArray[np.intp], row: npt.NDArray[np.intp], shape: tuple[int, ...]) -> FloatArray:
    """Return the ends (N, 4) of the connected parts that are straight."""
    mask = np.zeros(shape[:2], np.uint8)
    mask[row, column] = 1
    count, labels = cv2.connectedComponents(mask, connectivity=8)
    part = np.asarray(labels)[row, column]
    xy = np.stack([column, row], axis=-1).astype(np.float64)
    size = np.maximum(np.bincount(part, minlength=count), 1)
    middle = np.stack([np.bincount(part, axis, count) for axis in xy.T], axis=-1) / size[:, None]
    away = xy - middle[part]
    xx, yy, xyx = (np.bincount(part, product, count) / size for product in _products(away))
    spread = np.sqrt((xx - yy) ** 2 + 4 * xyx**2)
    wide, narrow = (xx + yy + spread) / 2, (xx + yy - spread) / 2
    good = (size >= LEAST_PIXELS) & (narrow < STRAIGHT)
    turn = 0.5 * np.arctan2(2 * xyx, xx - yy)[good]
    # A straight run of even points has a variance of a twelfth of its length squared.
    half = np.sqrt(3 * wide[good])[:, None] * np.stack([np.cos(turn), np.sin(turn)], axis=-1)
    return np.hstack([middle[good] - half, middle[good] + half])


def _products(away: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
    return away[:, 0] ** 2, away[:, 1] ** 2, away[:, 0] * away[:, 1]
