"""Rotor faces drawn with plain NumPy: a height map, shaded, with turning marks, rust, dirt and noise.

Not the renderer of the sample photos and not meant to look as good: what must hold on drawings and on renders alike
can't be a quirk of either.
"""

import itertools
from dataclasses import dataclass

import cv2
import numpy as np
import numpy.typing as npt

from sample_images_synthetic.studio.pattern import Pattern
from sample_images_synthetic.studio.rotor import Rotor
from vision.measurement import FloatArray

Image = npt.NDArray[np.float32]
SEAM_MM = 30.0


@dataclass(frozen=True)
class TiltedFace:
    """A pinhole looking at the rotor's centre from ``distance_mm``, tilted about a line in the picture."""

    rim_radius_mm: float
    px_per_mm: float
    centre_px: tuple[float, float]
    tilt_rad: float = 0.0
    tilt_towards_rad: float = 0.0
    distance_mm: float = 650.0

    def to_pixels(self, points_mm: FloatArray) -> FloatArray:
        """Project rotor points (N, 3); y runs down the picture."""
        cos, sin = np.cos(self.tilt_towards_rad), np.sin(self.tilt_towards_rad)
        along = cos * points_mm[:, 0] + sin * points_mm[:, 1]
        across = cos * points_mm[:, 1] - sin * points_mm[:, 0]
        tilted = along * np.cos(self.tilt_rad) + points_mm[:, 2] * np.sin(self.tilt_rad)
        far = self.distance_mm + along * np.sin(self.tilt_rad) - points_mm[:, 2] * np.cos(self.tilt_rad)
        scale = self.px_per_mm * self.distance_mm / far
        x, y = cos * tilted - sin * across, sin * tilted + cos * across
        return np.stack([self.centre_px[0] + scale * x, self.centre_px[1] + scale * y], axis=-1)

    def to_plane(self, xy_px: FloatArray, height_mm: float = 0.0) -> FloatArray:
        """Carry pixels (N, 2) to a plane, by the homography through four points of it."""
        corners = np.array([[-90.0, -90], [90, -90], [90, 90], [-90, 90]])
        lifted = np.column_stack([corners, np.full(4, height_mm)])
        back = cv2.getPerspectiveTransform(self.to_pixels(lifted).astype(np.float32), corners.astype(np.float32))
        return np.asarray(cv2.perspectiveTransform(xy_px[:, None].astype(np.float64), back)[:, 0], np.float64)


@dataclass(frozen=True)
class Look:
    """How a drawing is lit and worn; everything random comes from ``draw_look``."""

    light_rad: float
    relief: float
    ambient: float
    behind: float
    ground: float
    marks: float
    rust: float
    dirt: int
    noise: float
    blur_px: float
    gloss: float


def draw_look(rng: np.random.Generator) -> Look:
    """Draw one look."""
    return Look(
        light_rad=float(rng.uniform(0, 2 * np.pi)),
        relief=float(rng.uniform(0.3, 1.1)),
        ambient=float(rng.uniform(0.15, 0.6)),
        behind=float(rng.choice([rng.uniform(0.02, 0.15), rng.uniform(0.02, 0.5)])),
        ground=float(rng.uniform(0.1, 0.7)),
        marks=float(rng.uniform(0.0, 0.08)),
        rust=float(rng.choice([0.0, rng.uniform(0, 0.5)])),
        dirt=int(rng.integers(1, 60)) if rng.random() < 1 / 3 else 0,
        noise=float(rng.uniform(0.003, 0.03)),
        blur_px=float(rng.uniform(0.4, 2.0)),
        gloss=float(rng.uniform(0.0, 0.8)),
    )


