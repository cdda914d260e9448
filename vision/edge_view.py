"""A photo of the rotor's edge, measured: the friction ring's thickness, and whether it is vented."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

import cv2
import numpy as np
from uncertainties import ufloat

from vision.camera import focal_px
from vision.edge_band import THICKEST, THINNEST, Curves, Line, Picture, coherent_lines, fitted, lines_of
from vision.figure import Sighting
from vision.measurement import FloatArray, Measurement
from vision.photo import Photo
from vision.references.card import find_cards
from vision.references.floor import Floor
from vision.references.parse import CARD, TAG, Reference, parse_kind
from vision.references.sides import to_pixels
from vision.references.tag import find_tags
from vision.request import Request
from vision.ring import Map, Mask, Pixels
from vision.start import lenses

NOMINAL_RADIUS_MM = 165.0
REACH_PX = 4
ROUNDS = 5
TRIED = 8
CHEEKS, CHEEK_SUPPORT, OPEN_BUSY = (0.25, 0.62), 0.6, 0.55
LEAST_SUPPORT, WHOLE_SUPPORT = 0.35, 0.62
FILLED = (0.85, 0.55)
LEAST_WIDTH_PX = 150.0
FINE_MM = 0.05
# Lines on the hat end where the hat does: a line of the ring shows beyond this share of its half width.
BESIDE_HAT = (0.66, 0.93)
LEAST_BESIDE = 0.25
# The bench's far edge, a wall's foot: lines that go on beyond the ring's ends.
OUTSIDE, RUNS_ON = (1.06, 1.25), 0.6
# Red over blue, as a logarithm, from which a wall counts as brown.
BROWN = 0.35
POSSIBLE_MM = (5.0, 45.0)
# What else widens the thickness: chamfers at both edges, and the outline's ends.
CHAMFER_STD_MM, ENDS_STD, LENS_STD, PLANE_STD, PART_STD = 0.6, 0.008, 0.012, 0.006, 0.25


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


def measure_edge(photo: Photo, request: Request) -> Measurement:
    """Measure a photo that looks along the rotor's plane at its rim.

    Parameters
    ----------
    photo : Photo
    request : Request
        Without a reference in the photo, ``diameter_mm`` gives the scale.

    Returns
    -------
    Measurement
        Refused, with reasons, where the photo can't support a thickness.

    Raises
    ------
    ValueError
        For a reference KIND that is not one.
    """
    reference = parse_kind(request.reference)
    blank = Measurement(photo.name, "edge")
    sightings = _references(photo, reference, request)
    edge_on = find_edge(photo, _uncovered(photo, sightings))
    if edge_on is None:
        return blank.refuse("no-rotor")
    if edge_on.curves.half_width_px < LEAST_WIDTH_PX:
        return blank.refuse("too-small")
    found = replace(blank, geometry_px=_geometry(photo, edge_on, sightings), thickness_over="lip")
    found = replace(found, ventilation=_ventilation(photo, edge_on)).warn("lip-seen")
    if _rusty(photo, edge_on):
        found = found.warn("rust-on-edge")
    if sightings:
        return _plausible(_with_reference(found, photo, edge_on, sightings[0]))
    if request.diameter_mm is None:
        return found.refuse("no-reference")
    return _plausible(_with_diameter(found, edge_on, request.diameter_mm))


def _plausible(found: Measurement) -> Measurement:
    """Refuse a thickness that no car's rotor has: something else was measured."""
    low_mm, high_mm = POSSIBLE_MM
    return found if low_mm < found.dimensions["thickness_mm"].nominal_value < high_mm else found.refuse("disagreement")


def _wants(reference: Reference, family: str) -> bool:
    return reference.family in (family, "auto")


def _uncovered(photo: Photo, sightings: Sequence[Sighting]) -> Mask:
    """Pixels that no reference covers, with a margin for a tag's paper and for shadows."""
    cover = np.zeros(photo.grey.shape, np.uint8)
    for sighting in sightings:
        corners = sighting.corners_px
        grow = 1.4 if sighting.figure.kind.startswith("tag") else 1.04
        grown = corners.mean(axis=0) + grow * (corners - corners.mean(axis=0))
        cv2.fillPoly(cover, [grown.round().astype(np.int32)], 1)
    return np.asarray(cover == 0)


def _references(photo: Photo, reference: Reference, request: Request) -> list[Sighting]:
    """Find tags, else a card that stands in the plane of the nearest edge, square to the camera."""
    if _wants(reference, "tag"):
        tags = find_tags(photo.grey, TAG if reference.family == "auto" else reference)
        if tags:
            return tags
    if not _wants(reference, "card") or (reference.family == "auto" and request.diameter_mm is not None):
        return []
    # The outline fills most of the picture, so the card's scale is about that of its nearest surface.
    card = CARD if reference.family == "auto" else reference
    for filled in FILLED:
        cards = find_cards(photo.bgr, [_upright(photo, filled)], card, inside=True)
        if cards:
            return cards
    return []


