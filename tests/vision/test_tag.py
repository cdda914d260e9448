"""Face tags: every edge to a fraction of a pixel, and a scale that bloom doesn't touch."""

from pathlib import Path

import numpy as np
import pytest

from tests.vision.flat import Paint, draw, looking, photographed
from vision.measurement import FloatArray
from vision.photo import Pixels, read_photo
from vision.references.parse import TAG, parse_kind
from vision.references.sides import to_pixels
from vision.references.tag import detect_tags, find_tags, tag_cells, tag_lines

CHECKING = Path(__file__).parents[2] / "sample_images_synthetic" / "checking"
SIZE_PX = (480, 440)
EDGE_PX = 0.05
SQUARE_MM = 20.0 * np.array([[-1.0, 1.0], [1.0, 1.0], [1.0, -1.0], [-1.0, -1.0]])


def tag_paint(
    number: int, side_mm: float = 40.0, *, dark: float = 0.04, light: float = 0.75, ground: float = 0.25
) -> Paint:
    """Paint a tag with its margin on grey ground."""
    cells = tag_cells(number)[::-1]

    def paint(x: FloatArray, y: FloatArray) -> FloatArray:
        column = np.floor((x / side_mm + 0.5) * 8).astype(int) + 1
        row = np.floor((y / side_mm + 0.5) * 8).astype(int) + 1
        inside = (row >= 0) & (row < 10) & (column >= 0) & (column < 10)
        white = cells[row.clip(0, 9), column.clip(0, 9)]
        return np.where(inside, np.where(white, light, dark), ground)

    return paint


def tag_photo(homography: FloatArray, number: int = 0, noise: float = 0.0) -> Pixels:
    return photographed(draw(tag_paint(number), homography, SIZE_PX), noise=noise)


@pytest.mark.parametrize(("tilt", "turn", "scale"), [(0, 3, 6.0), (20, 33, 5.5), (30, 140, 4.0), (10, -75, 2.5)])
def test_every_edge_sample_lies_on_its_line(tilt: float, turn: float, scale: float) -> None:
    truth = looking(tilt, turn, scale, (238.3, 211.8))
    (tag,) = find_tags(tag_photo(truth, 1, noise=1.0), TAG)
    x, y, lift = np.linalg.inv(truth) @ np.column_stack([tag.samples.xy_px, np.ones(len(tag.samples))]).T
    a, b, c = tag.figure.sides[tag.samples.side.astype(int)].T
    off_px = (a * x / lift + b * y / lift - c) * scale
    assert np.sqrt(np.mean(off_px**2)) < EDGE_PX
    assert abs(off_px.mean()) < 0.01
    np.testing.assert_allclose(tag.corners_px, to_pixels(truth, SQUARE_MM), rtol=0, atol=0.03)


def test_bloom_leaves_the_scale_alone_but_not_the_outline() -> None:
    truth = looking(15, 20, 5.0, (240, 220))
    (tag,) = find_tags(photographed(draw(tag_paint(0), truth, SIZE_PX), blur_px=1.4, gamma=2.2), TAG)
    side_px = np.linalg.norm(to_pixels(truth, SQUARE_MM)[0] - to_pixels(truth, SQUARE_MM)[1])
    found_px = np.linalg.norm(tag.corners_px[0] - tag.corners_px[1])
    assert abs(found_px / side_px - 1) < 0.0005
    # The outer square alone, taken as it looks, is small by twice the bloom.
    outer = tag.samples.side == 0
    left_px = np.linalg.inv(tag.pose) @ np.column_stack([tag.samples.xy_px[outer], np.ones(outer.sum())]).T
    assert (left_px[0] / left_px[2]).mean() > -20.0 + 0.2 / 5.0


def test_bright_side_is_told_for_every_sample() -> None:
    (tag,) = find_tags(tag_photo(looking(0, 0, 6.0, (240, 220))), TAG)
    left, right = tag.samples.side == 0, tag.samples.side == 8
    # The lines run from left to right: white margin below x = -20 and above x = +20.
    assert (tag.samples.bright_inside[left] == 1).all()
    assert (tag.samples.bright_inside[right] == -1).all()
    assert {-1.0, 1.0} == set(tag.samples.bright_inside.tolist())


def test_pose_is_right_handed_seen_from_the_camera() -> None:
    (tag,) = find_tags(tag_photo(looking(0, 0, 6.0, (240, 220))), TAG)
    np.testing.assert_allclose(to_pixels(tag.pose, np.array([[0.0, 20.0]])), [[240, 100]], rtol=0, atol=0.1)


def test_several_tags_are_told_apart() -> None:
    left, right = looking(0, 0, 3.0, (120, 220)), looking(0, 10, 3.0, (345, 220))
    picture = draw(tag_paint(0), left, SIZE_PX)
    picture[:, 240:] = draw(tag_paint(23), right, SIZE_PX)[:, 240:]
    assert {tag.figure.kind for tag in find_tags(photographed(picture), TAG)} == {"tag 0", "tag 23"}


def test_size_and_tolerance_follow_the_kind() -> None:
    homography = looking(0, 0, 6.0, (240, 220))
    (tag,) = find_tags(tag_photo(homography), parse_kind("tag:39.2"))
    assert np.abs(tag.figure.sides[:, 2]).max() == pytest.approx(19.6)
    (loose,) = find_tags(tag_photo(homography), parse_kind("tag:unmeasured"))
    assert loose.figure.size_std == (0.03, 0.0)


def test_a_photo_without_tags_and_a_tag_of_few_pixels_give_none() -> None:
    assert find_tags(np.full((400, 600), 90, np.uint8), TAG) == []
    assert find_tags(tag_photo(looking(0, 0, 0.5, (240, 220))), TAG) == []


def test_lines_of_a_tag_are_its_cells_borders() -> None:
    lines = tag_lines(40.0)
    np.testing.assert_allclose(lines[:9, 2], np.arange(-20, 21, 5.0))
    assert lines.shape == (18, 3)


def test_a_tag_with_a_hidden_border_is_found_at_a_second_look() -> None:
    grey = read_photo(CHECKING / "c078.jpg").grey
    assert detect_tags(grey, 0) == []
    assert [tag.figure.kind for tag in find_tags(grey, TAG)] == ["tag 9"]
