"""The rotor seen on its edge: two near arcs of its rim, laid straight by the perspective of a cylinder.

A point of the rim at the angle ``phi`` from the nearest one lies ``D - R cos(phi)`` away. Seen by a camera that
looks along the rotor's plane, whatever lies ``v`` below the camera appears at ``y = horizon + v g(x)`` with
``g = focal / (D - R cos(phi))``: one curve for every height, all known once the outline's two ends are.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import cv2
import numpy as np

from vision.measurement import FloatArray
from vision.ring import Map, Mask, Pixels

WIDTH_PX = 640
SLOPES = np.linspace(-0.10, 0.10, 11)
SAGS = (-0.02, -0.01, 0.0, 0.01, 0.02, 0.035, 0.05, 0.07)
STEP_LIMIT = 0.5
# Thickness of the nearest edge over the outline's width, 8 to 38 mm of 250 to 400 seen from near by.
THINNEST, THICKEST = 0.022, 0.2
LINE_SHARE = 0.12


@dataclass(frozen=True)
class Line:
    """A coherent edge across the picture, ``y = middle + slope x - sag x**2`` in shares of the picture's width."""

    y_px: float
    strength: float
    first: float
    last: float
    beside: float = 0.0

    def beside_hat(self, picture: "Picture", family: tuple[float, float], ends: tuple[float, float]) -> "Line":
        """Return the line with the share of the outer stretches, left and right of any hat, over which it shows."""
        middle, half = (ends[0] + ends[1]) / 2, (ends[1] - ends[0]) / 2
        share = np.concatenate([-np.linspace(0.92, 0.68, 40), np.linspace(0.68, 0.92, 40)])
        columns = np.clip(middle + share * half, 0, picture.level.shape[1] - 1).round().astype(int)
        slope, sag = family
        width = picture.level.shape[1]
        bend = slope * picture.across * width / 2 - sag * width * picture.across**2
        rows = np.clip((self.y_px + bend)[columns].round().astype(int), 5, picture.level.shape[0] - 6)
        near = np.stack([picture.step[rows + shift, columns] for shift in range(-3, 4)])
        shown = picture.seen[rows, columns]
        shows = (np.sign(self.strength) * near).max(axis=0) > 0.04
        return replace(self, beside=float(shows[shown].mean()) if shown.any() else 0.0)


@dataclass(frozen=True)
class Curves:
    """The perspective of a rim: see the module's text.

    Attributes
    ----------
    middle_px, half_width_px : float
        The outline's middle and half width.
    focal_px : float
    horizon_px, slope : float
        Where the rotor's plane through the camera runs: ``y = horizon + slope (x - middle)``.
    """

    middle_px: float
    half_width_px: float
    focal_px: float
    horizon_px: float
    slope: float

    @property
    def distance_radii(self) -> float:
        """Distance of the axis over the rim's radius."""
        return float(1.0 / np.sin(np.arctan(self.half_width_px / self.focal_px)))

    def scale(self, x_px: FloatArray) -> FloatArray:
        """Pixels per radius of the rim's nearest surface in column ``x``; constant beyond the ends."""
        away = self.distance_radii
        ray = np.clip((x_px - self.middle_px) / self.focal_px, -1e9, 1e9)
        # The nearer of the two points where the ray (ray, 1) meets the circle of radius 1 round (0, away).
        square = 1 + ray**2
        root = np.sqrt(np.maximum(away**2 - square * (away**2 - 1), 0.0))
        depth = (away - root) / square
        return np.asarray(self.focal_px / depth, np.float64)

    def y_px(self, x_px: FloatArray, below: float) -> FloatArray:
        """Row in column ``x`` of what lies ``below`` radii under the camera's plane."""
        return np.asarray(self.horizon_px + self.slope * (x_px - self.middle_px) + below * self.scale(x_px), np.float64)