def _upright(photo: Photo, filled: float) -> Floor:
    """Return the plane square to the camera that touches a rim which fills so much of the picture."""
    width, focal = max(photo.width, photo.height), focal_px(lenses(photo)[0][0], photo.width, photo.height)
    guess = Curves(0.0, filled * width / 2, focal, 0.0, 0.0)
    px_per_mm = float(guess.scale(np.zeros(1))[0]) / NOMINAL_RADIUS_MM
    upright = np.array([[px_per_mm, 0, photo.width / 2], [0, -px_per_mm, photo.height / 2], [0, 0, 1.0]])
    return Floor(upright, NOMINAL_RADIUS_MM)


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
        grey, shown = (_quarter(photo.grey), _quarter(seen)) if turned else (photo.grey, seen)
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


def _quarter(image: Any) -> Any:
    return np.ascontiguousarray(np.rot90(image))


def _turned_back(photo: Photo, xy_px: FloatArray, turned: bool) -> FloatArray:
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


STEP_CAP = 0.5
OUTER_SHARE = 0.45
CHAMFERS = 0.11


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


def _with_diameter(found: Measurement, edge_on: EdgeOn, diameter_mm: float) -> Measurement:
    thickness_mm = (edge_on.bottom - edge_on.top) * diameter_mm / 2
    std_mm = _std_mm(edge_on, thickness_mm, float(np.hypot(ENDS_STD, LENS_STD)))
    return replace(found, dimensions={"thickness_mm": ufloat(thickness_mm, std_mm)})


def _std_mm(edge_on: EdgeOn, thickness_mm: float, scale_std: float) -> float:
    """Add up chamfers, scale, and the doubt whether an edge that shows in part is the ring's."""
    doubt = PART_STD * max(0.0, 1.0 - edge_on.support) * thickness_mm
    return float(np.sqrt(CHAMFER_STD_MM**2 + (scale_std * thickness_mm) ** 2 + doubt**2))


def _with_reference(found: Measurement, photo: Photo, edge_on: EdgeOn, sighting: Sighting) -> Measurement:
    """Carry the nearest point of both edges to the reference's plane, which touches the rim there."""
    curves = edge_on.curves
    middle = np.array([curves.middle_px])
    ends = np.array([[middle[0], float(curves.y_px(middle, height)[0])] for height in (edge_on.top, edge_on.bottom)])
    ends = _turned_back(photo, ends, edge_on.turned)
    on_plane = to_pixels(np.asarray(np.linalg.inv(sighting.pose), np.float64), ends)
    thickness_mm = float(np.linalg.norm(on_plane[0] - on_plane[1]))
    std_mm = _std_mm(edge_on, thickness_mm, max(sighting.figure.size_std) + PLANE_STD)
    return replace(found, dimensions={"thickness_mm": ufloat(thickness_mm, std_mm)})


def _ventilation(photo: Photo, edge_on: EdgeOn) -> dict[str, float]:
    """Vented where the band's middle is darker than its edges or changes much along the rim."""
    grey = _quarter(photo.grey) if edge_on.turned else photo.grey
    curves = edge_on.curves
    columns = curves.middle_px + np.linspace(-0.8, 0.8, 400) * curves.half_width_px
    shares = np.array([0.12, 0.18, 0.35, 0.42, 0.5, 0.58, 0.65, 0.82, 0.88])
    rows = np.stack([curves.y_px(columns, edge_on.top + s * (edge_on.bottom - edge_on.top)) for s in shares])
    x = np.broadcast_to(columns[None, :], rows.shape).astype(np.float32)
    level = np.log(cv2.remap(grey, x, rows.astype(np.float32), cv2.INTER_LINEAR).astype(np.float64) + 8)
    middle, edges = level[2:7], level[[0, 1, 7, 8]]
    darker = float(np.median(edges) - np.median(middle))
    busier = float(middle.std(axis=1).mean() - edges.std(axis=1).mean())
    odds = 6.0 * (darker + 1.5 * busier - 0.25)
    vented = float(1 / (1 + np.exp(-np.clip(odds, -4, 4))))
    return {"vented": vented, "solid": 1.0 - vented}


def _rusty(photo: Photo, edge_on: EdgeOn) -> bool:
    """Whether the wall's cheeks are mostly brown."""
    bgr = _quarter(photo.bgr) if edge_on.turned else photo.bgr
    columns = edge_on.curves.middle_px + np.linspace(-0.8, 0.8, 200) * edge_on.curves.half_width_px
    shares = np.array([0.1, 0.18, 0.82, 0.9])
    rows = np.stack([edge_on.curves.y_px(columns, edge_on.top + s * (edge_on.bottom - edge_on.top)) for s in shares])
    x = np.broadcast_to(columns[None, :], rows.shape).astype(np.float32)
    read = cv2.remap(bgr, x, rows.astype(np.float32), cv2.INTER_LINEAR).reshape(-1, 3).astype(np.float64)
    brown = np.log(read[:, 2] + 12) - np.log(read[:, 0] + 12)
    return bool((brown > BROWN).mean() > 0.5)


def _geometry(photo: Photo, edge_on: EdgeOn, sightings: Sequence[Sighting]) -> dict[str, FloatArray]:
    curves = edge_on.curves
    columns = curves.middle_px + np.linspace(-1, 1, 40) * curves.half_width_px
    lines = [np.stack([columns, curves.y_px(columns, height)], axis=-1) for height in (edge_on.top, edge_on.bottom)]
    outline = np.concatenate([lines[0], lines[1][::-1]])
    geometry = {"rim_px": _turned_back(photo, outline, edge_on.turned)}
    if sightings:
        geometry["reference_px"] = np.concatenate([sighting.corners_px for sighting in sightings])
    return geometry
