"""Where an outline runs beside the curve that is taken for it: a small convolutional net looks at the photo there.

A worn rotor has many circles near its rim: the end of the pads' sweep, the rusty lip's edge, the chamfer, the wall's
far edge and its shadow; before it stand calipers and spokes. Coins and cards have edges of their own beside the one
that counts. One edge looks much like another, but together, in colour and all round, they tell which is which.
"""

import json
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from importlib import resources
from typing import Any

import cv2
import numpy as np

from vision.band import Curve
from vision.edges import Image
from vision.ellipse import Ellipse
from vision.layer import Stack
from vision.measurement import FloatArray
from vision.ring import Map
from vision.shrink import for_steps

# Rows from the inside outward, and columns all round; columns of the photo in one of the net's: it is shown their
# mean, and how unlike they are.
ROWS, COLUMNS, FINER = 80, 128, 2
# An ellipse beside another one departs from it by waves up to this order; rows within which a line is drawn to the
# outline, narrowing.
ORDERS, WIDTHS, LEAST_WEIGHT = 2, (12.0, 6.0, 3.0, 2.0, 2.0), 1e-4
TINY = 1e-9
HALVES = 6
# Looks at most, until the line departs by no more than this many rows from the ellipse it was seen along.
MOST_LOOKS, SETTLED = 3, 1.2
# Least spread of a strip's levels that is taken for 1.
LEAST_SPREAD = 4.0


@dataclass(frozen=True, eq=False)
class Look:
    """What a net says of a curve.

    Attributes
    ----------
    log_share : (ROWS + 1, COLUMNS) ndarray of float32
        Logarithm of the probability that the outline runs through a row, in the last row that it shows nowhere there.
    step_px : float
        Distance of two rows.
    """

    log_share: Map
    step_px: float

    def of(self, offset_px: FloatArray) -> FloatArray:
        """Return the logarithm of how much likelier than even it runs so far outward, (A,), of an offset (A,)."""
        row = np.clip(offset_px / self.step_px + (ROWS - 1) / 2, 0, ROWS - 1.001)
        column = np.arange(len(row)) * COLUMNS // len(row)
        below = row.astype(int)
        part = row - below
        share = (1 - part) * np.exp(self.log_share[below, column]) + part * np.exp(self.log_share[below + 1, column])
        return np.asarray(np.log(np.maximum(share * ROWS, 1e-4)), np.float64)

    def line_px(self) -> FloatArray:
        """Return how far outward the likeliest ellipse runs, (COLUMNS,).

        It is drawn to the outline from all round and from each half: what stands before one may look like another.
        """
        basis = waves()
        lines = drawn_from(_halves(), np.exp(self.log_share[:-1]), basis) @ basis.T * self.step_px
        return max(lines, key=lambda line: float(self.of(line).mean()))


@dataclass(frozen=True, eq=False)
class OutlineNet:
    """A net for strips.

    Attributes
    ----------
    reach : float
        How far the net sees to either side, over the size of what is outlined.
    """

    reach: float
    stack: Stack

    @classmethod
    def of(cls, plain: Mapping[str, Any]) -> "OutlineNet":
        """Build the net from its JSON form."""
        return cls(plain["reach"], Stack.of(plain["layers"], is_round=True))

    def look(self, photo: Image, curve: Curve, size_px: float) -> Look:
        """Tell where the outline runs beside a curve.

        Parameters
        ----------
        photo : (H, W, 3) ndarray of uint8
        curve : pair of (A, 2) ndarray
            Points at even steps round it, and outward normals, pixels.
        size_px : float
            Of a circle's picture the larger half axis.
        """
        step_px = 2 * self.reach * size_px / ROWS
        return Look(self.log_shares(made_ready(strip(photo, curve, step_px))), step_px)

    def log_shares(self, shown: Map) -> Map:
        """Return logarithms of probabilities, (ROWS + 1, COLUMNS), for a strip made ready (4, ROWS, COLUMNS)."""
        return log_shares_of(self.stack, shown)

    def ellipse_beside(self, photo: Image, start: Ellipse, looks: int = MOST_LOOKS) -> tuple[Ellipse, float]:
        """Find the outline of something round beside an ellipse.

        Parameters
        ----------
        photo : (H, W, 3) ndarray of uint8
        start : Ellipse
            Off by no more than the net sees.
        looks : int
            At most.

        Returns
        -------
        ellipse : Ellipse
        evidence : float
            Mean over all directions of the logarithm of how much likelier than even the outline runs there.
        """
        ellipse, evidence = start, -np.inf
        for _ in range(looks):
            curve = ellipse.points(COLUMNS)
            look = self.look(photo, curve, ellipse.radius_px)
            line_px = look.line_px()
            ellipse, before = Ellipse.through(curve[0] + line_px[:, None] * curve[1]), ellipse
            evidence = float(look.of(line_px).mean())
            if not self._is_beside(ellipse, before):
                return before, -np.inf
            if float(np.abs(line_px).max()) < SETTLED * look.step_px:
                break
        return ellipse, evidence

    def _is_beside(self, ellipse: Ellipse, before: Ellipse) -> bool:
        sizes = ellipse.half_axes_px / before.radius_px
        return bool(np.isfinite(sizes).all()) and abs(float(sizes.max()) - 1) < 2 * self.reach and sizes.min() > 0


