"""Cards and sheets: found whatever their print and ground, their sides to a fraction of a pixel."""

from dataclasses import replace

import numpy as np
import pytest

from tests.vision.lying_scene import PX_PER_MM, RIM_MM, Thing, corners_px, photograph
from vision.figure import Sighting
from vision.measurement import FloatArray
from vision.references.card import find_cards
from vision.references.floor import Floor
from vision.references.parse import CARD, SHEETS
from vision.references.sheet import find_sheets

SIDE_PX = 0.35
CARD_MM = (85.60, 53.98)
# Where a sheet ends that lies lengthwise under the rotor, from its axis.
NEAR_MM = -240.0
# Drawn cards have neither wall nor shadow: what those do to an edge is tested on rendered ones (`test_walls`).
DRAWN = replace(CARD, thickness_mm=0.0)


def card(colour: float | tuple[float, float, float], xy_mm: tuple[float, float] = (10.0, 122.0)) -> Thing:
    rgb = (colour,) * 3 if isinstance(colour, float) else colour
    return Thing(CARD_MM, 3.18, xy_mm, 4.0, rgb)


def gap_px(found: FloatArray, truth: FloatArray) -> float:
    """Return the greatest distance between corners, whichever way round the figure was taken."""
    return min(float(np.linalg.norm(np.roll(found, turn, axis=0) - truth, axis=1).max()) for turn in (0, 2))


@pytest.mark.parametrize("colour", [0.95, 0.03, (0.35, 0.1, 0.6), (0.5, 0.4, 0.3)])
def test_a_card_on_the_face_is_found_and_measured(colour: float | tuple[float, float, float]) -> None:
    thing = card(colour)
    picture, floor = photograph([thing])
    found = find_cards(picture, [floor], DRAWN, inside=True)
    assert gap_px(found[0].corners_px, corners_px(thing, floor)) < 3 * SIDE_PX
    assert_sides(found[0], thing, floor)


def assert_sides(sighting: Sighting, thing: Thing, floor: Floor) -> None:
    """Require each side's samples, in the median, on the drawn side but for bloom toward the dark."""
    half = np.array(thing.size_mm) / 2
    to_figure = np.linalg.inv(floor.homography @ thing.figure_to_plane())
    lifted = np.column_stack([sighting.samples.xy_px, np.ones(len(sighting.samples))]) @ to_figure.T
    outside_mm = np.abs(lifted[:, :2] / lifted[:, 2:]) - half
    line = sighting.samples.side.astype(int)
    for number in np.unique(line):
        own = line == number
        off_px = PX_PER_MM * np.median(outside_mm[own, number % 2])
        assert abs(off_px) < SIDE_PX + 0.4 * np.median(sighting.samples.std_px[own]) / np.sqrt(own.sum()) * 2


def test_the_hat_and_the_bench_are_searched_too() -> None:
    on_hat, on_bench = card((0.2, 0.5, 0.3), (5.0, -8.0)), card((0.2, 0.5, 0.3), (0.0, -203.0))
    picture, floor = photograph([on_hat])
    assert gap_px(find_cards(picture, [floor], CARD, inside=True)[0].corners_px, corners_px(on_hat, floor)) < 1.0
    picture, floor = photograph([on_bench])
    assert gap_px(find_cards(picture, [floor], CARD, inside=False)[0].corners_px, corners_px(on_bench, floor)) < 1.0


def test_no_card_is_seen_where_there_is_none() -> None:
    picture, floor = photograph([Thing((60.0, 60.0), 1.0, (10.0, 120.0), 4.0, (0.8, 0.8, 0.8))])
    assert find_cards(picture, [floor], CARD, inside=True) == []


def test_the_wrong_tilt_loses_to_the_right_one() -> None:
    thing = card(0.95, (100.0, 60.0))
    picture, floor = photograph([thing], tilt_deg=24.0)
    flip = np.diag([1.0, 1.0, 1.0])
    flip[2, :2] = -2 * floor.homography[2, :2]
    wrong = Floor(floor.homography @ flip, RIM_MM)
    both = find_cards(picture, [wrong, floor], CARD, inside=True)
    # A card is found to less than a millimetre here, 1.9 px; `vision.near` looks closer.
    assert gap_px(both[0].corners_px, corners_px(thing, floor)) < 1.5


@pytest.mark.parametrize("kind", ["a4", "letter"])
def test_a_sheet_partly_under_the_rotor_is_found_by_what_shows(kind: str) -> None:
    sheet = SHEETS[kind]
    thing = Thing(sheet.size_mm, 0.01, (0.0, -112.0), 5.0, (0.85, 0.85, 0.8))
    picture, floor = photograph([thing], under=True)
    found = find_sheets(picture, [floor], sheet)
    assert_sides(found[0], thing, floor)
    # Two corners lie deep under the rotor: they are known by what shows of the sides.
    assert gap_px(found[0].corners_px, corners_px(thing, floor)) < 3.0


@pytest.mark.parametrize("kind", ["a4", "letter"])
def test_a_sheet_whose_far_side_is_hidden_may_lie_either_way(kind: str) -> None:
    sheet = SHEETS[kind]
    length_mm, width_mm = sheet.size_mm
    thing = Thing(sheet.size_mm, 0.01, (0.0, NEAR_MM + length_mm / 2), 90.0, (0.85, 0.85, 0.8))
    picture, floor = photograph([thing], under=True)
    found = find_sheets(picture, [floor], sheet)
    truth = corners_px(thing, floor)
    across = Thing((width_mm, width_mm**2 / length_mm), 0.01, (0.0, NEAR_MM + width_mm**2 / length_mm / 2))
    for corners in (truth, corners_px(across, floor)):
        assert min(gap_px(sighting.corners_px, corners) for sighting in found) < 4.0


def test_what_is_ruled_on_a_sheet_is_not_its_side() -> None:
    sheet = SHEETS["a4"]
    thing = Thing(sheet.size_mm, 0.01, (0.0, -112.0), 5.0, (0.85, 0.85, 0.8))
    turn = np.radians(5.0)
    along = np.array([np.cos(turn), np.sin(turn)])
    lines = [
        Thing((0.9, 200.0), 0.01, (at * along[0], -112.0 + at * along[1]), 5.0, (0.25, 0.3, 0.6))
        for at in np.arange(-130.0, 131.0, 20.0)
    ]
    picture, floor = photograph([thing, *lines], under=True)
    assert_sides(find_sheets(picture, [floor], sheet)[0], thing, floor)


def test_a_black_picture_shows_nothing() -> None:
    floor = photograph([])[1]
    black = np.zeros((960, 1200, 3), np.uint8)
    assert find_cards(black, [floor], CARD, inside=True) == []
    assert find_sheets(black, [floor], SHEETS["a4"]) == []
