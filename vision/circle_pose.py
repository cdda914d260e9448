"""A circle seen as an ellipse: the two poses it may have."""

import itertools

import numpy as np

from vision.camera import Camera, Pose, facing
from vision.measurement import FloatArray


def conic_of(centre_px: FloatArray, half_axes_px: FloatArray, angle_rad: float) -> FloatArray:
    """Return the symmetric matrix (3, 3) of an ellipse: ``p @ conic @ p == 0`` for points ``p = (x, y, 1)`` on it.

    Parameters
    ----------
    centre_px : (2,) ndarray
    half_axes_px : (2,) ndarray
        Along and across the direction ``angle_rad`` (from x towards y).
    angle_rad : float
    """
    cos, sin = np.cos(angle_rad), np.sin(angle_rad)
    turn = np.array([[cos, -sin], [sin, cos]])
    shape = turn @ np.diag(1.0 / np.asarray(half_axes_px) ** 2) @ turn.T
    lever = shape @ centre_px
    return np.block([[shape, -lever[:, None]], [-lever[None, :], np.array([[centre_px @ lever - 1.0]])]])


def circle_poses(conic_px: FloatArray, camera: Camera, radius_mm: float) -> list[Pose]:
    """Find the poses of a circle of known radius whose picture is the given ellipse; distortion is left out.

    Returns
    -------
    list of Pose
        Two, facing the camera; nearly equal when the circle is seen square on.

    References
    ----------
    Q. Chen, H. Wu, T. Wada, "Camera calibration with two arbitrary coplanar circles", ECCV 2004, section 2: the
    circle's support plane and centre from the eigenvectors of the cone through its picture.
    """
    lens = np.array(
        [
            [float(camera.focal_px), 0.0, float(camera.centre_x_px)],
            [0.0, float(camera.focal_px), float(camera.centre_y_px)],
            [0.0, 0.0, 1.0],
        ]
    )
    cone = lens.T @ conic_px @ lens
    values, vectors = np.linalg.eigh(cone)
    if np.sum(values > 0) == 1:
        values, vectors = -values, vectors
        values, vectors = values[::-1], vectors[:, ::-1]
    small, mid, large = values[0], values[1], values[2]
    lean = np.sqrt(max(0.0, (large - mid) / (large - small)))
    rise = np.sqrt(max(0.0, (mid - small) / (large - small)))
    distance_mm = mid * radius_mm / np.sqrt(-large * small)
    poses = []
    for turn_lean, turn_rise in itertools.product((1.0, -1.0), repeat=2):
        normal = vectors @ np.array([turn_rise * rise, 0.0, turn_lean * lean])
        centre = distance_mm * (
            vectors @ np.array([turn_rise * large / mid * rise, 0.0, turn_lean * small / mid * lean])
        )
        if centre[2] < 0:
            centre, normal = -centre, -normal
        if normal @ centre > 0:
            normal = -normal
        poses.append(Pose(facing(normal), centre))
    return _distinct(poses, conic_px, camera, radius_mm)


def _distinct(poses: list[Pose], conic_px: FloatArray, camera: Camera, radius_mm: float) -> list[Pose]:
    """Keep the two poses that project back onto the ellipse best and differ."""

    def miss(pose: Pose) -> float:
        pixels = camera.pixels(pose.camera_points(circle(radius_mm, 16)))
        lifted = np.column_stack([pixels, np.ones(len(pixels))])
        return float(np.abs(np.einsum("ni,ij,nj->n", lifted, conic_px, lifted)).max())

    ordered = sorted(poses, key=miss)
    best = ordered[0]
    other = max(ordered[1:3], key=lambda pose: float(np.linalg.norm(pose.rotation[:, 2] - best.rotation[:, 2])))
    return [best, other]


def circle(radius_mm: float, count: int, height_mm: float = 0.0) -> FloatArray:
    """Return ``count`` points (N, 3) round the rotor's axis."""
    angle = np.arange(count) * (2 * np.pi / count)
    return np.stack([radius_mm * np.cos(angle), radius_mm * np.sin(angle), np.full(count, height_mm)], axis=-1)
