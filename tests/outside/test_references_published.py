"""References against what their standards, mints and detectors publish, and against real photos."""

from pathlib import Path

import cv2
import numpy as np
import pytest

from tests.vision.flat import draw, photographed
from tests.vision.test_tag import tag_paint
from vision.ellipse import Ellipse
from vision.figure import rectangle
from vision.measurement import FloatArray
from vision.photo import read_photo
from vision.references.coin import Spot, coin_beside, sighting_of
from vision.references.floor import Floor
from vision.references.outline import outline_feet, refine_outline
from vision.references.parse import CARD, COINS, SHEETS, TAG
from vision.references.search import corners_mm
from vision.references.tag import find_tags, tag_cells

REAL_PHOTOS = Path(__file__).parents[3] / "shared" / "real_photos"
needs_photos = pytest.mark.skipif(not REAL_PHOTOS.is_dir(), reason="the real photos lie beside the project, not in it")


def test_card_is_iso_iec_7810_id_1() -> None:
    # ISO/IEC 7810, ID-1: 85.60 x 53.98 mm; unused cards 85.47 to 85.72 by 53.92 to 54.03; 0.68 to 0.84 thick
    # (secondary copies of the standard).
    assert CARD.size_mm == (85.60, 53.98)
    low, high = np.array([85.47, 53.92]), np.array([85.72, 54.03])
    spread = np.sqrt(3.0) * np.array(CARD.size_std_mm)
    np.testing.assert_allclose(np.array(CARD.size_mm) - spread, low, rtol=0, atol=0.01)
    np.testing.assert_allclose(np.array(CARD.size_mm) + spread, high, rtol=0, atol=0.01)
    assert CARD.thickness_mm == pytest.approx((0.68 + 0.84) / 2)


def test_sheets_are_iso_216_and_asme_y14_1() -> None:
    # ISO 216: A4 210 x 297, 2 mm allowed over 150 to 600 mm. ANSI/ASME Y14.1: Letter 8.5 x 11 in.
    assert SHEETS["a4"].size_mm == (297.0, 210.0)
    assert SHEETS["letter"].size_mm == pytest.approx((11 * 25.4, 8.5 * 25.4))
    assert max(SHEETS["a4"].size_std_mm) < 2.0


@pytest.mark.parametrize(
    ("kind", "diameter_mm"),
    [
        # Regulation (EC) 975/98, kept by Council Regulation (EU) 729/2014, Annex I (EUR-Lex summary of the former).
        ("eur-2", 25.75),
        ("eur-1", 23.25),
        ("eur-0.5", 24.25),
        # US Mint, Coin Specifications: inches.
        ("usd-0.1", 0.705 * 25.4),
        ("usd-0.25", 0.955 * 25.4),
        ("usd-0.5", 1.205 * 25.4),
        ("usd-1", 1.043 * 25.4),
        ("usd-0.01", 0.750 * 25.4),
        ("usd-0.05", 0.835 * 25.4),
        # Royal Mint, 10p page.
        ("gbp-0.1", 24.5),
    ],
)
def test_coins_have_their_mints_diameters(kind: str, diameter_mm: float) -> None:
    assert COINS[f"coin:{kind}"].size_mm[0] == pytest.approx(diameter_mm, abs=0.006)


def test_the_one_pounds_mean_width_lies_within_its_published_points() -> None:
    # Royal Mint: 23.43 mm point to point. A twelve-sided figure with sharp corners of that width is 22.63 across flats
    # (geometry), and its mean diameter all round is between those.
    mean_mm = COINS["coin:gbp-1"].size_mm[0]
    assert 23.43 * np.cos(np.pi / 12) < mean_mm < 23.43


def test_tag_pose_agrees_with_solvepnp() -> None:
    # OpenCV's projectPoints draws the tag and its solvePnP reads the found corners: neither is ours.
    lens = np.array([[900.0, 0.0, 230.0], [0.0, 900.0, 215.0], [0.0, 0.0, 1.0]])
    turn, place = np.array([2.7, 0.35, -0.3]), np.array([6.0, -4.0, 240.0])
    square = 20.0 * np.array([[-1.0, 1.0, 0.0], [1.0, 1.0, 0.0], [1.0, -1.0, 0.0], [-1.0, -1.0, 0.0]])
    axes = cv2.Rodrigues(turn)[0]
    homography = lens @ np.column_stack([axes[:, 0], axes[:, 1], place])
    (tag,) = find_tags(photographed(draw(tag_paint(2), homography, (460, 430)), gamma=1.8, noise=1.0), TAG)
    projected = cv2.projectPoints(square, turn, place, lens, None)[0].reshape(4, 2)
    np.testing.assert_allclose(tag.corners_px, projected, rtol=0, atol=0.06)
    solved, _, found_place = cv2.solvePnP(square, tag.corners_px, lens, None, flags=cv2.SOLVEPNP_IPPE)
    assert solved
    np.testing.assert_allclose(found_place.ravel()[2], place[2], rtol=0.001)


