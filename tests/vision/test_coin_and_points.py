"""Coins among other circles, and two marked points."""

import numpy as np
import pytest

from tests.vision.lying_scene import RIM_MM, coin_on, disc, photograph
from vision.ellipse import Ellipse
from vision.measurement import FloatArray
from vision.references.coin import coin_beside, find_coins
from vision.references.parse import COINS, parse_kind
from vision.references.points import place_points
from vision.references.sides import to_pixels

EUR_2 = COINS["coin:eur-2"]
RADIUS_SHARE = 0.012


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


def test_the_edge_is_found_beside_any_of_a_coins_rings() -> None:
    picture, floor = photograph(coin_on((60.0, 105.0)))
    edge = Ellipse.through(to_pixels(floor.homography, np.array([60.0, 105.0]) + 12.875 * unit_circle()))
    for size in (0.8, 1.0, 1.2):
        coin = coin_beside(picture, edge.grown(size))
        assert coin.ellipse.radius_px == pytest.approx(edge.radius_px, rel=RADIUS_SHARE)


def unit_circle() -> FloatArray:
    angle = np.arange(36) * (2 * np.pi / 36)
    return np.stack([np.cos(angle), np.sin(angle)], axis=-1)


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
    assert moved.rim_radius_mm == RIM_MM
