"""The friction ring laid flat: unwrapped by the fitted scene, light and turning marks taken out, what hides it masked.

Rows run from the rim inward and columns round the ring, in equal steps of the logarithm of the radius and of the
angle. That map is conformal: a round hole stays round and a groove keeps its lean wherever it lies on the ring.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Any, Protocol

import cv2
import numpy as np
import numpy.typing as npt

from vision.measurement import FloatArray
from vision.shrink import for_steps

Pixels = npt.NDArray[np.uint8]
Map = npt.NDArray[np.float32]
Mask = npt.NDArray[np.bool_]

COLUMNS = 1920
MAP_STEP = 8
COARSE = 4
# Windows in columns of the unwrapped ring; at COLUMNS = 1920 one column is 0.33 to 0.65 mm wide.
LIGHT_WINDOW = 17
STREAK_WINDOW = 97
NOISE_WINDOW = (161, 81)
DARK_LEVEL = 6.0
NOISE_FLOOR = 0.012
RELIEF_LIMIT = 12.0
MARGIN = 2
WHITE, MOST_GLARE = 253, 0.2
# Columns of a sector, how far its hue must differ, and how many in a row count.
SECTOR, OTHER_HUE, LEAST_SECTORS = 16, 0.6, 8


class Face(Protocol):
    """The part of a fitted scene that unwrapping needs."""

    @property
    def rim_radius_mm(self) -> float:
        """Radius of the rim; nominal where the scale is free."""

    def to_pixels(self, points_mm: FloatArray) -> FloatArray:
        """Project rotor points (N, 3) to pixels (N, 2)."""

    def to_plane(self, xy_px: FloatArray, height_mm: float = 0.0) -> FloatArray:
        """Carry pixels (N, 2) to the plane ``z = height_mm``: (N, 2) mm."""


@dataclass(frozen=True, eq=False)
class Ring:
    """A band round the rotor's axis, laid flat.

    Attributes
    ----------
    bgr : (R, C, 3) ndarray of uint8
        Colours; row 0 at ``outer_mm``.
    depth : (R, C) ndarray of float32
        Logarithm of brightness over that of the surroundings: -0.7 is half as bright.
    relief : (R, C) ndarray of float32
        ``depth`` in units of the noise and texture near it.
    seen : (R, C) ndarray of bool
        In the picture, and neither reference, caliper, glare nor deep shadow.
    outer_mm : float
        Radius of row 0.
    px_per_column : float
        Pixels of the photo a column spans at the rim: under 1 the photo is coarser than the map.
    """

    bgr: Pixels
    depth: Map
    relief: Map
    seen: Mask
    outer_mm: float
    px_per_column: float

    @cached_property
    def level(self) -> Map:
        """Logarithm of brightness, (R, C)."""
        return _level(cv2.cvtColor(self.bgr, cv2.COLOR_BGR2GRAY))

    @property
    def step_rad(self) -> float:
        """Angle of a column, and the relative step of the radius of a row."""
        return float(2 * np.pi / self.bgr.shape[1])

    @property
    def radii_mm(self) -> FloatArray:
        """Radius of each row."""
        radii: FloatArray = self.outer_mm * np.exp(-self.step_rad * np.arange(self.bgr.shape[0]))
        return radii

    @property
    def middle_mm(self) -> float:
        """Radius of the middle row."""
        return float(np.sqrt(self.radii_mm[0] * self.radii_mm[-1]))

    def to_face(self, column_row: FloatArray) -> FloatArray:
        """Carry ``(column, row)`` (N, 2) to ``(x, y)`` on the band's plane, mm."""
        radius = self.outer_mm * np.exp(-self.step_rad * column_row[:, 1])
        angle = self.step_rad * column_row[:, 0]
        return np.stack([radius * np.cos(angle), radius * np.sin(angle)], axis=-1)


