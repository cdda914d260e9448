"""Flat figures drawn through a homography with plain NumPy: each pixel the mean of many rays, blurred, toned, noisy."""

from collections.abc import Callable

import cv2
import numpy as np
import numpy.typing as npt

from vision.measurement import FloatArray

Paint = Callable[[FloatArray, FloatArray], FloatArray]
RAYS = 32


def looking(
    tilt_deg: float, turn_deg: float, px_per_mm: float, centre_px: tuple[float, float], far_mm: float = 620.0
) -> FloatArray:
    """Return the homography (3, 3) from a plane in mm, y upward in the picture, to pixels.

    Parameters
    ----------
    tilt_deg : float
        About a line across the picture.
    turn_deg : float
        Of the figure on its plane.
    px_per_mm : float
        Scale at the figure's centre.
    centre_px : (float, float)
        Where that centre appears.
    far_mm : float
        Its distance.
    """
    tilt, turn = np.radians(tilt_deg), np.radians(turn_deg)
    cos, sin = np.cos(turn), np.sin(turn)
    turned = np.array([[cos, -sin, 0.0], [sin, cos, 0.0], [0.0, 0.0, 1.0]])
    tilted = np.array([[1.0, 0.0, 0.0], [0.0, -np.cos(tilt), 0.0], [0.0, np.sin(tilt) / far_mm, 1.0]])
    lens = np.array([[px_per_mm, 0.0, centre_px[0]], [0.0, px_per_mm, centre_px[1]], [0.0, 0.0, 1.0]])
    seen: FloatArray = lens @ tilted @ turned
    return seen


def draw(paint: Paint, homography: FloatArray, size_px: tuple[int, int]) -> npt.NDArray[np.float32]:
    """Draw ``paint(x_mm, y_mm)``, a linear brightness 0 to 1, as (H, W) float32 seen through the homography."""
    width, height = size_px
    # Scattered evenly (Roberts' R2 sequence) and in pairs about the centre: a grid would round upright edges.
    half = (np.arange(1, RAYS // 2 + 1)[:, None] / 1.32471795724 ** np.array([1.0, 2.0])) % 1.0 - 0.5
    rays = np.vstack([half, -half])
    picture = np.zeros((height, width))
    inverse = np.linalg.inv(homography)
    x, y = np.meshgrid(np.arange(width, dtype=np.float64), np.arange(height, dtype=np.float64))
    for dx, dy in rays:
        lifted = np.stack([x + dx, y + dy, np.ones_like(x)], axis=-1) @ inverse.T
        picture += paint(lifted[..., 0] / lifted[..., 2], lifted[..., 1] / lifted[..., 2])
    return (picture / RAYS).astype(np.float32)


def photographed(
    linear: npt.NDArray[np.float32], *, blur_px: float = 0.8, gamma: float = 1.0, noise: float = 0.0, seed: int = 1
) -> npt.NDArray[np.uint8]:
    """Blur in linear light, apply the tone curve ``v ** (1 / gamma)``, add noise (levels) and round to bytes.

    A gamma over 1 makes bright parts grow: bloom.
    """
    toned = 255 * np.clip(cv2.GaussianBlur(linear, (0, 0), blur_px), 0, 1) ** (1 / gamma)
    grain = np.random.default_rng(seed).normal(0, noise, linear.shape) if noise else 0.0
    return np.clip(np.round(toned + grain), 0, 255).astype(np.uint8)
