import numpy as np

from vision.edge_points import EdgePoints, settled
from vision.ellipse import Ellipse

RIM = Ellipse(np.array([600.0, 500.0]), np.array([400.0, 330.0]), 0.3)
WALL = Ellipse(np.array([600.0, 560.0]), np.array([395.0, 328.0]), 0.3)


def chain(ellipse: Ellipse, first: int, last: int) -> np.ndarray:
    """Whole pixels along part of an ellipse, as EdgeDrawing gives them."""
    return np.rint(ellipse.points(2000)[0][np.arange(first, last) % 2000])


def test_an_ellipse_drawn_aside_by_another_curve_settles_on_what_holds_most_of_it() -> None:
    chains = [chain(RIM, 900, 2200), chain(WALL, 350, 600)]
    mixture = Ellipse.through(np.concatenate(chains))
    points = EdgePoints.of(chains, 1.0)
    found = settled(mixture, points)
    assert points.coverage(found) > 2 * points.coverage(mixture)
    np.testing.assert_allclose(found.centre_px, RIM.centre_px, atol=1.0)
    np.testing.assert_allclose(np.sort(found.half_axes_px), np.sort(RIM.half_axes_px), atol=1.5)


def test_an_ellipse_that_no_other_beats_stays() -> None:
    points = EdgePoints.of([chain(RIM, 0, 2000)], 1.0)
    assert settled(RIM, points) is RIM


def test_places_are_those_of_the_whole_photo() -> None:
    small = Ellipse(np.array([299.75, 249.75]), RIM.half_axes_px / 2, RIM.angle_rad)
    points = EdgePoints.of([chain(small, 0, 2000)], 0.5)
    assert points.coverage(RIM) > 0.95
    assert points.step_px == 2.0


def test_no_edges_settle_nothing() -> None:
    assert settled(RIM, EdgePoints.of([], 1.0)) is RIM