def log_shares_of(stack: Stack, shown: Map) -> Map:
    """Return logarithms of a net's probabilities: a row for each of the strip's, and one for nowhere."""
    outline, nowhere = stack.over(shown)
    scores = np.vstack([outline, nowhere.mean(axis=0)])
    scores -= scores.max(axis=0)
    return np.asarray(scores - np.log(np.exp(scores).sum(axis=0)), np.float32)


@cache
def shipped_net(table: str) -> OutlineNet:
    """Read a net that was trained on sample photos, ``rim`` or ``coin``; its provenance stands in the file."""
    return OutlineNet.of(json.loads(resources.files("vision").joinpath(f"{table}_net.json").read_text("utf-8")))


def strip(photo: Image, curve: Curve, step_px: float, rows: int = ROWS, columns: int = COLUMNS * FINER) -> Image:
    """Unroll a photo along a curve, (rows, columns, 3) of uint8, from the inside outward."""
    foot, normal = (_resampled(part, columns) for part in curve)
    offset = (np.arange(rows) - (rows - 1) / 2) * step_px
    ends = foot + offset[[0, -1], None, None] * normal
    # Only what is needed, made as coarse as the rows: fine texture must not alias.
    low = np.clip(np.floor(ends.min(axis=(0, 1))).astype(int) - 2, 0, np.array(photo.shape[1::-1]) - 2)
    high = np.clip(np.ceil(ends.max(axis=(0, 1))).astype(int) + 3, low + 2, photo.shape[1::-1])
    part, factor = for_steps(photo[low[1] : high[1], low[0] : high[0]], step_px)
    foot, normal = (foot - low + 0.5) / factor - 0.5, normal / factor
    column, row = ((foot[:, i] + offset[:, None] * normal[:, i]).astype(np.float32) for i in range(2))
    return cv2.remap(part, column, row, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)


def _resampled(points: FloatArray, count: int) -> FloatArray:
    """Take points round a closed curve at so many even steps."""
    at = np.arange(count) * (len(points) / count)
    closed = np.vstack([points, points[:1]])
    return np.stack([np.interp(at, np.arange(len(closed)), part) for part in closed.T], axis=1)


def made_ready(levels: Image) -> Map:
    """Make a strip ready for a net: colours and how unlike neighbouring columns are, (4, ROWS, COLUMNS)."""
    planes = np.ascontiguousarray(levels.transpose(2, 0, 1), np.float32)
    one, other = planes[..., ::FINER], planes[..., 1::FINER]
    colours = (one + other) / 2
    colours -= colours.mean()
    grain = np.abs((one - other).mean(axis=0, keepdims=True))
    return np.asarray(np.concatenate([colours, grain]) / max(LEAST_SPREAD, float(colours.std())), np.float32)


@cache
def _halves() -> FloatArray:
    """Return 1 for the columns that a line is begun with, (1 + HALVES, COLUMNS): all, then half from several on."""
    from_here = (np.arange(COLUMNS) - COLUMNS * np.arange(HALVES)[:, None] // HALVES) % COLUMNS
    return np.vstack([np.ones(COLUMNS), from_here < COLUMNS // 2])


@cache
def waves() -> FloatArray:
    """Return the first waves round a circle, (COLUMNS, 1 + 2 ORDERS)."""
    turn = np.arange(COLUMNS) * (2 * np.pi / COLUMNS)
    each = [wave(order * turn) for order in range(1, ORDERS + 1) for wave in (np.cos, np.sin)]
    return np.stack([np.ones(COLUMNS), *each], axis=1)


def drawn(share: FloatArray | Map, basis: FloatArray) -> FloatArray:
    """Draw a line to where an outline is likely, begun with all columns: `drawn_from`'s (K,)."""
    return np.asarray(drawn_from(np.ones((1, len(basis))), share, basis)[0])


def drawn_from(begun: FloatArray, share: FloatArray | Map, basis: FloatArray) -> FloatArray:
    """Draw lines to where an outline is likely, each in a narrowing band.

    Parameters
    ----------
    begun : (B, C) ndarray
        For each line 1 for the columns that it is begun with, 0 for the others.
    share : (ROWS, C) ndarray
        Probability that the outline runs through a row.
    basis : (C, K) ndarray
        What a line is made of.

    Returns
    -------
    (B, K) ndarray
        How much of each, rows outward of the middle.
    """
    share, row = share.astype(np.float32), np.arange(ROWS, dtype=np.float32) - (ROWS - 1) / 2
    summed = np.stack([np.ones_like(row), row])
    weight, moment = summed @ share
    solved = _fitted(basis, moment, weight, weight * begun)
    for width in WIDTHS:
        off = (row[:, None] - (solved @ basis.T).astype(np.float32)[:, None]) / width
        near = np.exp(-0.5 * off**2) * share
        weight, moment = np.moveaxis(summed @ near, 1, 0)
        solved = _fitted(basis, moment, weight, weight)
    return solved


def _fitted(basis: FloatArray, moment: Map, weight: Map, counted: Map) -> FloatArray:
    """Return how much of each part, (B, K), the lines are made of whose rows weigh so much in each column, (B, C)."""
    counts = counted.astype(np.float64) + LEAST_WEIGHT
    square = np.einsum("bc,ck,cl->bkl", counts, basis, basis, optimize=True)
    meant = (counts * moment / np.maximum(weight, TINY)) @ basis
    return np.asarray(np.linalg.solve(square, meant[..., None])[..., 0])
