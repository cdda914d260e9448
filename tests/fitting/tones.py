"""How phones develop what their sensors saw: curves of tone, haze, warmth, sharpening, none of which the studio knows.

What tells a hole from a dimple must hold however dark the one and however deep the other comes out.
"""

from dataclasses import replace

import cv2
import numpy as np

from vision.photo import Photo, Pixels

# Shares of photos that are left as they are, that a haze lies over, whose shadows are lifted, that are sharpened.
AS_THEY_ARE, HAZY, LIFTED, SHARPENED = 0.4, 0.25, 0.2, 0.3
# Deviation of the logarithm of the power, its limits; steepest S; most haze, levels; deviation of a channel's gain.
POWER_STD, POWERS, STEEPEST, MOST_HAZE, WARMTH = 0.4, (0.5, 2.0), 8.0, 45.0, 0.15
# Shadows are lifted within so great a part of the photo's width.
LIFT_WINDOW, LIFT = 1 / 40, 0.35


def developed(rng: np.random.Generator, photo: Photo) -> Photo:
    """Return a photo as another phone might have developed it."""
    return replace(photo, bgr=toned(rng, photo.bgr))


def toned(rng: np.random.Generator, bgr: Pixels) -> Pixels:
    """Return pixels (H, W, 3) as another phone might have developed them."""
    if rng.random() < AS_THEY_ARE:
        return bgr
    if rng.random() < LIFTED:
        bgr = _lifted(bgr)
    parts = [cv2.LUT(part, curve) for part, curve in zip(cv2.split(bgr), _curves(rng), strict=True)]
    bgr = np.asarray(cv2.merge(parts), np.uint8)
    return _sharpened(bgr, float(rng.uniform(0.7, 1.6))) if rng.random() < SHARPENED else bgr


def _sharpened(bgr: Pixels, blur_px: float) -> Pixels:
    return np.asarray(cv2.addWeighted(bgr, 2.0, cv2.GaussianBlur(bgr, (0, 0), blur_px), -1.0, 0.0), np.uint8)


def _curves(rng: np.random.Generator) -> list[Pixels]:
    """Draw the curve of each channel, (256,): one for all, but for how warm the light is."""
    power = float(np.clip(np.exp(rng.normal(0.0, POWER_STD)), *POWERS))
    steep = float(rng.uniform(0.0, STEEPEST))
    haze = float(rng.uniform(0.0, MOST_HAZE)) if rng.random() < HAZY else 0.0
    level = (np.arange(256) / 255.0) ** power
    rise = np.tanh(0.25 * steep * (2 * level - 1)) / np.tanh(0.25 * steep) if steep > 0 else 2 * level - 1
    out = haze + (255.0 - haze) * (rise + 1) / 2
    return [np.clip(out * np.exp(rng.normal(0.0, WARMTH)), 0, 255).astype(np.uint8) for _ in range(3)]


def _lifted(bgr: Pixels) -> Pixels:
    """Brighten what is dark as a whole, as phones do that lay several exposures over one another."""
    share = bgr.astype(np.float32) / 255
    light = cv2.GaussianBlur(share.mean(axis=2), (0, 0), LIFT_WINDOW * bgr.shape[1])
    return np.asarray(np.clip(bgr * (0.62 * (light + 0.08) ** -LIFT)[..., None], 0, 255), np.uint8)
