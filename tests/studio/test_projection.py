"""Truth in pixels against independent code: OpenCV's projectPoints, and marks found again in delivered files."""

import io
import json
from dataclasses import replace
from pathlib import Path
from typing import Any

import cv2
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.typing import NDArray
from PIL import Image, ImageOps

from sample_images_synthetic.studio.camera import Camera, film_size, look_at, tilted
from sample_images_synthetic.studio.deliver import STORED, Delivery, delivered
from sample_images_synthetic.studio.develop import bent
from sample_images_synthetic.studio.draw import draw_scene

FOLDER = Path(__file__).resolve().parents[2] / "sample_images_synthetic"
ROUNDED_PX = 0.001
"""Truth is written to a thousandth of a pixel."""

BICUBIC_PX = 0.07
"""OpenCV's bicubic kernel (a = -0.75, steps of 1/32 pixel) shifts a picture by up to this."""

RESIZED_PX = 0.2
"""A resized copy has whole pixels on both sides: its two scales, hence focal lengths, differ by up to 0.05 %."""

RODRIGUES_PX = 0.02
"""OpenCV's rotation vector loses digits near half a turn, as which looking straight down counts."""

SEEDED = [
    pytest.param(name, row, id=row["id"])
    for name in ("checking", "fitting")
    for row in json.loads((FOLDER / name / "truth.json").read_text())[::2]
]


def by_opencv(points_mm: NDArray[np.float64], camera: Camera) -> NDArray[np.float64]:
    turn, _ = cv2.Rodrigues(camera.pose.rotation)
    lens = np.array([camera.k1, 0, 0, 0, 0])
    xy, _ = cv2.projectPoints(points_mm, turn, camera.pose.translation_mm, camera.matrix, lens)
    return np.asarray(xy, np.float64).reshape(-1, 2)


@pytest.mark.parametrize(("set_name", "row"), SEEDED)
def test_truth_is_where_opencv_projects_the_seeds_scene(set_name: str, row: dict[str, Any]) -> None:
    scene = draw_scene(set_name, int(row["id"][1:]))
    camera = scene.camera
    for points_mm, key in ((scene.rim_mm(), "rim_px"), (scene.figure_mm(), "reference_px")):
        if len(points_mm):
            xy = scene.delivery.moved(by_opencv(points_mm, camera), camera.width, camera.height)
            np.testing.assert_allclose(xy, row[key], rtol=0, atol=ROUNDED_PX)


@pytest.mark.parametrize(("set_name", "row"), SEEDED)
def test_stated_focal_length_and_principal_point_rebuild_the_rim(set_name: str, row: dict[str, Any]) -> None:
    scene, camera = draw_scene(set_name, int(row["id"][1:])), row["camera"]
    if scene.rotor is None:
        assert row["rim_px"] == []
        return
    matrix = np.array([[camera["focal_px"], 0, 0], [0, camera["focal_px"], 0], [0, 0, 1.0]])
    matrix[:2, 2] = camera["principal_px"]
    lens = np.array([camera["k1"], 0, 0, 0, 0])
    seen, rim = np.array(row["rim_px"]), scene.rim_mm() * [1, 1, 0]
    found, turns, shifts, _ = cv2.solvePnPGeneric(rim, seen, matrix, lens, flags=cv2.SOLVEPNP_IPPE)
    assert found
    misfits = []
    for turn, shift in zip(turns, shifts, strict=True):
        pose = cv2.solvePnPRefineLM(rim, seen, matrix, lens, turn, shift)
        again, _ = cv2.projectPoints(rim, *pose, matrix, lens)
        misfits.append(np.abs(again.reshape(-1, 2) - seen).max())
    assert min(misfits) < (RESIZED_PX if row["made"]["copy"] else 0.05)


def camera_with(k1: float) -> Camera:
    return Camera(26.0, 640, 480, k1, look_at([10, -20, 0], tilted(20, -70), 600, 8))


@pytest.mark.parametrize("k1", [-0.03, 0.0, 0.03])
def test_a_bent_picture_shows_a_point_where_the_camera_projects_it(k1: float) -> None:
    camera = camera_with(k1)
    width, height = film_size(camera)
    pinhole = replace(camera, k1=0.0)
    for point in ([0.0, 0.0, 0.0], [130.0, 90.0, 0.0], [-170.0, -80.0, -20.0]):
        film = pinhole.project([point])[0] + np.array([width - camera.width, height - camera.height]) / 2
        picture = np.repeat(spot((height, width), film)[..., None], 3, axis=2)
        found = centroid(bent(picture, camera)[..., 1])
        np.testing.assert_allclose(found, camera.project([point])[0], rtol=0, atol=BICUBIC_PX)


def spot(shape: tuple[int, int], xy: NDArray[np.float64], sigma: float = 3.0) -> NDArray[np.float32]:
    y, x = np.mgrid[: shape[0], : shape[1]]
    return np.asarray(np.exp(-((x - xy[0]) ** 2 + (y - xy[1]) ** 2) / (2 * sigma**2)), np.float32)


def centroid(picture: NDArray[Any]) -> NDArray[np.float64]:
    weight = np.clip(picture.astype(np.float64) - 0.02 * picture.max(), 0, None)
    y, x = np.mgrid[: picture.shape[0], : picture.shape[1]]
    return np.asarray([(weight * x).sum(), (weight * y).sum()] / weight.sum(), np.float64)


DELIVERIES = {
    "phone": Delivery(95),
    "small": Delivery(95, scale=0.43, exif=False),
    "cropped": Delivery(95, crop=(31, 17, 411, 333), scale=0.7, exif=False),
    "screenshot": Delivery(95, scale=0.8, border_px=(0, 90, 0, 41), exif=False, recompressed=(90, 80)),
    **{f"orientation {turn}": Delivery(95, turn, 26) for turn in STORED},
}


@pytest.mark.parametrize("how", DELIVERIES.values(), ids=DELIVERIES)
def test_a_mark_is_found_where_the_delivery_moves_it(how: Delivery) -> None:
    at = np.array([203.4, 151.7])
    grey = np.rint(spot((480, 640), at, 5.0) * 250).astype(np.uint8)
    with Image.open(io.BytesIO(delivered(np.repeat(grey[..., None], 3, axis=2), how))) as image:
        shown = np.asarray(ImageOps.exif_transpose(image).convert("L"))
    assert shown.shape[::-1] == how.size(640, 480)
    np.testing.assert_allclose(centroid(shown), how.moved([at], 640, 480)[0], rtol=0, atol=0.06)


@given(st.floats(0, 70), st.floats(-180, 180), st.floats(-180, 180), st.floats(-0.03, 0.03), st.floats(400, 3000))
def test_projection_agrees_with_opencv_for_any_camera(
    tilt_deg: float, azimuth_deg: float, roll_deg: float, k1: float, distance_mm: float
) -> None:
    pose = look_at([5.0, -9.0, 2.0], tilted(tilt_deg, azimuth_deg), distance_mm, roll_deg)
    camera = Camera(26.0, 2016, 1512, k1, pose)
    points = np.random.default_rng(1).uniform(-150, 150, (40, 3)) * [1, 1, 0.3]
    np.testing.assert_allclose(camera.project(points), by_opencv(points, camera), rtol=0, atol=RODRIGUES_PX)
    assert abs(np.linalg.det(pose.rotation) - 1) < 1e-12
    assert pose.tilt_deg == pytest.approx(tilt_deg, abs=1e-5)
