"""What the renderer drew lies where the truth says: rims and printed tags in clean photos.

The rim is looked for only in photos whose chamfer is lit like the face, so that the silhouette is the only edge
there (elsewhere a dark chamfer before a dark ground hides it, which is a property of the scene, not of the truth).
Black tags read smaller than they are, since a phone's blur and tone curve push bright into dark: each side's shift
is allowed for by judging opposite sides together.
"""

import json
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import cv2
import numpy as np
import pytest
from numpy.typing import NDArray
from PIL import Image, ImageOps
from scipy.signal import find_peaks

FOLDER = Path(__file__).resolve().parents[2] / "sample_images_synthetic"
WINDOW_PX = 2.5
MOST_PX = 0.5
BLOOM_PX = (-1.0, 0.35)
CLEAN_RIMS = {"first": ("s03", "s05"), "checking": ("c029", "c045", "c064", "c068", "c124")}
TAGGED = {"first": ("s01", "s03", "s05", "s07")}

FloatArray = NDArray[np.float64]
STEPS = np.arange(-4, 4.01, 0.1)


def named(ids: Mapping[str, tuple[str, ...]]) -> list[Any]:
    return [
        pytest.param(name, row, id=row["id"])
        for name, wanted in ids.items()
        for row in json.loads((FOLDER / name / "truth.json").read_text())
        if row["id"] in wanted
    ]


def photo_of(set_name: str, row: dict[str, Any]) -> NDArray[np.float32]:
    with Image.open(FOLDER / set_name / row["file"]) as image:
        shown = np.asarray(ImageOps.exif_transpose(image).convert("RGB"), np.float32)
    return np.asarray(cv2.GaussianBlur(shown, (0, 0), 0.6), np.float32)


def edge_shifts(photo: NDArray[np.float32], points: FloatArray, outward: FloatArray) -> FloatArray:
    """Shift along ``outward`` of the edge nearest to each point; points without one are left out."""
    along = np.stack([-outward[:, 1], outward[:, 0]], axis=1)
    profiles = np.mean([profile(photo, points + a * along, outward) for a in range(-3, 4)], axis=0)
    steep = np.abs(np.gradient(profiles, 0.1, axis=1)).max(axis=2)
    found = []
    for row in steep:
        peaks, _ = find_peaks(row, height=8, prominence=3)
        near = STEPS[peaks][np.abs(STEPS[peaks]) < WINDOW_PX]
        found += [near[np.abs(near).argmin()]] if len(near) else []
    return np.array(found)


def profile(photo: NDArray[np.float32], points: FloatArray, outward: FloatArray) -> NDArray[np.float32]:
    at = points[:, None] + outward[:, None] * STEPS[None, :, None]
    x, y = (at[..., i].astype(np.float32) for i in (0, 1))
    return np.asarray(cv2.remap(photo, x, y, cv2.INTER_CUBIC), np.float32)


def rim_normals(rim: FloatArray) -> FloatArray:
    along = np.roll(rim, -1, axis=0) - np.roll(rim, 1, axis=0)
    normal = np.stack([along[:, 1], -along[:, 0]], axis=1) / np.linalg.norm(along, axis=1, keepdims=True)
    return np.asarray(normal * np.sign(((rim - rim.mean(axis=0)) * normal).sum(axis=1, keepdims=True)))


@pytest.mark.parametrize(("set_name", "row"), named(CLEAN_RIMS))
def test_rim_is_rendered_within_half_a_pixel_of_its_projection(set_name: str, row: dict[str, Any]) -> None:
    photo, rim = photo_of(set_name, row), np.array(row["rim_px"])
    shifts = edge_shifts(photo, rim, rim_normals(rim))
    assert len(shifts) > 36
    assert abs(np.median(shifts)) < MOST_PX
    assert np.mean(np.abs(shifts) < MOST_PX) > 0.8


@pytest.mark.parametrize("by_px", [-1.0, 1.0])
def test_a_rim_that_is_a_pixel_off_is_noticed(by_px: float) -> None:
    set_name, row = named({"first": ("s05",)})[0].values
    rim = np.array(row["rim_px"])
    outward = rim_normals(rim)
    shifts = edge_shifts(photo_of(set_name, row), rim + by_px * outward, outward)
    assert np.median(shifts) == pytest.approx(-by_px, abs=MOST_PX)


@pytest.mark.parametrize(("set_name", "row"), named(TAGGED))
def test_tags_are_printed_where_their_corners_are_projected(set_name: str, row: dict[str, Any]) -> None:
    photo = photo_of(set_name, row)
    for corners in np.array(row["reference_px"]).reshape(-1, 4, 2):
        sides = []
        for start, end in zip(corners, np.roll(corners, -1, axis=0), strict=True):
            points = start + np.linspace(0.15, 0.85, 15)[:, None] * (end - start)
            normal = np.array([end[1] - start[1], start[0] - end[0]]) / np.linalg.norm(end - start)
            normal *= np.sign(normal @ (points.mean(axis=0) - corners.mean(axis=0)))
            sides.append(np.median(edge_shifts(photo, points, np.repeat(normal[None], len(points), axis=0))))
        for one, opposite in ((0, 2), (1, 3)):
            assert abs(sides[one] - sides[opposite]) / 2 < 0.2
        assert BLOOM_PX[0] < np.mean(sides) < BLOOM_PX[1]