def unwrap(
    bgr: Pixels,
    face: Face,
    span_mm: tuple[float, float],
    *,
    z_mm: float = 0.0,
    columns: int = COLUMNS,
    hidden_mm: Sequence[FloatArray] = (),
) -> tuple[Pixels, Mask, float]:
    """Lay a band of the plane ``z = z_mm`` flat.

    Parameters
    ----------
    bgr : (H, W, 3) or (H, W) ndarray of uint8
    face : Face
    span_mm : (float, float)
        Inner and outer radius.
    z_mm : float
        Height of the plane over the friction face.
    columns : int
        Steps round the ring, a multiple of ``MAP_STEP``.
    hidden_mm : sequence of (K, 2) ndarray
        Outlines on the plane, mm, of what lies on it.

    Returns
    -------
    flat : (R, columns, 3) or (R, columns) ndarray of uint8
    seen : (R, columns) ndarray of bool
    px_per_column : float
        Pixels of the photo in one column, at the rim.

    Raises
    ------
    ValueError
        For a span that is not ``0 < inner < outer``.
    """
    inner, outer = span_mm
    if not 0 < inner < outer:
        raise ValueError(f"span_mm needs 0 < inner < outer in mm, got {span_mm}")
    step = 2 * np.pi / columns
    rows = int(np.ceil(np.log(outer / inner) / step)) + 1
    where = _pixel_map(face, outer, z_mm, (rows, columns))
    pitch = float(np.median(np.linalg.norm(np.diff(where[0], axis=0), axis=1)))
    flat = read_photo(bgr, where, step_px=max(1, round(pitch / 1.3)))
    height, width = bgr.shape[:2]
    seen = (where >= 0).all(axis=2) & (where[..., 0] <= width - 1) & (where[..., 1] <= height - 1)
    for outline in hidden_mm:
        seen &= ~_outline_mask(outline, outer, (rows, columns))
    return flat, seen, pitch


def _pixel_map(face: Face, outer_mm: float, z_mm: float, shape: tuple[int, int]) -> Map:
    """Pixels (R, C, 2) of the grid's nodes: exact at every ``MAP_STEP``-th, straight lines between."""
    rows, columns = shape
    step = 2 * np.pi / columns
    down = np.arange(0, rows + MAP_STEP, MAP_STEP) * step
    round_ = np.arange(0, columns + MAP_STEP, MAP_STEP) * step
    radius, angle = np.meshgrid(outer_mm * np.exp(-down), round_, indexing="ij")
    points = np.stack([radius * np.cos(angle), radius * np.sin(angle), np.full_like(angle, z_mm)], axis=-1)
    nodes = face.to_pixels(points.reshape(-1, 3)).reshape(*angle.shape, 2).astype(np.float32)
    stretch = np.array([[1 / MAP_STEP, 0, 0], [0, 1 / MAP_STEP, 0]])
    flags = cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP
    return np.asarray(cv2.warpAffine(nodes, stretch, (columns, rows), flags=flags), np.float32)


