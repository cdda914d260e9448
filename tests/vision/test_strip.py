"""The strip beside a thin thing's edge: shadow and wall told from the edge, ringing and print left alone."""

import numpy as np
import pytest

from tests.vision.flat import photographed
from vision.measurement import FloatArray
from vision.photo import Pixels
from vision.references.strip import SideEdge, side_edge

PLACE_PX = 0.35
SIZE = (120, 80)
EDGE_AT = 40.3


def banded(levels: list[tuple[float, float]], noise: float = 1.5) -> Pixels:
    """Draw upright bands: each ``(level, right end)``; the last reaches the border."""
    x = (np.arange(SIZE[1] * 8) + 0.5) / 8 - 0.5
    row = np.full(len(x), levels[-1][0])
    for level, end in reversed(levels[:-1]):
        row[x < end] = level
    linear = np.tile(row.reshape(-1, 8).mean(axis=1), (SIZE[0], 1)).astype(np.float32)
    grey = photographed(linear, blur_px=0.9, noise=noise)
    return np.repeat(grey[..., None], 3, axis=2)


def read(picture: Pixels, taken_at: float) -> SideEdge | None:
    feet: FloatArray = np.stack([np.full(80, taken_at), np.linspace(10, 110, 80)], axis=-1)
    return side_edge(picture, feet, np.broadcast_to(np.array([1.0, 0.0]), feet.shape), 5.0)


def test_a_plain_step_has_no_strip() -> None:
    edge = read(banded([(0.7, EDGE_AT), (0.3, 80)]), EDGE_AT + 0.4)
    assert edge is not None
    assert edge.strip_px == 0.0
    assert edge.shift_px == pytest.approx(-0.4, abs=PLACE_PX)
    assert edge.bright_inside == 1.0


@pytest.mark.parametrize("inside", [0.35, 0.25])
def test_a_shadow_beside_a_darker_thing_is_passed_over(inside: float) -> None:
    # The steepest edge is the shadow's, 2.6 px outside the thing's own.
    edge = read(banded([(inside, EDGE_AT), (0.05, EDGE_AT + 2.6), (0.7, 80)]), EDGE_AT + 2.6)
    assert edge is not None
    assert edge.shift_px == pytest.approx(-2.6, abs=PLACE_PX)
    assert edge.strip_px == pytest.approx(2.6, abs=2 * PLACE_PX)
    assert edge.bright_inside == 1.0


def test_a_brighter_line_inside_is_no_wall() -> None:
    edge = read(banded([(0.5, EDGE_AT - 2.0), (0.62, EDGE_AT), (0.1, 80)]), EDGE_AT)
    assert edge is not None
    assert abs(edge.shift_px) < PLACE_PX


def test_a_sharpened_dark_edge_keeps_its_place() -> None:
    edge = read(banded([(0.22, EDGE_AT - 1.0), (0.17, EDGE_AT), (0.6, 80)]), EDGE_AT)
    assert edge is not None
    assert abs(edge.shift_px) < PLACE_PX


def test_no_step_gives_none_and_a_dark_thing_is_told() -> None:
    assert read(banded([(0.4, 80)]), 40.0) is None
    dark = read(banded([(0.02, EDGE_AT), (0.6, 80)]), EDGE_AT)
    assert dark is not None
    assert dark.bright_inside < 0


def test_a_thing_too_small_for_a_strip_has_no_side_to_read() -> None:
    feet: FloatArray = np.stack([np.full(80, EDGE_AT), np.linspace(10, 110, 80)], axis=-1)
    outward = np.broadcast_to(np.array([1.0, 0.0]), feet.shape)
    picture = banded([(0.7, EDGE_AT), (0.3, SIZE[1])])
    assert side_edge(picture, feet, outward, 0.4) is None
    assert side_edge(picture, feet, outward, 5.0) is not None