@dataclass(frozen=True, eq=False)
class Picture:
    """A reduced picture: logarithm of brightness, its vertical step, and what may be looked at."""

    level: Map
    step: Map
    seen: Mask
    shrink: int

    @classmethod
    def of(cls, grey: Pixels, seen: Mask) -> "Picture":
        """Reduce a photo to about ``WIDTH_PX`` on its longer side."""
        shrink = max(1, round(max(grey.shape) / WIDTH_PX))
        height, width = grey.shape[0] // shrink, grey.shape[1] // shrink
        part = grey[: height * shrink, : width * shrink]
        small = cv2.resize(part, (width, height), interpolation=cv2.INTER_AREA).astype(np.float32)
        level = cv2.GaussianBlur(np.log(small + 8), (0, 0), 1.0)
        step = np.zeros_like(level)
        step[1:-1] = np.clip(level[2:] - level[:-2], -STEP_LIMIT, STEP_LIMIT)
        shown = seen[: height * shrink : shrink, : width * shrink : shrink]
        return cls(np.asarray(level, np.float32), np.where(shown, step, 0).astype(np.float32), shown, shrink)

    @property
    def across(self) -> FloatArray:
        """Columns as shares, -1 to 1."""
        width = self.level.shape[1]
        return np.asarray((np.arange(width) - (width - 1) / 2) / (width / 2), np.float64)

    def straightened(self, image: Map, slope: float, sag: float) -> Map:
        """Shift each column so that a line of this slope and sag lies level."""
        height, width = image.shape
        shift = slope * self.across * width / 2 - sag * width * self.across**2
        y, x = np.mgrid[0:height, 0:width].astype(np.float32)
        moved = cv2.remap(image, x, y + shift[None, :].astype(np.float32), cv2.INTER_LINEAR)
        return np.asarray(moved, np.float32)


def coherent_lines(picture: Picture) -> tuple[float, float, float]:
    """Return strength, slope and sag of the family of parallel lines that stands out most."""
    best = (0.0, 0.0, 0.0)
    width = picture.step.shape[1]
    inner = slice(int(0.08 * width), int(0.92 * width))
    for slope in SLOPES:
        for sag in SAGS:
            profile = picture.straightened(picture.step, slope, sag)[:, inner].mean(axis=1)
            best = max(best, (float((np.abs(profile) ** 3).sum() ** (1 / 3)), float(slope), float(sag)))
    return best


def lines_of(picture: Picture, slope: float, sag: float) -> list[Line]:
    """List the lines of one family, top first, with the stretch over which each shows."""
    step = picture.straightened(picture.step, slope, sag)
    seen = picture.straightened(picture.seen.astype(np.float32), slope, sag) > 0.5
    profile = step[:, picture.step.shape[1] // 12 : -picture.step.shape[1] // 12].mean(axis=1)
    size = np.abs(profile)
    top = size >= cv2.dilate(size[:, None], np.ones((7, 1), np.uint8))[:, 0]
    rows = np.nonzero(top & (size > LINE_SHARE * size.max()))[0]
    return [_line(step, seen, int(row), float(profile[row])) for row in rows if 3 <= row < len(profile) - 3]


def _line(step: Map, seen: Mask, row: int, strength: float) -> Line:
    """Follow a line to both sides from where it is strong, over gaps that something else hides."""
    near = (np.sign(strength) * step[row - 3 : row + 4]).max(axis=0)
    shown = seen[row]
    window = np.ones(25)
    mean = np.convolve(near * shown, window, "same") / np.maximum(np.convolve(shown, window, "same"), 4.0)
    usual = float(np.median(mean[mean > 0.02])) if (mean > 0.02).any() else 1.0
    on = (mean > 0.3 * usual) | (np.convolve(shown, window, "same") < 4)
    starts = np.nonzero(np.diff(np.concatenate([[0], on.astype(int)])) == 1)[0]
    ends = np.nonzero(np.diff(np.concatenate([on.astype(int), [0]])) == -1)[0]
    longest = max(range(len(starts)), key=lambda i: ends[i] - starts[i]) if len(starts) else None
    first, last = (starts[longest], ends[longest]) if longest is not None else (0, 0)
    return Line(float(row), strength, float(first), float(last))


def fitted(points: Sequence[tuple[FloatArray, FloatArray]], start: Curves) -> tuple[Curves, list[float]]:
    """Fit horizon, slope and one height a curve to edge points, robustly; the outline's ends stay as they are.

    Parameters
    ----------
    points : sequence of ((N,) ndarray, (N,) ndarray)
        Columns and rows of the points of each curve.
    start : Curves

    Returns
    -------
    Curves
    list of float
        Height of each curve below the camera's plane, radii.
    """
    columns = np.concatenate([x for x, _ in points])
    rows = np.concatenate([y for _, y in points])
    which = np.concatenate([np.full(len(x), i) for i, (x, _) in enumerate(points)])
    scale = start.scale(columns)
    design = np.column_stack(
        [
            np.ones_like(columns),
            columns - start.middle_px,
            *[np.where(which == i, scale, 0) for i in range(len(points))],
        ]
    )
    weight = np.ones_like(columns)
    found = np.zeros(design.shape[1])
    for _ in range(6):
        found = np.linalg.lstsq(design * weight[:, None], rows * weight, rcond=None)[0]
        gap = np.abs(rows - design @ found)
        core = max(0.5, 1.5 * float(np.median(gap)))
        weight = 1 / (1 + (gap / core) ** 2)
    curves = replace(start, horizon_px=float(found[0]), slope=float(found[1]))
    return curves, [float(v) for v in found[2:]]
