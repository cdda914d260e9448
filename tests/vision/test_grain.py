"""A rim that parts like from like in all but grain: rust on gravel of its own shade."""

import cv2
import numpy as np

from vision.band import COLOURS, Band
from vision.ellipse import Ellipse

SIZE_PX, CENTRE_PX, RADIUS_PX, LEVEL, REACH_PX = 640, 320.0, 210.0, 110.0, 24.0


def band(grain: float) -> Band:
    """Unroll the rim of a smooth disc on ground of the same shade whose grains differ by ``grain`` levels."""
    dice = np.random.default_rng(4)
    grains = cv2.GaussianBlur(dice.normal(0, 1, (SIZE_PX, SIZE_PX)), (0, 0), 1.0)
    rows, columns = np.mgrid[:SIZE_PX, :SIZE_PX]
    outside = np.clip(np.hypot(columns - CENTRE_PX, rows - CENTRE_PX) - RADIUS_PX + 0.5, 0, 1)
    level = LEVEL + grain * outside * grains / grains.std() + dice.normal(0, 1.5, grains.shape)
    photo = np.repeat(np.clip(level, 0, 255).astype(np.uint8)[..., None], 3, axis=2)
    rim = Ellipse(np.array([CENTRE_PX, CENTRE_PX]), np.array([RADIUS_PX, RADIUS_PX]), 0.0)
    return Band.along(photo, rim.points(720), REACH_PX, smooth=9.0)


def test_grain_steps_at_the_rim_where_shade_does_not() -> None:
    seen = band(25.0)
    grain, shade = seen.slope[..., COLOURS].mean(axis=0), seen.slope[..., 0].mean(axis=0)
    assert abs(seen.along_px[grain.argmax()]) < 1.0
    assert grain.max() > 4 * np.abs(shade).max()


def test_no_grain_no_step() -> None:
    assert np.abs(band(0.0).slope[..., COLOURS].mean(axis=0)).max() < 0.1
