"""Finding the rotor's edge in a photo along its plane: two lines that bound the ring, their ends, fine heights."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

import cv2
import numpy as np

from vision.camera import focal_px
from vision.edge_band import THICKEST, THINNEST, Curves, Line, Picture, coherent_lines, fitted, lines_of
from vision.measurement import FloatArray
from vision.photo import Photo
from vision.ring import Map, Mask, Pixels
from vision.start import lenses

NOMINAL_RADIUS_MM = 165.0
REACH_PX = 4
ROUNDS = 5
TRIED = 8
FINE_MM = 0.05
# A cheek's thickness over that of the openings, how much of its edge must show, and what counts as openings.
CHEEKS, CHEEK_SUPPORT, OPEN_BUSY = (0.25, 0.62), 0.6, 0.55
LEAST_SUPPORT, WHOLE_SUPPORT = 0.35, 0.62
# Lines on the hat end where the hat does: a line of the ring shows beyond this share of its half width.
BESIDE_HAT = (0.66, 0.93)
LEAST_BESIDE = 0.25
# The bench's far edge, a wall's foot: lines that go on beyond the ring's ends.
OUTSIDE, RUNS_ON = (1.06, 1.25), 0.6
STEP_CAP = 0.5
# Of the edges near one another the outermost counts that is so clear beside the clearest; they lie so near.
OUTER_SHARE, CHAMFERS = 0.45, 0.11

# Top and bottom line, and the outline's ends.
Pair = tuple[Line, Line, float, float]


@dataclass(frozen=True, eq=False)
class EdgeOn:
    """The rim laid straight: its curves, and the heights of its two edges below the camera's plane in radii.

    Attributes
    ----------
    turned : bool
        Whether the photo was turned a quarter to lay the ring level.
    curves : Curves
        In pixels of the (turned) photo.
    top, bottom : float
    support : float
        Share of the visible rim beside the hat, on the worse side, over which the fainter edge shows.
    """

    turned: bool
    curves: Curves
    top: float
    bottom: float
    support: float


def find_edge(photo: Photo, seen: Mask) -> EdgeOn | None:
    """Find the rim's two edges, the ring lying level or standing.

    Parameters
    ----------
    photo : Photo
    seen : (H, W) ndarray of bool
        Where to look.

    Returns
    -------
    EdgeOn or None
    """
    lens = focal_px(lenses(photo)[0][0], photo.width, photo.height)
    ways = []
    for turned in (False, True):
        grey, shown = (quarter_turned(photo.grey), quarter_turned(seen)) if turned else (photo.grey, seen)
        picture = Picture.of(grey, shown)
        ways.append((coherent_lines(picture), turned, picture, grey))
    (_, slope, sag), turned, picture, grey = max(ways, key=lambda way: way[0][0])
    pairs = _ring_lines(lines_of(picture, slope, sag), picture, (slope, sag))
    tried = [_followed(picture, pair, (slope, sag), lens / picture.shrink) for pair in pairs]
    found = [edge_on for edge_on in tried if edge_on is not None and edge_on.support > LEAST_SUPPORT]
    if not found:
        return None
    # Vanes' openings run along the ring too: its own edges are the outermost that are whole.
    whole = [edge_on for edge_on in found if edge_on.support > WHOLE_SUPPORT]
    rough = whole[0] if whole else max(found, key=lambda edge_on: edge_on.support)
    return _fine(grey, picture, _widened(picture, rough), turned)


def quarter_turned(image: Any) -> Any:
    """Turn a picture so that a standing ring lies level."""
    return np.ascontiguousarray(np.rot90(image))


def turned_back(photo: Photo, xy_px: FloatArray, turned: bool) -> FloatArray:
    """Carry points of the turned photo to the photo as displayed."""
    if not turned:
        return xy_px
    return np.stack([photo.width - 1 - xy_px[:, 1], xy_px[:, 0]], axis=-1)


def _ring_lines(lines: list[Line], picture: Picture, family: tuple[float, float]) -> list[Pair]:
    """List the pairs of lines that may bound the ring, the widest first, and the outline's ends."""
    if len(lines) < 2:
        return []
    width = picture.level.shape[1]
    clear = sorted(lines, key=lambda line: -abs(line.strength) * (line.last - line.first))[:3]
    inner = [line for line in clear if line.first > 0.01 * width or line.last < 0.99 * width] or clear
    first, last = min(line.first for line in inner), max(line.last for line in inner)
    half = (last - first) / 2
    lines = [line.beside_hat(picture, family, (first, last)) for line in lines]
    long = [
        line for line in lines if _is_rings(line, (first, last)) and abs(line.strength) > 0.2 * abs(clear[0].strength)
    ]
    pairs = [
        (top, bottom)
        for top in long
        for bottom in long
        if 2 * THINNEST * half < bottom.y_px - top.y_px < 2 * THICKEST * half
    ]
    ordered = sorted(pairs, key=lambda pair: pair[0].y_px - pair[1].y_px)
    return [(top, bottom, first, last) for top, bottom in ordered[:TRIED]]