def listed_tags(path: Path) -> list[FloatArray]:
    """Read a list: one tag a line, its id and four corners."""
    rows = [line.split(",", 1)[1] for line in path.read_text().splitlines() if line.strip()]
    return [
        np.array(row.replace("(", " ").replace(")", " ").replace(",", " ").split(), float).reshape(4, 2) for row in rows
    ]


def corner_gap_px(found: FloatArray, listed: FloatArray) -> float:
    orders = [np.roll(way, turn, axis=0) for way in (found, found[::-1]) for turn in range(4)]
    return min(float(np.abs(order - listed).max()) for order in orders)


@needs_photos
@pytest.mark.parametrize(
    ("photo", "least"), [("apriltag_33369213973_9d9bb4cc96_c", 6), ("apriltag_34139872896_defdb2f8d9_c", 5)]
)
def test_tags_outdoors_have_the_listed_corners(photo: str, least: int) -> None:
    # AprilRobotics/apriltag, test data (CC BY-SA 2.0): corners as that detector gave them. The tags are 25 to 45 pixels
    # wide, their edges differ by the bloom of half a pixel a side.
    listed = listed_tags(REAL_PHOTOS / f"{photo}.txt")
    found = find_tags(read_photo(REAL_PHOTOS / f"{photo}.jpg").grey, TAG)
    gaps = np.array([min(corner_gap_px(tag.corners_px, corners) for corners in listed) for tag in found])
    assert (gaps < 1.3).sum() >= least
    assert np.median(gaps) < 1.0


# Corners of the sheet and middles of the two-metal coins, read off the pictures by eye to a few pixels.
COINS_ON_A4 = {
    "migran_test.jpeg": ([(376, 738), (1095, 758), (1271, 1907), (263, 1943)], [("eur-1", (911, 1046))]),
    "migran_torcida.jpeg": ([(140, 165), (858, 144), (1037, 1090), (54, 1121)], [("eur-2", (553, 495))]),
}


@needs_photos
@pytest.mark.parametrize("photo", COINS_ON_A4)
def test_two_metal_coins_on_a4_have_their_published_diameters_within_their_stated_doubt(photo: str) -> None:
    # Photos: Migran99/EURO-Coin-Detector (MIT). Truth: ISO 216 and Regulation (EC) 975/98. These sheets curl and the
    # lens bends, which alone is 1 to 3 % across a picture; an edge of a shadow would read 2 to 6 % too large.
    picture = read_photo(REAL_PHOTOS / photo).bgr
    corners_px, coins = COINS_ON_A4[photo]
    sheet = np.array([[-105, 148.5], [105, 148.5], [105, -148.5], [-105, -148.5]], np.float32)
    start = cv2.getPerspectiveTransform(sheet, np.array(corners_px, np.float32)).astype(np.float64)
    feet = outline_feet(corners_mm(210.0, 297.0), 90, 15.0)
    refined = refine_outline(picture, start, feet, rectangle(210.0, 297.0), (14.0, 8.0, 4.0))
    assert refined is not None
    floor = Floor(refined[0].homography, 165.0)
    for kind, xy_px in coins:
        reference = COINS[f"coin:{kind}"]
        near = Spot(floor, floor.to_plane(np.array([xy_px], float))[0], reference.size_mm[0] / 2, 0.0)
        coin = coin_beside(picture, Ellipse.through(near.outline_px))
        share = 2 * coin.on(floor)[1] / reference.size_mm[0] - 1
        assert coin.rating > 0
        assert -0.035 < share < 0.015
        assert abs(share) < 2 * sighting_of(coin, [floor], reference, 1.0).figure.size_std[0]


@pytest.mark.parametrize(("number", "code"), [(0, 0xD5D628584), (1, 0xD97F18B49), (2, 0xDD280910E), (3, 0xE479E9C98)])
def test_tags_carry_the_published_codes_of_their_family(number: int, code: int) -> None:
    # AprilTag, family 36h11 (tag36h11.c, as copied in several public repositories): 36 bits row by row, most
    # significant first, 1 for white. OpenCV turns the family by half a turn, which only names the corners differently.
    bits = np.rot90(tag_cells(number)[2:8, 2:8], 2).ravel()
    assert int("".join("1" if bit else "0" for bit in bits), 2) == code
