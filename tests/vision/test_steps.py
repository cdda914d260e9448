import numpy as np
import pytest

from tests.vision.drawn import TiltedFace
from vision.steps import RAYS, Strip, find_steps
from vision.top_view import top_view

Picture = np.ndarray[tuple[int, ...], np.dtype[np.uint8]]
FACE = TiltedFace(165.0, 2.0, (400.0, 400.0), np.radians(20), 0.6)
EDGES_MM = (88.0, 107.0)


@pytest.fixture(scope="module")
def bgr() -> Picture:
    """A dark middle, a grey band and a bright ring, with noise, on a face that is tilted."""
    rows, columns = np.mgrid[0:801, 0:801]
    pixels = np.stack([columns.ravel(), rows.ravel()], axis=-1).astype(float)
    radius = np.hypot(*FACE.to_plane(pixels).T).reshape(rows.shape)
    level = np.select([radius < EDGES_MM[0], radius < EDGES_MM[1]], [60.0, 110.0], 160.0)
    noisy = level + np.random.default_rng(8).normal(0, 6, level.shape)
    return np.repeat(np.clip(noisy, 0, 255).astype(np.uint8)[..., None], 3, axis=2)


def test_edges_stand_out_where_they_are(bgr: Picture) -> None:
    steps = find_steps(Strip.read(bgr, top_view(bgr[..., 0], FACE), (70.0, 140.0), 0.0))
    strong = np.sort(np.argsort(-steps.features[:, 0])[:2])
    np.testing.assert_allclose(steps.radii_mm[strong], EDGES_MM, rtol=0, atol=0.6)


def test_the_gap_to_the_hat_is_told_by_one_feature(bgr: Picture) -> None:
    strip = Strip.read(bgr, top_view(bgr[..., 0], FACE), (70.0, 140.0), 0.0)
    for hat_mm in (None, 84.0):
        gaps = find_steps(strip, hat_mm).features[:, -7:]
        np.testing.assert_array_equal(gaps.sum(axis=1), 1.0)
    assert find_steps(strip, 84.0).features[:, -1].sum() == 0


def test_hidden_rays_count_for_nothing(bgr: Picture) -> None:
    strip = Strip.read(bgr, top_view(bgr[..., 0], FACE), (70.0, 140.0), 0.0)
    hidden = strip.beyond(np.full(RAYS, 98.0))
    assert not hidden.seen[:, strip.radii_mm <= 98].any()
    assert (find_steps(hidden).radii_mm > 98).all()


def test_an_even_face_has_no_edges() -> None:
    even = np.full((801, 801, 3), 90, np.uint8)
    steps = find_steps(Strip.read(even, top_view(even[..., 0], FACE), (70.0, 140.0), 0.0))
    assert steps.radii_mm.shape == (0,)
    assert len(steps.features) == 0