def _is_rings(line: Line, ends: tuple[float, float]) -> bool:
    """Whether a line shows over the ring's width, and beside the hat, without running on far beyond."""
    first, last = ends
    half = (last - first) / 2
    inside = min(line.last, last) - max(line.first, first)
    return inside > 1.15 * half and line.last - line.first < 2.4 * half and line.beside > LEAST_BESIDE


def _points(picture: Picture, y_px: FloatArray, sign: float, reach: int) -> tuple[FloatArray, FloatArray]:
    """Rows of the strongest step of one sense near a curve, to a fraction of a pixel: columns and rows."""
    columns = np.arange(len(y_px))
    offsets = np.arange(-reach, reach + 1)
    rows = y_px[:, None] + offsets[None, :]
    where = np.broadcast_to(columns[:, None], rows.shape).astype(np.float32)
    step = sign * cv2.remap(picture.step, where, rows.astype(np.float32), cv2.INTER_LINEAR)
    peak = step.argmax(axis=1)
    inside = (peak > 0) & (peak < len(offsets) - 1) & (step.max(axis=1) > 0.03)
    at = np.clip(peak, 1, len(offsets) - 2)
    left, mid, right = (step[columns, at + i] for i in (-1, 0, 1))
    bend = np.minimum(left - 2 * mid + right, -1e-6)
    found = rows[columns, at] + np.clip(0.5 * (left - right) / bend, -1, 1)
    return columns[inside].astype(np.float64), np.asarray(found[inside], np.float64)


def _followed(picture: Picture, pair: Pair, family: tuple[float, float], focal: float) -> EdgeOn | None:
    """From two parallel lines to the rim's perspective: curves, then ends, then curves again."""
    top, bottom, first, last = pair
    slope, sag = family
    width = picture.level.shape[1]
    bend = slope * picture.across * width / 2 - sag * width * picture.across**2
    curves = Curves((first + last) / 2, (last - first) / 2, focal, 0.0, 0.0)
    y_px = [line.y_px + bend for line in (top, bottom)]
    heights = [0.0, 0.0]
    for _ in range(ROUNDS):
        points = [
            _within(_points(picture, y, np.sign(line.strength), REACH_PX), curves)
            for y, line in zip(y_px, (top, bottom), strict=True)
        ]
        if min(len(x) for x, _ in points) < 20:
            return None
        curves, heights = fitted(points, curves)
        ends = _ends(picture, curves, heights, (np.sign(top.strength), np.sign(bottom.strength)))
        curves = replace(curves, middle_px=(ends[0] + ends[1]) / 2, half_width_px=(ends[1] - ends[0]) / 2)
        curves, heights = fitted(points, curves)
        y_px = [curves.y_px(np.arange(width, dtype=float), height) for height in heights]
    signs = (float(np.sign(top.strength)), float(np.sign(bottom.strength)))
    return EdgeOn(False, curves, heights[0], heights[1], _support(picture, curves, heights, signs))


def _support(picture: Picture, curves: Curves, heights: Sequence[float], signs: tuple[float, float]) -> float:
    """Return the least share of either side, beside the hat, over which an edge shows; 0 where one runs on outside."""
    pairs = list(zip(heights, signs, strict=True))
    if any(_shows(picture, curves, height, sign, OUTSIDE) > RUNS_ON for height, sign in pairs):
        return 0.0
    return min(_shows(picture, curves, height, sign) for height, sign in pairs)


