"""The phone and the way: which camera, what EXIF tells, what a messenger does to the file."""

import math
from dataclasses import replace

import numpy as np

from sample_images_synthetic.studio.camera import Camera, Pose
from sample_images_synthetic.studio.deliver import Delivery
from sample_images_synthetic.studio.scene import Scene

NOWHERE = Pose(np.eye(3), np.zeros(3))


def draw_camera(rng: np.random.Generator, *, large: bool = True) -> Camera:
    """Draw a phone: main lens three times of four, else the second one; 3 megapixels or, if ``large``, seldom 12."""
    f35 = float(rng.uniform(24, 28) if rng.random() < 0.78 else rng.uniform(48, 52))
    long, short = (4032, 3024) if large and rng.random() < 0.035 else (2016, 1512)
    width, height = (long, short) if rng.random() < 0.5 else (short, long)
    return Camera(f35, width, height, round(float(np.clip(rng.normal(0, 0.012), -0.03, 0.03)), 5), NOWHERE)


def draw_delivery(rng: np.random.Generator, camera: Camera) -> Delivery:
    """Draw EXIF truth and lies, orientation, quality; every fourth photo is a messenger's copy."""
    if rng.random() < 0.27:
        return messenger_copy(rng, camera)
    nominal = round(camera.f35_mm)
    lie = rng.random()
    told: int | None = nominal
    if lie < 0.2:
        told = round(camera.f35_mm * float(rng.choice([0.94, 0.96, 1.04, 1.06])))
    elif lie < 0.32:
        told = None
    elif lie < 0.37:
        told = int(rng.choice([0, 1, 4, 4000]))
    orientation = int(rng.choice([1, 3, 6, 8, 2, 4, 5, 7], p=[0.4, 0.12, 0.25, 0.11, 0.03, 0.03, 0.03, 0.03]))
    return Delivery(draw_quality(rng, camera), orientation, told)


def messenger_copy(rng: np.random.Generator, camera: Camera) -> Delivery:
    """Draw a messenger's copy: smaller, recompressed, without EXIF; often cropped or a screenshot."""
    crop, border = None, (0, 0, 0, 0)
    style = rng.random()
    if style < 0.45:
        crop = (0, 0, camera.width, camera.height)  # the caller's `tightened` cuts off centre
    scale = math.sqrt(float(rng.uniform(1.0, 2.0)) * 1e6 / (camera.width * camera.height))
    if style > 0.7:
        bar = int(rng.integers(60, 260))
        border = (0, bar, 0, bar + int(rng.integers(0, 80))) if rng.random() < 0.6 else (bar, 0, bar, 0)
    qualities = (int(rng.integers(80, 95)), int(rng.integers(70, 85)))
    grey = int(rng.choice([0, 0, 18, 255]))
    return Delivery(int(rng.integers(75, 86)), 1, None, False, crop, min(scale, 1.0), border, grey, qualities)


def tightened(scene: Scene) -> Scene:
    """Cut a copy that is marked for cropping: off centre, all figures kept inside."""
    delivery, camera = scene.delivery, scene.camera
    if delivery.crop is None:
        return scene
    rng = scene.rng("crop")
    points = camera.project(np.concatenate([scene.rim_mm(), scene.figure_mm()]))
    low, high = np.maximum(points.min(axis=0) - 25, 0), points.max(axis=0) + 25
    size = np.array([camera.width, camera.height])
    left_top = (low * rng.uniform(0.0, 1.0, 2)).astype(int)
    right_bottom = np.minimum(size - (size - np.minimum(high, size)) * rng.uniform(0.0, 1.0, 2), size).astype(int)
    w, h = (int(v) for v in right_bottom - left_top)
    scale = min(1.0, math.sqrt(float(rng.uniform(0.8, 1.8)) * 1e6 / (w * h)))
    return replace(scene, delivery=replace(delivery, crop=(int(left_top[0]), int(left_top[1]), w, h), scale=scale))


def draw_quality(rng: np.random.Generator, camera: Camera) -> int:
    """JPEG quality 75 to 95; 12 megapixels are kept below 86 for the repository's sake."""
    most = 95 if camera.width * camera.height < 4e6 else 85
    return 75 + round((most - 75) * float(rng.beta(1.1, 2.0)))
