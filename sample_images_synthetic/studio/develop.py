"""From a linear picture to the photo that a phone writes: lens, sensor, tone, sharpening."""

import math
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from sample_images_synthetic.studio.camera import Camera
from sample_images_synthetic.studio.noise import FloatImage, rgb

Photo = NDArray[np.uint8]


@dataclass(frozen=True)
class Development:
    """How the phone sees and develops; lengths in pixels of a 3-megapixel photo (scaled for others).

    Attributes
    ----------
    exposure_ev : float
        Off the automatic exposure, stops.
    blur_px : float
        Standard deviation of the lens's own blur.
    defocus_px, motion_px : float
        Radius of the defocus disc, length of the motion trail; 0 is none.
    motion_deg : float
        Direction of the trail.
    veil : float
        Share of the light that the lens spreads in a wide halo.
    noise : float
        Standard deviation of the noise at mid grey, of full scale.
    white : tuple of float
        Gains of red and blue that are left over after the phone's white balance.
    contrast : float
        Strength of the tone curve's S; 0 is none.
    sharpening : float
        Strength of the unsharp mask.
    """

    exposure_ev: float
    blur_px: float
    defocus_px: float
    motion_px: float
    motion_deg: float
    veil: float
    noise: float
    white: tuple[float, float]
    contrast: float
    sharpening: float


def draw_development(rng: np.random.Generator, *, clean: bool = False) -> Development:
    """Draw a phone and a hand; ``clean`` keeps the hand still and the exposure right."""
    rare = rng.random(3)
    return Development(
        exposure_ev=float(rng.normal(0, 0.25 if clean else 0.55))
        + (0 if clean or rare[0] > 0.1 else rng.choice([-1.5, 1.0])),
        blur_px=float(rng.uniform(0.45, 0.75)),
        defocus_px=0.0 if clean or rare[1] > 0.15 else float(rng.uniform(0.8, 2.2)),
        motion_px=0.0 if clean or rare[2] > 0.15 else float(rng.uniform(1.5, 5.0)),
        motion_deg=float(rng.uniform(0, 180)),
        veil=float(rng.uniform(0.005, 0.03 if clean else 0.06)),
        noise=float(rng.uniform(0.004, 0.012) if clean else 0.004 + 0.03 * rng.beta(1.2, 4)),
        white=(float(np.exp(rng.normal(0, 0.04))), float(np.exp(rng.normal(0, 0.05)))),
        contrast=float(rng.uniform(0.1, 0.6)),
        sharpening=float(rng.uniform(0.3, 1.1)),
    )


def developed(linear: FloatImage, camera: Camera, how: Development, rng: np.random.Generator) -> Photo:
    """Develop a photo.

    Parameters
    ----------
    linear : (H, W, 3) ndarray
        Undistorted radiance, as ``render.rendered`` gives it.
    camera : Camera
        The photo's camera: its k1 bends the picture exactly.
    how : Development
        Lens, sensor and tone.
    rng : numpy.random.Generator
        Source of the noise.

    Returns
    -------
    (height, width, 3) ndarray of uint8
        RGB.
    """
    size = math.sqrt(camera.width * camera.height / 3.1e6)
    light = exposed(linear, how.exposure_ev)
    light = _through_lens(light, how, size)
    light = np.asarray(np.clip(bent(light, camera), 0, None), np.float32)
    light = _sensed(light * _vignette(camera), how, rng)
    balanced = light * rgb([how.white[0], 1.0, how.white[1]])
    return _finished(toned(balanced, how.contrast), how.sharpening, size)