def _shows(
    picture: Picture, curves: Curves, height: float, sign: float, stretch: tuple[float, float] = BESIDE_HAT
) -> float:
    """Return the least share of a stretch, on either side, over which an edge shows; 0 where neither side is seen."""
    shares = []
    for side in (-1.0, 1.0):
        columns = curves.middle_px + side * np.linspace(*stretch, 40) * curves.half_width_px
        rows = curves.y_px(columns, height)
        step = np.stack([sign * _read(picture.step, columns, rows + shift) for shift in (-1.0, 0.0, 1.0)])
        shown = _read(picture.seen.astype(np.float32), columns, rows) > 0.5
        shown &= (columns > 1) & (columns < picture.level.shape[1] - 2)
        if shown.sum() > 10:
            shares.append(float((step.max(axis=0)[shown] > 0.04).mean()))
    return min(shares) if shares else 0.0


def _busy(picture: Picture, curves: Curves, height: float) -> float:
    """Return how much brightness changes along the rim at one height: much over the openings, little on a cheek."""
    columns = curves.middle_px + np.linspace(-0.75, 0.75, 200) * curves.half_width_px
    rows = curves.y_px(columns, height)
    shown = _read(picture.seen.astype(np.float32), columns, rows) > 0.5
    level = _read(picture.level, columns, rows)[shown]
    return float(np.abs(np.diff(level)).mean() * 10) if len(level) > 40 else 0.0


def _widened(picture: Picture, edge_on: EdgeOn) -> EdgeOn:
    """Step from the edge of the vanes' openings to the ring's own, where one lies a cheek's thickness further out."""
    thick, curves = edge_on.bottom - edge_on.top, edge_on.curves
    found = {"top": edge_on.top, "bottom": edge_on.bottom}
    outward = np.linspace(*CHEEKS, 40) * thick
    for name, start, way in (("top", edge_on.top, -1.0), ("bottom", edge_on.bottom, 1.0)):
        if _busy(picture, curves, start - way * 0.18 * thick) < OPEN_BUSY:
            continue
        heights = start + way * outward
        shows = [max(_shows(picture, curves, height, sign) for sign in (-1.0, 1.0)) for height in heights]
        best = int(np.argmax(shows))
        wider = (abs(heights[best] - start) + edge_on.bottom - edge_on.top) * np.sin(
            np.arctan(curves.half_width_px / curves.focal_px)
        )
        between = _busy(picture, curves, (start + float(heights[best])) / 2)
        if shows[best] > CHEEK_SUPPORT and wider < 2 * THICKEST * 2 and between < OPEN_BUSY:
            found[name] = float(heights[best])
    return replace(edge_on, top=found["top"], bottom=found["bottom"])


def _within(points: tuple[FloatArray, FloatArray], curves: Curves) -> tuple[FloatArray, FloatArray]:
    keep = np.abs(points[0] - curves.middle_px) < 0.97 * curves.half_width_px
    return points[0][keep], points[1][keep]


def _ends(
    picture: Picture, curves: Curves, heights: Sequence[float], signs: tuple[float, float]
) -> tuple[float, float]:
    """Find the columns where the ring ends: its edges stop and the band's brightness changes."""
    columns = np.arange(picture.level.shape[1], dtype=np.float64)
    y = [curves.y_px(columns, height) for height in heights]
    support = np.zeros(len(columns))
    for rows, sign in zip(y, signs, strict=True):
        around = np.stack([_read(picture.step, columns, rows + shift) for shift in (-1.5, 0, 1.5)])
        support += np.clip(sign * around.max(axis=0), 0, 0.25) / 0.25
    share = np.linspace(0.15, 0.85, 9)
    band = np.stack([_read(picture.level, columns, y[0] + s * (y[1] - y[0])) for s in share])
    found = []
    for side in (-1.0, 1.0):
        near = curves.middle_px + side * curves.half_width_px * np.linspace(0.8, 1.35, 90)
        near = near[(near > 3) & (near < len(columns) - 4)]
        scores = [_end_score(support, band, x, side) for x in near]
        found.append(
            float(near[int(np.argmax(scores))]) if len(near) else curves.middle_px + side * curves.half_width_px
        )
    return found[0], found[1]


