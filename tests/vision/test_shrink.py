"""Photos made smaller by halves, against OpenCV's mean over any number of pixels."""

import cv2
import numpy as np
import pytest

from vision.edges import Image
from vision.shrink import for_steps, shrunk


@pytest.fixture
def gravel() -> Image:
    """Texture of a pixel or two, which a plain reading would take for a pattern."""
    rough = np.random.default_rng(4).normal(0, 60, (402, 600, 3)).astype(np.float32)
    return np.clip(128 + 2 * cv2.GaussianBlur(rough, (0, 0), 0.9), 0, 255).astype(np.uint8)


@pytest.mark.parametrize("times", [0.5, 1.0, 1.4, 2.0, 4.0, 6.1])
def test_an_image_is_shrunk_as_by_means(gravel: Image, times: float) -> None:
    """To a seventh of the texture's own roughness: by halves first, what a pixel covers ends on other pixels."""
    size_px = (round(600 / max(times, 1)), round(402 / max(times, 1)))
    plain = cv2.resize(gravel, size_px, interpolation=cv2.INTER_AREA)
    got = shrunk(gravel, times)
    assert got.shape == plain.shape
    assert np.sqrt(np.mean((got.astype(float) - plain) ** 2)) < plain.std() / 7


def test_something_is_left_of_the_narrowest_image() -> None:
    assert shrunk(np.full((2, 6000), 7, np.uint8), 5.0).tolist() == [[7] * 1200]


@pytest.mark.parametrize("step_px", [1.0, 1.3, 1.9, 2.0, 3.0, 4.7, 9.0])
def test_points_far_apart_are_read_as_between_means(gravel: Image, step_px: float) -> None:
    """What is read is as rough as between means, and hangs together with them."""
    across, down = (np.arange(first, last, step_px) for first, last in ((30.3, 560), (30.6, 360)))
    x, y = (part.astype(np.float32) for part in np.meshgrid(across, down))
    small, factor = for_steps(gravel, step_px)
    got = cv2.remap(small, (x + 0.5) / factor - 0.5, (y + 0.5) / factor - 0.5, cv2.INTER_LINEAR).astype(float)
    size = (round(600 / step_px), round(402 / step_px))
    wide, high = size[0] / 600, size[1] / 402
    means = cv2.resize(gravel, size, interpolation=cv2.INTER_AREA)
    wanted = cv2.remap(means, (x + 0.5) * wide - 0.5, (y + 0.5) * high - 0.5, cv2.INTER_LINEAR).astype(float)
    assert got.mean() == pytest.approx(wanted.mean(), abs=1.0)
    assert got.std() == pytest.approx(wanted.std(), rel=0.25)
    assert np.corrcoef(got.ravel(), wanted.ravel())[0, 1] > 0.8


def test_places_stay_where_they_are() -> None:
    ramp = np.tile(np.arange(256, dtype=np.uint8), (64, 1))
    for step_px in (1.4, 2.0, 2.6, 5.0, 8.0):
        small, factor = for_steps(ramp, step_px)
        column = np.full((1, 1), (100.5) / factor - 0.5, np.float32)
        read = cv2.remap(small, column, np.full((1, 1), 32 / factor, np.float32), cv2.INTER_LINEAR)
        assert float(read[0, 0]) == pytest.approx(100.0, abs=1.0)