def read_photo(bgr: Pixels, where: Map, step_px: float) -> Pixels:
    """Read the photo at ``where``, points about so far apart, so that no texture turns into a pattern."""
    height, width = bgr.shape[:2]
    thin = where[:, ::MAP_STEP]
    low = np.clip(np.floor(thin.min(axis=(0, 1))).astype(int) - 8, 0, [width - 2, height - 2])
    high = np.clip(np.ceil(thin.max(axis=(0, 1))).astype(int) + 9, low + 2, [width, height])
    part, factor = for_steps(bgr[low[1] : high[1], low[0] : high[0]], step_px)
    local = (where - low.astype(np.float32) + 0.5) / factor - 0.5
    read = cv2.remap(part, local[..., 0], local[..., 1], cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    return np.asarray(read, np.uint8)


def read_at(image: Any, where: FloatArray | Map) -> Any:
    """Read an image at pixels ``where`` (R, C, 2): between four of them, or the nearest for a mask."""
    mask = image.dtype == bool
    way = cv2.INTER_NEAREST if mask else cv2.INTER_LINEAR
    empty: Any = None
    read = cv2.remap(image.astype(np.uint8) if mask else image, where.astype(np.float32), empty, way)
    return read.astype(bool) if mask else read


def _outline_mask(outline_mm: FloatArray, outer_mm: float, shape: tuple[int, int]) -> Mask:
    """Fill an outline on the plane, given as corners in mm, on the unwrapped grid."""
    rows, columns = shape
    step = 2 * np.pi / columns
    following = np.roll(outline_mm, -1, axis=0)
    share = np.linspace(0, 1, 16, endpoint=False)[:, None, None]
    dense = ((1 - share) * outline_mm + share * following).transpose(1, 0, 2).reshape(-1, 2)
    angle = np.unwrap(np.arctan2(dense[:, 1], dense[:, 0]))
    row = np.log(outer_mm / np.maximum(np.hypot(dense[:, 0], dense[:, 1]), 1e-6)) / step
    if abs(angle[-1] - angle[0]) > np.pi:  # the axis lies inside: everything from the outline inward is hidden
        order = np.argsort(angle % (2 * np.pi))
        edge = np.interp(np.arange(columns) * step, (angle % (2 * np.pi))[order], row[order], period=2 * np.pi)
        return np.asarray(np.arange(rows)[:, None] > edge[None, :] - 2 * MARGIN)
    angle -= 2 * np.pi * np.floor(angle.min() / (2 * np.pi))
    points = np.stack([angle / step, np.clip(row, -4 * rows, 4 * rows)], axis=-1).round().astype(np.int32)
    mask = np.zeros((rows, 2 * columns), np.uint8)
    cv2.fillPoly(mask, [points], 1)
    size = 4 * MARGIN + 1
    mask = np.asarray(cv2.dilate(mask, np.ones((size, size), np.uint8)), np.uint8)
    folded: Mask = (mask[:, :columns] | mask[:, columns:]).astype(bool)
    return folded


def lay_flat(bgr: Pixels, face: Face, span_mm: tuple[float, float], hidden_mm: Sequence[FloatArray] = ()) -> Ring:
    """Unwrap the friction ring and take out light, turning marks and whatever hides it.

    Parameters
    ----------
    bgr, face, span_mm, hidden_mm
        As for `unwrap`.

    Returns
    -------
    Ring
    """
    flat, seen, pitch = unwrap(bgr, face, span_mm, hidden_mm=hidden_mm)
    grey = cv2.cvtColor(flat, cv2.COLOR_BGR2GRAY)
    seen &= ~_painted_sector(flat, seen) & ~_patches_of_glare(grey, seen)
    depth = _without_light(_level(grey), seen)
    depth[~seen] = 0.0
    return Ring(flat, depth, _over_noise(depth, seen), seen, float(span_mm[1]), pitch)


def _patches_of_glare(grey: Any, seen: Mask) -> Mask:
    """Find what is burnt out, (R, C); where much of the ring is, none of it: its marks then stand dark in the white."""
    white = np.asarray(grey >= WHITE)
    return white if (white & seen).sum() < MOST_GLARE * seen.sum() else np.zeros_like(white)


def _painted_sector(flat: Pixels, seen: Mask) -> Mask:
    """Find a sector of quite another hue than the ring's, (1, C): a painted caliper, a cloth, a hand."""
    thin = np.log(flat[::4].astype(np.float32) + 2 * DARK_LEVEL)
    hue = np.median(np.stack([thin[..., 0] - thin[..., 1], thin[..., 2] - thin[..., 1]], axis=-1), axis=0)
    count = seen.shape[1] // SECTOR
    blocks = np.median(hue[: count * SECTOR].reshape(count, SECTOR, 2), axis=1)
    other = np.linalg.norm(blocks - np.median(blocks, axis=0), axis=1) > OTHER_HUE
    # Rust comes in patches; what is meant here spans a good part of a quarter.
    doubled = np.concatenate([other, other]).astype(np.uint8)[None]
    long = cv2.morphologyEx(doubled, cv2.MORPH_OPEN, np.ones((1, LEAST_SECTORS), np.uint8))[0]
    wide = cv2.dilate((long[:count] | long[count:])[None], np.ones((1, 3), np.uint8))[0].astype(bool)
    return np.asarray(np.repeat(wide, SECTOR)[None, :])


def _level(grey: Any) -> Map:
    table = np.log(np.arange(256, dtype=np.float32) + DARK_LEVEL)
    return np.asarray(cv2.LUT(grey, table), np.float32)


def wrapped(image: Any, pad: int) -> Any:
    """Pad an unwrapped image round its seam by ``pad`` columns; rows are repeated at their ends."""
    image = np.concatenate([image[:, -pad:], image, image[:, :pad]], axis=1)
    return cv2.copyMakeBorder(image, pad, pad, 0, 0, cv2.BORDER_REPLICATE)


def box(image: Map, columns: int, rows: int) -> Map:
    """Mean over a window of odd size that runs on across the seam."""
    half = columns // 2
    wide = np.concatenate([image[:, -half:], image, image[:, :half]], axis=1)
    mean = cv2.blur(wide, (columns, rows), borderType=cv2.BORDER_REPLICATE)
    return np.asarray(mean[:, half:-half], np.float32)


def box_seen(image: Map, seen: Mask, columns: int, rows: int) -> Map:
    """Mean over the part of a window that is seen; 0 where none is."""
    weight = seen.astype(np.float32)
    return np.asarray(box(image * weight, columns, rows) / np.maximum(box(weight, columns, rows), 1e-3))


def _without_light(level: Map, seen: Mask) -> Map:
    """Subtract each radius's own level, the slow changes of light, and streaks along the turning marks."""
    thin = np.where(seen, level, np.nan)[:, ::COARSE]
    has = ~np.isnan(thin).all(axis=1)
    rows = np.zeros(len(level), np.float32)
    rows[has] = np.nanmedian(thin[has], axis=1)
    rows[~has] = np.median(rows[has]) if has.any() else 0.0
    level = np.where(seen, level - rows[:, None], 0.0).astype(np.float32)
    level -= _slow(level)
    streak = np.clip(level, -0.12, 0.12)
    return np.asarray(level - box_seen(streak, seen, STREAK_WINDOW, 1), np.float32)


def _slow(level: Map) -> Map:
    """Light as a running median over about 30 mm, worked out at a quarter of the size."""
    rows, columns = level.shape
    small = cv2.resize(level, (columns // COARSE, max(1, rows // COARSE)), interpolation=cv2.INTER_AREA)
    pad = LIGHT_WINDOW
    bytes_ = np.clip(128 + 60 * wrapped(small, pad), 0, 255).astype(np.uint8)
    median = cv2.medianBlur(bytes_, LIGHT_WINDOW)[pad:-pad, pad:-pad].astype(np.float32)
    light = (median - 128) / 60
    return np.asarray(cv2.resize(light, (columns, rows), interpolation=cv2.INTER_LINEAR), np.float32)


def _over_noise(depth: Map, seen: Mask) -> Map:
    """Divide by the local noise: the mean deviation with features clipped off."""
    if not seen.any():
        return depth
    spread = float(np.median(np.abs(depth[seen][::7]))) * 1.4826 + NOISE_FLOOR
    near = box_seen(np.minimum(np.abs(depth), 2.5 * spread), seen, *NOISE_WINDOW) * 1.25
    noise = np.maximum(near, 0.5 * spread)
    return np.asarray(np.clip(depth / noise, -RELIEF_LIMIT, RELIEF_LIMIT), np.float32)
