"""What of a copy the camera saw, on rendered copies whose making is known and on drawn pictures."""

import json
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from vision import read_photo
from vision.frame import Frame, frame_of, whole_of
from vision.lens import lenses, maybe_cropped, plain_camera, shift_std
from vision.photo import Photo

CHECKING = Path(__file__).parents[2] / "sample_images_synthetic" / "checking"
COPIES = [row for row in json.loads((CHECKING / "truth.json").read_text(encoding="utf-8")) if row["made"]["copy"]]


def picture(width: int, height: int) -> np.ndarray:
    return np.random.default_rng(3).integers(20, 230, (height, width)).astype(np.uint8)


def framed(grey: np.ndarray, left: int, top: int, right: int, bottom: int, level: int = 0) -> np.ndarray:
    return np.pad(grey, ((top, bottom), (left, right)), constant_values=level)


def kind_of(row: dict[str, Any]) -> str:
    if row["made"]["crop"] is not None:
        return "cut"
    return "bars" if any(row["made"]["border_px"]) else "whole"


def test_there_are_copies_of_every_kind() -> None:
    assert {kind_of(row) for row in COPIES} == {"cut", "bars", "whole"}


@pytest.mark.parametrize("row", COPIES, ids=lambda row: row["id"])
def test_a_copy_tells_what_the_camera_saw_or_that_it_was_cut(row: dict[str, Any]) -> None:
    photo = read_photo(CHECKING / row["file"])
    assert photo.is_copy
    if kind_of(row) == "cut":
        assert photo.frame is None
        return
    assert photo.frame is not None
    assert photo.frame.middle_px == pytest.approx(row["camera"]["principal_px"], abs=6.0)
    assert plain_camera(photo, row["camera"]["f35"]).focal_px == pytest.approx(row["camera"]["focal_px"], rel=0.015)


def test_bars_are_taken_off_where_they_leave_a_camera_s_shape() -> None:
    assert frame_of(framed(picture(1200, 900), 0, 120, 0, 180)) == Frame(0, 120, 1200, 900)
    assert frame_of(framed(picture(900, 1200), 200, 0, 200, 0, level=255)) == Frame(200, 0, 900, 1200)


@pytest.mark.parametrize(
    "grey",
    [picture(1000, 900), framed(picture(1000, 900), 0, 120, 0, 180), framed(picture(1200, 900), 0, 120, 0, 0)],
    ids=["odd shape", "odd between bars", "a bar on one side"],
)
def test_any_other_picture_may_have_been_cut(grey: np.ndarray) -> None:
    assert frame_of(grey) is None


def test_a_blank_picture_has_no_bars() -> None:
    assert frame_of(np.full((900, 1200), 7, np.uint8)) == whole_of(np.zeros((900, 1200), np.uint8))


def test_a_photo_with_its_camera_s_data_was_not_cut() -> None:
    photo = Photo("a.jpg", np.zeros((900, 1200, 3), np.uint8), f35_mm=26.0, has_exif=True)
    assert not photo.is_copy
    assert photo.frame == Frame(0, 0, 1200, 900)
    assert [lens.f35_mm for lens in lenses(photo)] == [26.0]


def test_the_less_is_known_of_a_copy_the_wider_its_lens_is_sought() -> None:
    own = Photo("a.jpg", np.zeros((900, 1200, 3), np.uint8), has_exif=True)
    copy = Photo("b.jpg", np.zeros((900, 1200, 3), np.uint8))
    cut = Photo("c.jpg", np.zeros((900, 1000, 3), np.uint8))
    assert shift_std(own) < shift_std(copy) < shift_std(cut)
    assert [maybe_cropped(photo) for photo in (own, copy, cut)] == [False, False, True]
    assert lenses(copy) == lenses(own)
    assert lenses(cut)[0].std > lenses(copy)[0].std
    assert sum(lens.share for lens in lenses(cut)) == pytest.approx(1.0)
