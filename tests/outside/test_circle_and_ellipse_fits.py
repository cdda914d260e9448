"""The fits that measure, on published points."""

import numpy as np
import pytest

from vision.ellipse import Ellipse
from vision.figure import EdgeSamples
from vision.scene import fit_scene
from vision.terms import CircleTerm
from vision.unknowns import Unknowns

# W. Gander, G. Golub, R. Strebel, "Least-squares fitting of circles and ellipses", BIT 34 (1994) 558-578.
GGS_CIRCLE = np.array([[1, 7], [2, 6], [5, 8], [7, 7], [9, 5], [3, 7]], float)
GGS_ELLIPSE = np.array([[1, 7], [2, 6], [5, 8], [7, 7], [9, 5], [3, 7], [6, 2], [8, 4]], float)
# SciPy Cookbook, "Least squares circle": the arc, and its fit by orthogonal distances.
COOKBOOK_ARC = np.array([[36, 14], [36, 10], [19, 28], [18, 31], [33, 18], [26, 26]], float)


def circle_by_the_scene(points: np.ndarray, start: tuple[float, float, float]) -> tuple[float, float, float]:
    """Fit a circle with the scene's own machinery: a camera that looks straight down, one pixel a millimetre."""
    far, size = 1000.0, (41, 41)
    unknowns = Unknowns()
    fixed = {"log_focal": np.log(far), "shift_x": 0.0, "shift_y": 0.0, "k1": 0.0, "lean_x": 0.0, "lean_y": 0.0}
    for name, value in {**fixed, "log_far": np.log(far), "bloom": 0.0, "rim_offset": 0.0}.items():
        unknowns.add(name, value, 1e-3, std=1e-9)
    unknowns.add("at_x", (start[0] - 20) / far, 1e-3)
    unknowns.add("at_y", (start[1] - 20) / far, 1e-3)
    unknowns.add("log_rim", np.log(start[2]), 0.1)
    count = len(points)
    # A wide stated noise keeps every weight at one: plain geometric least squares.
    samples = EdgeSamples(points, np.ones(count), np.full(count, 1e3), np.zeros(count, int))
    down = np.diag([1.0, -1.0, -1.0])
    scene = fit_scene(unknowns, [CircleTerm(samples, "log_rim", {"": 0.0}, "rim_offset")], down, size, rounds=6)
    x, y, _ = scene.pose.centre_mm
    return x + 20, y + 20, scene.rim_radius_mm


def test_geometric_circle_of_gander_golub_strebel() -> None:
    # Published: centre 4.7398, 2.9835, radius 4.7142.
    found = circle_by_the_scene(GGS_CIRCLE, (5.0, 4.0, 4.0))
    np.testing.assert_allclose(found, (4.7398, 2.9835, 4.7142), rtol=0, atol=2e-3)


def test_geometric_circle_of_the_cookbook_arc() -> None:
    # Published: 9.88757, 3.68750, 27.35044; the algebraic radius, 20.83, is 24 % low.
    found = circle_by_the_scene(COOKBOOK_ARC, (15.0, 9.0, 21.0))
    np.testing.assert_allclose(found, (9.88757, 3.68750, 27.35044), rtol=0, atol=2e-2)


def test_direct_ellipse_of_gander_golub_strebel() -> None:
    # The direct fit (Fitzgibbon) of these points by scikit-image's EllipseModel and cv2.fitEllipseDirect agree:
    # centre 5.0639, 5.0698, half axes 3.7757, 2.6423, direction 2.7555 rad.
    found = Ellipse.through(GGS_ELLIPSE)
    np.testing.assert_allclose(found.centre_px, (5.0639, 5.0698), rtol=0, atol=1e-3)
    np.testing.assert_allclose(sorted(found.half_axes_px), (2.6423, 3.7757), rtol=0, atol=1e-3)
    along = found.angle_rad + (0.0 if found.half_axes_px[0] > found.half_axes_px[1] else np.pi / 2)
    assert np.cos(2 * (along - 2.7555)) == pytest.approx(1.0, abs=1e-4)
