"""Plane figures of known size: what a scale reference is to the fit."""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from vision.measurement import FloatArray


@dataclass(frozen=True)
class Figure:
    """A reference as the fit sees it: straight sides or a circle in its own frame, centred, in mm.

    Attributes
    ----------
    kind : str
        As the contract names it.
    sides : (S, 3) ndarray
        Lines ``a x + b y = c`` with ``a**2 + b**2 = 1``, nominal size, ``(a, b)`` pointing outward; S = 0 for a coin.
    radius_mm : float, optional
        Of a round figure.
    size_std : (float, float)
        Relative standard deviations of the true size along x and y; a second value of 0 ties y to x.
    thickness_mm, thickness_std_mm : float
        The figure's upper side stands so far above what it lies on.
    curl_mm, curl_std_mm : float
        How far each corner of a rectangle curls up from there; 0 and 0 of what is stiff.
    """

    kind: str
    sides: FloatArray
    radius_mm: float | None = None
    size_std: tuple[float, float] = (0.0, 0.0)
    thickness_mm: float = 0.0
    thickness_std_mm: float = 0.0
    curl_mm: float = 0.0
    curl_std_mm: float = 0.0

    def curl_shares(self, xy_mm: FloatArray) -> FloatArray:
        """Return what share of each corner's curl lifts points of a rectangle (N, 2): (4, N), none of what is stiff.

        Each corner curls by itself; up to the line between its neighbours its curl fades with the square of the way.
        """
        if not self.curl_std_mm:
            return np.empty((0, len(xy_mm)))
        across, up = (xy_mm / (2 * self.sides[:2, 2]) + 0.5).T
        way = np.stack([across + up, 1 - across + up, 2 - across - up, 1 + across - up]) - 1.0
        return np.asarray(np.maximum(way, 0.0) ** 2)


@dataclass(frozen=True)
class EdgeSamples:
    """Sub-pixel points on an edge, with what the fit must know of each.

    Attributes
    ----------
    xy_px : (N, 2) ndarray
        ``(x, y)`` in pixels of the photo as displayed.
    bright_inside : (N,) ndarray
        +1 where the brighter side is the figure's (or circle's) inside, -1 where it is the outside: bloom moves
        every edge toward its dark side.
    std_px : (N,) ndarray
        Standard deviation of each point along the edge's normal, were it alone.
    side : (N,) ndarray of int
        Which of ``Figure.sides``; 0 for circles.
    """

    xy_px: FloatArray
    bright_inside: FloatArray
    std_px: FloatArray
    side: FloatArray

    def __len__(self) -> int:
        return len(self.xy_px)

    def thinned(self, count: int) -> "EdgeSamples":
        """Return about ``count`` of the samples, evenly taken."""
        return self.chosen(slice(None, None, max(1, round(len(self) / count))))

    def chosen(self, which: npt.NDArray[np.bool_] | slice) -> "EdgeSamples":
        """Return some of the samples."""
        return EdgeSamples(self.xy_px[which], self.bright_inside[which], self.std_px[which], self.side[which])


@dataclass(frozen=True)
class Sighting:
    """A reference found in a photo.

    Attributes
    ----------
    figure : Figure
    samples : EdgeSamples
    corners_px : (K, 2) ndarray
        The outline for drawing and masking, ``(x, y)`` in pixels: corners, or points round a coin.
    pose : (3, 3) ndarray
        Homography from the figure's frame (mm) to pixels, a starting point for the fit.
    score : float
        0 to 1: how surely it is what it is taken for.
    """

    figure: Figure
    samples: EdgeSamples
    corners_px: FloatArray
    pose: FloatArray
    score: float

    @property
    def curl_shares(self) -> FloatArray:
        """What share of each corner's curl lifts its samples, (4, N)."""
        on_figure = np.column_stack([self.samples.xy_px, np.ones(len(self.samples))]) @ np.linalg.inv(self.pose).T
        return self.figure.curl_shares(on_figure[:, :2] / on_figure[:, 2:])

    @property
    def px_per_mm(self) -> float:
        """The larger scale at the figure's centre, which tilt shrinks least."""
        marks = np.array([[0.0, 0.0, 1.0], [1.0, 0.0, 1.0], [0.0, 1.0, 1.0]]) @ self.pose.T
        centre, right, up = marks[:, :2] / marks[:, 2:]
        jacobian = np.stack([right - centre, up - centre])
        return float(np.linalg.svd(jacobian, compute_uv=False)[0])


def rectangle(width_mm: float, height_mm: float) -> FloatArray:
    """Return the sides (4, 3) of a centred rectangle: right, bottom (y down), left, top."""
    return np.array([[1, 0, width_mm / 2], [0, 1, height_mm / 2], [-1, 0, width_mm / 2], [0, -1, height_mm / 2]], float)