def draw_face(
    rng: np.random.Generator, rotor: Rotor, look: Look, px_per_mm: float
) -> tuple[npt.NDArray[np.uint8], TiltedFace]:
    """Draw a rotor's friction ring square on, on a plain ground.

    Returns
    -------
    bgr : (S, S, 3) ndarray of uint8
    face : TiltedFace
        The scene that fits the drawing.
    """
    half_mm = rotor.diameter_mm / 2 + SEAM_MM
    count = int(2 * half_mm * px_per_mm)
    axis = ((np.arange(count) + 0.5) / px_per_mm - half_mm).astype(np.float32)
    x, y = np.meshgrid(axis, axis)
    radius = np.hypot(x, y)
    height, hole = _height_map(rotor.pattern, axis)
    light = _shade(height, look, px_per_mm)
    angle = np.arctan2(y, x)
    streaks = look.gloss * np.cos(2 * (angle - look.light_rad)) ** 4
    texture = look.marks * _marks(rng, radius, px_per_mm)
    albedo = np.exp(texture - look.rust * np.maximum(_clouds(rng, count, 60), 0) - _dirt(rng, look, axis))
    value = 0.45 * albedo * (light * (1 + streaks))
    value = np.where(hole > 0, look.behind * hole + value * (1 - hole), value)
    outside = (radius > rotor.diameter_mm / 2) | (radius < rotor.ring_inner_mm / 2)
    value = np.where(outside, look.ground * (1 + 0.1 * _clouds(rng, count, 8)), value)
    value *= 1 + 0.3 * _clouds(rng, count, 200)
    soft = cv2.GaussianBlur(value.astype(np.float32), (0, 0), look.blur_px)
    value = np.clip(soft, 0, 1) ** (1 / 2.2) + rng.normal(0, look.noise, value.shape)
    grey = np.clip(value * 255, 0, 255).astype(np.uint8)
    tint = np.array([rng.uniform(0.92, 1.0), 1.0, rng.uniform(0.94, 1.0)])
    bgr = np.clip(grey[..., None] * tint, 0, 255).astype(np.uint8)
    centre = (count - 1) / 2
    return bgr, TiltedFace(rotor.diameter_mm / 2, px_per_mm, (centre, centre), distance_mm=1e6)


def _height_map(pattern: Pattern, axis: npt.NDArray[np.float32]) -> tuple[Image, Image]:
    """Height in mm and the share of each pixel that is an open hole."""
    height = np.zeros((len(axis), len(axis)), np.float32)
    hole = np.zeros_like(height)
    for drilled in pattern.holes:
        part, far = _near(axis, drilled.xy_mm, drilled.diameter_mm)
        hole[part] = np.maximum(hole[part], np.clip((drilled.diameter_mm / 2 - far) * 4 + 0.5, 0, 1))
        rise = np.clip(far - drilled.diameter_mm / 2 - drilled.countersink_mm, -drilled.countersink_mm, 0)
        height[part] = np.minimum(height[part], rise)
    for dimple in pattern.dimples:
        part, far = _near(axis, dimple.xy_mm, dimple.diameter_mm)
        share = np.clip(2 * far / dimple.diameter_mm, 0, 1)
        floor = 1 - share if dimple.floor == "conical" else 1 - share**2
        height[part] = np.minimum(height[part], -dimple.depth_mm * floor)
    for slot in pattern.slots:
        path = np.array(slot.path_mm)
        for near, far in itertools.pairwise(path):
            reach = 2 * slot.width_mm + float(np.linalg.norm(far - near))
            part, gap = _near_segment(axis, (near, far), reach)
            floor = np.clip((slot.width_mm / 2 - gap) * 4 + 0.5, 0, 1)
            height[part] = np.minimum(height[part], -slot.depth_mm * floor)
    return height, hole


def _window(
    axis: npt.NDArray[np.float32], xy_mm: tuple[float, float], reach: float
) -> tuple[tuple[slice, slice], Image, Image]:
    columns = slice(*np.searchsorted(axis, [xy_mm[0] - reach, xy_mm[0] + reach]))
    rows = slice(*np.searchsorted(axis, [xy_mm[1] - reach, xy_mm[1] + reach]))
    x, y = np.meshgrid(axis[columns], axis[rows])
    return (rows, columns), x, y


def _near(
    axis: npt.NDArray[np.float32], xy_mm: tuple[float, float], diameter_mm: float
) -> tuple[tuple[slice, slice], Image]:
    part, x, y = _window(axis, xy_mm, diameter_mm)
    return part, np.hypot(x - xy_mm[0], y - xy_mm[1])