def _read(image: Map, x: FloatArray, y: FloatArray) -> FloatArray:
    read = cv2.remap(image, x.astype(np.float32)[None], y.astype(np.float32)[None], cv2.INTER_LINEAR)
    return np.asarray(read[0], np.float64)


def _end_score(support: FloatArray, band: FloatArray, x: float, side: float) -> float:
    """Support inside less outside, and how much the band changes across."""
    at, count = round(x), len(support)

    def part(near: int, far: int) -> slice:
        ends = sorted((at - int(side) * near, at - int(side) * far))
        return slice(max(0, ends[0]), max(1, min(count, ends[1])))

    inside, outside = support[part(2, 26)], support[part(-26, -2)]
    edge = band[:, part(1, 5)].mean(axis=1) - band[:, part(-5, -1)].mean(axis=1)
    beyond = float(outside.mean()) if len(outside) else 0.0
    return float(inside.mean()) - beyond + 1.5 * min(float(np.abs(edge).mean()), 0.6)


def _fine(grey: Pixels, picture: Picture, rough: EdgeOn, turned: bool) -> EdgeOn:
    """Place both edges at full size, on the profile across the ring averaged along its curves."""
    shrink = picture.shrink
    curves = Curves(
        (rough.curves.middle_px + 0.5) * shrink - 0.5,
        rough.curves.half_width_px * shrink,
        rough.curves.focal_px * shrink,
        (rough.curves.horizon_px + 0.5) * shrink - 0.5,
        rough.curves.slope,
    )
    step = FINE_MM / NOMINAL_RADIUS_MM
    thick = rough.bottom - rough.top
    below = np.arange(rough.top - 0.35 * thick, rough.bottom + 0.35 * thick, step)
    low, high = BESIDE_HAT
    share = np.concatenate([-np.linspace(high, low, 80), np.linspace(low, high, 80), np.linspace(-0.5, 0.5, 60)])
    columns = curves.middle_px + share * curves.half_width_px
    rows = np.stack([curves.y_px(columns, v) for v in below])
    x = np.broadcast_to(columns[None, :], rows.shape).astype(np.float32)
    read = cv2.remap(grey, x, rows.astype(np.float32), cv2.INTER_LINEAR).astype(np.float64)
    seen_rows = np.clip(np.round(rows / shrink).astype(int), 0, picture.seen.shape[0] - 1)
    seen_columns = np.clip(np.round(x / shrink).astype(int), 0, picture.seen.shape[1] - 1)
    shown = picture.seen[seen_rows, seen_columns]
    profile = _steps_across(np.log(read + 8.0), shown, max(3, round(0.25 / FINE_MM)))
    top = _outermost(profile, below, rough.top, -thick)
    bottom = _outermost(profile, below, rough.bottom, thick)
    return EdgeOn(turned, curves, top, bottom, rough.support)


def _steps_across(level: FloatArray, shown: Mask, reach: int) -> FloatArray:
    """Mean step across the ring at each height, (H,)."""
    step = np.zeros_like(level)
    step[reach:-reach] = np.clip(level[2 * reach :] - level[: -2 * reach], -STEP_CAP, STEP_CAP)
    step = np.where(shown, step, 0)
    return np.asarray(step.sum(axis=1) / np.maximum(shown.sum(axis=1), 20), np.float64)


def _outermost(profile: FloatArray, below: FloatArray, near: float, outward: float) -> float:
    """Of the edges near one found roughly, take the outermost that is clear: beyond it lies a chamfer at most."""
    reach = CHAMFERS * abs(outward)
    window = np.abs(below - near) < max(reach, 1.7 / NOMINAL_RADIUS_MM)
    size = np.where(window, np.abs(profile), 0)
    peak = (size > np.roll(size, 1)) & (size >= np.roll(size, -1)) & (size > OUTER_SHARE * size.max())
    at = np.nonzero(peak)[0]
    if not len(at):
        return near
    chosen = int(at[0] if outward < 0 else at[-1])
    if 0 < chosen < len(size) - 1:
        left, mid, right = size[chosen - 1 : chosen + 2]
        bend = left - 2 * mid + right
        shift = 0.5 * (left - right) / bend if bend < 0 else 0.0
        return float(below[chosen] + np.clip(shift, -1, 1) * (below[1] - below[0]))
    return float(below[chosen])
