"""Coins among other circles, and two marked points."""

import numpy as np
import pytest

from tests.vision.lying_scene import RIM_MM, Thing, photograph
from vision.references.circles import LOG_RATIOS, find_rings, read_profiles
from vision.references.coin import Spot, find_coins, rivals_std
from vision.references.coin_look import coin_look
from vision.references.floor import Floor
from vision.references.parse import COINS, parse_kind
from vision.references.points import place_points
from vision.references.sides import to_pixels

EUR_2 = COINS["coin:eur-2"]
RADIUS_SHARE = 0.012


def disc(diameter_mm: float, xy_mm: tuple[float, float], colour: tuple[float, float, float]) -> Thing:
    return Thing((diameter_mm, diameter_mm), diameter_mm / 2, xy_mm, 0.0, colour)


def coin_on(xy_mm: tuple[float, float], colour: tuple[float, float, float] = (0.35, 0.55, 0.62)) -> list[Thing]:
    """Draw a coin of two metals with a raised rim."""
    inner = (0.5, 0.52, 0.55)
    edge = (0.2, 0.33, 0.4)
    return [disc(25.75, xy_mm, colour), disc(22.4, xy_mm, edge), disc(22.0, xy_mm, colour), disc(18.0, xy_mm, inner)]


@pytest.mark.parametrize("tilt_deg", [0.0, 20.0])
def test_a_coin_is_measured_by_its_outermost_ring(tilt_deg: float) -> None:
    picture, floor = photograph(coin_on((60.0, 105.0)), tilt_deg=tilt_deg)
    found = find_coins(picture, [floor], EUR_2, lies="face")[0]
    on_plane = floor.to_plane(found.samples.xy_px)
    radius = np.hypot(*(on_plane - np.array([60.0, 105.0])).T)
    assert abs(np.median(radius) / 12.875 - 1) < RADIUS_SHARE
    assert len(found.samples) > 60


def test_a_shadow_at_the_coins_foot_is_not_its_edge() -> None:
    shadow = disc(26.5, (61.3, 103.6), (0.05, 0.05, 0.05))
    picture, floor = photograph([shadow, *coin_on((60.0, 105.0))], ring=0.6)
    found = find_coins(picture, [floor], EUR_2, lies="face")[0]
    radius = np.hypot(*(floor.to_plane(found.samples.xy_px) - np.array([60.0, 105.0])).T)
    assert abs(np.median(radius) / 12.875 - 1) < RADIUS_SHARE


def test_repeated_discs_are_no_coins() -> None:
    holes = [disc(20.0, (125 * np.cos(a), 125 * np.sin(a)), (0.03, 0.03, 0.03)) for a in np.arange(8) * np.pi / 4]
    picture, floor = photograph([*holes, *coin_on((46.0, 118.0))])
    found = find_coins(picture, [floor], EUR_2, lies="face")[0]
    centre = floor.to_plane(found.corners_px).mean(axis=0)
    assert np.hypot(*(centre - np.array([46.0, 118.0]))) < 3.0


def test_nothing_round_gives_none() -> None:
    picture, floor = photograph([])
    assert find_coins(picture, [floor], EUR_2, lies="face") == []
    assert find_coins(np.zeros((400, 500, 3), np.uint8), [floor], EUR_2, lies="face") == []


def test_of_concentric_rings_the_edge_is_told_by_the_others() -> None:
    picture, floor = photograph(coin_on((60.0, 105.0)))
    read = read_profiles(picture, floor, np.array([61.5, 104.0]), 11.0)
    rings = find_rings(read)[0]
    np.testing.assert_allclose(np.array([61.5, 104.0]) + rings.shift_mm, (60.0, 105.0), rtol=0, atol=0.2)
    told_mm = 11.0 * np.exp(LOG_RATIOS[coin_look().odds(rings).argmax()])
    assert told_mm == pytest.approx(12.875, rel=0.02)


def test_another_ring_that_may_be_the_edge_widens_the_size() -> None:
    floor = photograph([])[1]

    def circle(radius_mm: float, odds: float, x_mm: float = 60.0) -> Spot:
        return Spot(floor, np.array([x_mm, 105.0]), radius_mm, odds)

    edge = circle(12.0, 9.0)
    assert rivals_std(edge, [edge, circle(12.7, 9.0)]) == pytest.approx(0.028, abs=0.002)
    assert 0 < rivals_std(edge, [edge, circle(12.7, 8.0)]) < rivals_std(edge, [edge, circle(12.7, 9.0)])
    assert rivals_std(edge, [edge, circle(12.7, 1.0), circle(12.7, 9.0, 90.0)]) == 0.0


def test_points_are_a_length_and_a_line() -> None:
    sighting = place_points(parse_kind("points:100,200,400,600,250"))
    ends = to_pixels(sighting.pose, np.array([[-125.0, 0.0], [125.0, 0.0]]))
    np.testing.assert_allclose(ends, [[100, 200], [400, 600]], rtol=0, atol=1e-9)
    assert len(sighting.samples) == 4
    assert not sighting.samples.bright_inside.any()
    with pytest.raises(ValueError, match="points is needed"):
        place_points(EUR_2)


def test_the_floor_carries_pixels_to_the_plane_and_back() -> None:
    floor = photograph([])[1]
    points = np.array([[10.0, -30.0], [90.0, 60.0]])
    seen = to_pixels(floor.homography, points)
    np.testing.assert_allclose(floor.to_plane(seen), points, rtol=0, atol=1e-9)
    moved = floor.moved((40, 30)).reduced(2.5)
    np.testing.assert_allclose(moved.to_plane((seen - [40, 30] + 0.5) / 2.5 - 0.5), points, rtol=0, atol=1e-9)
    assert isinstance(moved, Floor)
    assert moved.rim_radius_mm == RIM_MM