def _near_segment(
    axis: npt.NDArray[np.float32], ends: tuple[FloatArray, FloatArray], reach: float
) -> tuple[tuple[slice, slice], Image]:
    middle = (ends[0] + ends[1]) / 2
    part, x, y = _window(axis, (float(middle[0]), float(middle[1])), reach)
    run = ends[1] - ends[0]
    share = np.clip(((x - ends[0][0]) * run[0] + (y - ends[0][1]) * run[1]) / (run @ run), 0, 1)
    return part, np.hypot(x - ends[0][0] - share * run[0], y - ends[0][1] - share * run[1]).astype(np.float32)


def _shade(height: Image, look: Look, px_per_mm: float) -> Image:
    """Lambert's law under one lamp, and less sky at the bottom of what is deep."""
    slope_y, slope_x = np.gradient(height * px_per_mm)
    toward = np.array([np.cos(look.light_rad), np.sin(look.light_rad)]) * look.relief
    direct = np.maximum(1 - toward[0] * slope_x - toward[1] * slope_y, 0) / np.hypot(1, np.hypot(slope_x, slope_y))
    sky = np.exp(0.35 * height)
    return np.asarray(look.ambient * sky + (1 - look.ambient) * direct, np.float32)


def _marks(rng: np.random.Generator, radius: Image, px_per_mm: float) -> Image:
    """Concentric turning marks."""
    rows = rng.normal(0, 1, int(radius.max() * px_per_mm) + 2)
    rows = np.convolve(rows, np.ones(3) / 3, mode="same")
    return np.asarray(rows[(radius * px_per_mm).astype(int)], np.float32)


