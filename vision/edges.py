"""Edges to a fraction of a pixel: brightness profiles across a curve, and where they step."""

from typing import Any

import cv2
import numpy as np
import numpy.typing as npt

from vision.measurement import FloatArray

Image = npt.NDArray[Any]


def offsets_px(reach_px: float, step_px: float = 0.5) -> FloatArray:
    """Return the offsets along the normal at which profiles are read, from ``-reach_px`` to ``reach_px``."""
    count = int(np.ceil(reach_px / step_px))
    return np.arange(-count, count + 1, dtype=np.float64) * step_px


def profiles(image: Image, xy_px: FloatArray, normal_px: FloatArray, along_px: FloatArray) -> FloatArray:
    """Read an image along normals.

    Parameters
    ----------
    image : (H, W) or (H, W, C) ndarray of uint8 or float32
    xy_px, normal_px : (N, 2) ndarray
        Feet and unit normals ``(x, y)``.
    along_px : (M,) ndarray
        Offsets along the normal.

    Returns
    -------
    (N, M) or (N, M, C) ndarray of float64
        Bilinear values; beyond the border the border's value goes on.
    """
    where = (xy_px[:, None, :] + along_px[None, :, None] * normal_px[:, None, :]).astype(np.float32)
    read = cv2.remap(image, where[..., 0], where[..., 1], cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    return read.astype(np.float64)


def slopes(profile: FloatArray, along_px: FloatArray, blur_px: float) -> FloatArray:
    """Return the derivative of profiles (N, M) along their offsets, smoothed by a Gaussian of ``blur_px``."""
    step = along_px[1] - along_px[0]
    size = 2 * int(np.ceil(3 * blur_px / step)) + 1
    lag = (np.arange(size) - size // 2) * step
    kernel = lag * np.exp(-0.5 * (lag / blur_px) ** 2)
    kernel /= (kernel * lag).sum()
    padded = np.pad(profile, ((0, 0), (size // 2, size // 2)), mode="edge")
    windows = np.lib.stride_tricks.sliding_window_view(padded, size, axis=1)
    slope: FloatArray = windows @ kernel
    return slope


def steepest(slope: FloatArray, along_px: FloatArray, sign: float = 0.0) -> tuple[FloatArray, FloatArray]:
    """Find where each profile is steepest, to a fraction of a step.

    Parameters
    ----------
    slope : (N, M) ndarray
        As `slopes` gives it.
    sign : {-1, 0, 1}
        Only falling (-1) or rising (1) edges count; 0 takes both.

    Returns
    -------
    offset_px, strength : (N,) ndarray
        Offset along the normal by a parabola through the peak, and the signed slope there (levels per pixel).
        A peak at the profile's end gives NaN.
    """
    rated = np.abs(slope) if sign == 0 else slope * sign
    peak = rated.argmax(axis=1)
    inner = (peak > 0) & (peak < slope.shape[1] - 1)
    at = np.clip(peak, 1, slope.shape[1] - 2)
    rows = np.arange(len(slope))
    left, mid, right = rated[rows, at - 1], rated[rows, at], rated[rows, at + 1]
    bend = left - 2 * mid + right
    shift = np.where(bend < 0, 0.5 * (left - right) / np.where(bend < 0, bend, -1.0), 0.0)
    offset = along_px[at] + np.clip(shift, -1, 1) * (along_px[1] - along_px[0])
    return np.where(inner & (mid > 0), offset, np.nan), slope[rows, at]