def exposed(linear: FloatImage, exposure_ev: float) -> FloatImage:
    """Scale to the phone's automatic exposure, neutralise the light's colour, apply the error."""
    middle = linear[linear.shape[0] // 6 : -linear.shape[0] // 6 or None, linear.shape[1] // 6 : -linear.shape[1] // 6]
    small = cv2.resize(middle, (96, 96), interpolation=cv2.INTER_AREA)
    grey = small.mean(axis=2)
    key = 0.5 * float(np.exp(np.log(grey + 1e-4).mean())) + 0.5 * float(np.quantile(grey, 0.6))
    bright = float(np.quantile(grey, 0.97))
    scale = min(0.2 / max(key, 1e-6), 1.2 / max(bright, 1e-6)) * 2.0**exposure_ev
    # Shades of grey: bright things say what white is, a coloured cloth hardly does.
    tint = (np.minimum(small, np.quantile(small, 0.98)).reshape(-1, 3).astype(np.float64) ** 5).mean(axis=0) ** 0.2
    gains = np.clip((tint[1] / np.maximum(tint, 1e-6)) ** 0.8, 0.7, 1.5)
    return np.asarray(linear * (scale * gains).astype(np.float32), np.float32)


def bent(linear: FloatImage, camera: Camera) -> FloatImage:
    """Bend an undistorted picture by the camera's k1.

    Each pixel of the photo is looked up where the undistorted ray hits the larger frame: the inverse of
    ``camera.project``, solved by Newton's method to 1e-9.
    """
    cx, cy = camera.centre_px
    y, x = np.mgrid[: camera.height, : camera.width].astype(np.float64)
    x, y = (x - cx) / camera.focal_px, (y - cy) / camera.focal_px
    far = np.hypot(x, y)
    near = far.copy()
    for _ in range(8):
        near -= (near * (1 + camera.k1 * near**2) - far) / (1 + 3 * camera.k1 * near**2)
    ratio = np.divide(near, far, out=np.ones_like(far), where=far > 0) * camera.focal_px
    ox, oy = (linear.shape[1] - 1) / 2, (linear.shape[0] - 1) / 2
    maps = (x * ratio + ox).astype(np.float32), (y * ratio + oy).astype(np.float32)
    if camera.k1 == 0:
        maps = (np.round(maps[0]).astype(np.float32), np.round(maps[1]).astype(np.float32))
    # Highlights ring under a cubic kernel: bend what the sensor could hold.
    held = np.minimum(linear, 4.0)
    return np.asarray(cv2.remap(held, *maps, cv2.INTER_CUBIC, borderMode=cv2.BORDER_REFLECT), np.float32)


def _through_lens(light: FloatImage, how: Development, size: float) -> FloatImage:
    """Halo, defocus, motion, the lens's own blur; in linear light, before anything clips."""
    light = np.minimum(light, 12.0)
    width = light.shape[1]
    halo = cv2.GaussianBlur(
        cv2.resize(light, None, fx=0.125, fy=0.125, interpolation=cv2.INTER_AREA), (0, 0), width / 300
    )
    halo = cv2.resize(halo, (width, light.shape[0]), interpolation=cv2.INTER_LINEAR)
    light = np.asarray((1 - how.veil) * light + how.veil * halo, np.float32)
    if how.defocus_px > 0:
        light = _spread(light, _disc(how.defocus_px * size))
    if how.motion_px > 0:
        light = _spread(light, _trail(how.motion_px * size, how.motion_deg))
    return np.asarray(cv2.GaussianBlur(light, (0, 0), how.blur_px * max(size, 0.8)), np.float32)


def _spread(light: FloatImage, kernel: FloatImage) -> FloatImage:
    return np.asarray(cv2.filter2D(light, -1, kernel, borderType=cv2.BORDER_REFLECT), np.float32)


def _disc(radius_px: float) -> FloatImage:
    """Make a defocus kernel with a soft edge, centred."""
    half = math.ceil(radius_px) + 1
    y, x = np.mgrid[-half : half + 1, -half : half + 1]
    kernel = np.clip(radius_px + 0.5 - np.hypot(x, y), 0, 1)
    return np.asarray(kernel / kernel.sum(), np.float32)


def _trail(length_px: float, angle_deg: float) -> FloatImage:
    """Make a straight motion trail, centred on the pixel: edges stay where they are on average."""
    half = math.ceil(length_px / 2) + 1
    y, x = np.mgrid[-half : half + 1, -half : half + 1]
    c, s = math.cos(math.radians(angle_deg)), math.sin(math.radians(angle_deg))
    along, across = x * c + y * s, -x * s + y * c
    kernel = np.clip(length_px / 2 + 0.5 - np.abs(along), 0, 1) * np.clip(1 - np.abs(across), 0, 1)
    return np.asarray(kernel / kernel.sum(), np.float32)


def _vignette(camera: Camera) -> FloatImage:
    """Corners at three quarters of the middle's light."""
    cx, cy = camera.centre_px
    y, x = np.mgrid[: camera.height, : camera.width]
    r2 = ((x - cx) ** 2 + (y - cy) ** 2) / (cx**2 + cy**2)
    return np.asarray(1 - 0.25 * r2, np.float32)[..., None]


def _sensed(light: FloatImage, how: Development, rng: np.random.Generator) -> FloatImage:
    """Shot and read noise; a phone's own denoising leaves it slightly blotched, more so in colour."""
    grain = rng.standard_normal(light.shape, dtype=np.float32)
    grey = cv2.GaussianBlur(grain[..., :1], (0, 0), 0.6)[..., None] * 1.9
    colour = cv2.GaussianBlur(grain, (0, 0), 1.6) * 3.0
    sigma = how.noise * np.sqrt(0.15 + 0.85 * np.clip(light, 0, 1) / 0.2) * 0.45
    return np.asarray(np.clip(light + sigma * (grey + 0.5 * colour), 0, None), np.float32)


def toned(light: FloatImage, contrast: float) -> FloatImage:
    """Apply a phone's tone curve: a soft shoulder that clips at 1, sRGB's gamma, an S."""
    x = np.clip(light, 0, None)
    shoulder = np.where(x < 0.7, x, 0.7 + 0.3 * np.tanh((x - 0.7) / 0.3 * 0.8))
    # sRGB's transfer curve: IEC 61966-2-1.
    y = np.where(shoulder <= 0.0031308, 12.92 * shoulder, 1.055 * np.maximum(shoulder, 1e-8) ** (1 / 2.4) - 0.055)
    s = y * y * (3 - 2 * y)
    return np.asarray(np.clip(y + contrast * (s - y), 0, 1), np.float32)


def _finished(values: FloatImage, sharpening: float, size: float) -> Photo:
    """Unsharp mask, 8 bits."""
    soft = cv2.GaussianBlur(values, (0, 0), 1.1 * max(size, 0.8))
    return (np.clip(values + sharpening * (values - soft), 0, 1) * 255 + 0.5).astype(np.uint8)