def _clouds(rng: np.random.Generator, count: int, size_px: int) -> Image:
    """Smooth noise of unit spread."""
    small = rng.normal(0, 1, (count // size_px + 3,) * 2).astype(np.float32)
    return np.asarray(cv2.resize(small, (count, count), interpolation=cv2.INTER_CUBIC))


def _dirt(rng: np.random.Generator, look: Look, axis: npt.NDArray[np.float32]) -> Image:
    """Dark spots of any size at any place, some of them oblong."""
    dark = np.zeros((len(axis), len(axis)), np.float32)
    for _ in range(look.dirt):
        at = tuple(rng.uniform(axis[0], axis[-1], 2))
        size = float(rng.uniform(2, 12))
        part, x, y = _window(axis, at, size)
        turn, squeeze = rng.uniform(0, np.pi), rng.uniform(1, 2.5)
        u = (x - at[0]) * np.cos(turn) + (y - at[1]) * np.sin(turn)
        v = (y - at[1]) * np.cos(turn) - (x - at[0]) * np.sin(turn)
        dark[part] += rng.uniform(0.1, 1.2) * np.clip((size / 2 - np.hypot(u, squeeze * v)) / rng.uniform(0.5, 2), 0, 1)
    return dark


def tilted(
    bgr: npt.NDArray[np.uint8], face: TiltedFace, tilt_rad: float, towards_rad: float
) -> tuple[npt.NDArray[np.uint8], TiltedFace]:
    """See a square-on drawing at a slant from 650 mm: the picture and the scene that fits it."""
    slanted = TiltedFace(face.rim_radius_mm, face.px_per_mm, face.centre_px, tilt_rad, towards_rad)
    corners = np.array([[-100.0, -100, 0], [100, -100, 0], [100, 100, 0], [-100, 100, 0]])
    before, after = (f.to_pixels(corners).astype(np.float32) for f in (face, slanted))
    size = bgr.shape[:2][::-1]
    warp = cv2.getPerspectiveTransform(before, after)
    seen = cv2.warpPerspective(bgr, warp, size, flags=cv2.INTER_AREA, borderMode=cv2.BORDER_REFLECT)
    return np.asarray(seen, np.uint8), slanted


def with_caliper(
    rng: np.random.Generator, bgr: npt.NDArray[np.uint8], face: TiltedFace, width_rad: float
) -> npt.NDArray[np.uint8]:
    """Cover a sector of the rim with a block of another colour and a few lines on it."""
    turn, reach = rng.uniform(0, 2 * np.pi), face.rim_radius_mm
    arc = turn + np.linspace(0, width_rad, 24)
    shares = np.concatenate([np.full(24, rng.uniform(0.6, 0.75)), np.full(24, 1.15)])
    angle = np.concatenate([arc, arc[::-1]])
    outline = np.stack([shares * reach * np.cos(angle), shares * reach * np.sin(angle), 0 * angle], axis=-1)
    picture = bgr.copy()
    cv2.fillPoly(picture, [face.to_pixels(outline).astype(np.int32)], rng.integers(10, 220, 3).tolist())
    for _ in range(int(rng.integers(2, 9))):
        start, end = (face.to_pixels(outline[[int(rng.integers(48))]])[0].astype(int) for _ in range(2))
        cv2.line(picture, start.tolist(), end.tolist(), rng.integers(10, 240, 3).tolist(), int(rng.integers(1, 6)))
    return picture


def as_sent(rng: np.random.Generator, bgr: npt.NDArray[np.uint8], quality: int) -> npt.NDArray[np.uint8]:
    """Brighten or darken, then store as JPEG."""
    gain, lift = rng.uniform(0.6, 1.25), rng.uniform(-12, 12)
    changed = np.clip(bgr.astype(np.float32) * gain + lift, 0, 255).astype(np.uint8)
    return np.asarray(cv2.imdecode(cv2.imencode(".jpg", changed, [cv2.IMWRITE_JPEG_QUALITY, quality])[1], 1), np.uint8)


def with_hat(
    rng: np.random.Generator, bgr: npt.NDArray[np.uint8], face: TiltedFace, rotor: Rotor, turn_rad: float = 0.3
) -> npt.NDArray[np.uint8]:
    """Stand a hat with its bore, bolt holes and locating holes on a drawing, at its own height, turned so far."""
    picture, top = bgr.copy(), rotor.hat_z_mm
    shade = rng.uniform(50, 200)
    wall = np.concatenate([_round(rotor.hat_mm / 2, (0, 0), z) for z in (0.0, top)])
    hull = cv2.convexHull(face.to_pixels(wall).astype(np.float32))[:, 0]
    _fill(picture, np.asarray(hull, np.float64), shade * rng.uniform(0.4, 0.9))
    _fill(picture, face.to_pixels(_round(rotor.hat_mm / 2, (0, 0), top)), shade)
    inside = shade * rng.uniform(0.1, 0.6)
    circle = rotor.bolt_circle_mm / 2
    holes = [(rotor.centre_bore_mm / 2, 0.0, 0.0)]
    holes += [
        (rotor.bolt_hole_mm / 2, circle, turn_rad + 2 * np.pi * i / rotor.bolt_count) for i in range(rotor.bolt_count)
    ]
    holes += [(size / 2, at / 2, turn_rad + angle) for size, at, angle in rotor.locating_holes]
    for radius, at, angle in holes:
        _fill(picture, face.to_pixels(_round(radius, (at * np.cos(angle), at * np.sin(angle)), top)), inside)
    noisy = cv2.GaussianBlur(picture, (0, 0), 0.7) + rng.normal(0, 2, picture.shape)
    return np.clip(noisy, 0, 255).astype(np.uint8)


def _round(radius_mm: float, centre_mm: tuple[float, float], z_mm: float) -> FloatArray:
    turn = np.linspace(0, 2 * np.pi, 120, endpoint=False)
    x, y = centre_mm[0] + radius_mm * np.cos(turn), centre_mm[1] + radius_mm * np.sin(turn)
    return np.stack([x, y, np.full_like(x, z_mm)], axis=-1)


def _fill(picture: npt.NDArray[np.uint8], outline_px: FloatArray, level: float) -> None:
    """Fill with eighths of a pixel kept."""
    cv2.fillPoly(picture, [(outline_px * 8).round().astype(np.int32)], [level] * 3, cv2.LINE_AA, 3)
