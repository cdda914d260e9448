"""References drawn by seed, held against the standards and mints that name their sizes."""

import cv2
import numpy as np
import pytest

from sample_images_synthetic.studio.card_print import card_texture, sheet_texture, tag_texture
from sample_images_synthetic.studio.reference import (
    CARD_DESIGNS,
    COIN_BEVEL_MM,
    COIN_SIZES,
    SHEET_SIZES,
    draw_card,
    draw_coin,
    draw_sheet,
    draw_tag,
)


def source(seed: int) -> np.random.Generator:
    return np.random.default_rng(seed)


def test_cards_keep_to_the_standard() -> None:
    """ISO/IEC 7810, ID-1: 85.60 x 53.98, unused 85.47 to 85.72 by 53.92 to 54.03, 0.68 to 0.84 thick,
    corners 2.88 to 3.48 (secondary copies of the standard)."""
    cards = [draw_card(source(seed)) for seed in range(200)]
    limits = {
        "width_mm": (85.47, 85.72),
        "height_mm": (53.92, 54.03),
        "thickness_mm": (0.68, 0.84),
        "corner_radius_mm": (2.88, 3.48),
    }
    for name, (low, high) in limits.items():
        values = [getattr(card, name) for card in cards]
        assert low <= min(values) < max(values) <= high
    assert np.mean([card.width_mm for card in cards]) == pytest.approx(85.60, abs=0.02)
    assert np.mean([card.height_mm for card in cards]) == pytest.approx(53.98, abs=0.02)


# Diameter and thickness in mm. Euro: EUR-Lex summary of Reg. (EC) 975/98; thickness by secondary pages. Dollar:
# US Mint, Coin Specifications. 1 pound and 10 pence: Royal Mint's pages on them. 2 pound: secondary.
PUBLISHED = {
    "eur-2": (25.75, 2.20),
    "eur-1": (23.25, 2.33),
    "eur-0.50": (24.25, 2.38),
    "usd-0.25": (24.26, 1.75),
    "usd-0.05": (21.21, 1.95),
    "usd-0.01": (19.05, 1.52),
    "usd-1": (26.49, 2.00),
    "gbp-1": (23.43, 2.80),
    "gbp-2": (28.4, 2.5),
    "gbp-0.10": (24.5, 1.85),
}


@pytest.mark.parametrize(("name", "size"), PUBLISHED.items())
def test_coins_have_their_published_size(name: str, size: tuple[float, float]) -> None:
    assert (COIN_SIZES[name].diameter_mm, COIN_SIZES[name].thickness_mm) == size
    coins = [draw_coin(source(seed), name) for seed in range(100)]
    assert max(abs(coin.diameter_mm - size[0]) for coin in coins) <= 0.1
    assert max(abs(coin.thickness_mm - size[1]) for coin in coins) <= 0.05


def test_a_quarter_has_its_reeds() -> None:
    """US Mint, Coin Specifications: 119."""
    assert COIN_SIZES["usd-0.25"].reeds == 119


def test_a_coins_figure_runs_round_its_upper_edge() -> None:
    coin = draw_coin(source(1), "eur-2")
    figure = coin.figure_mm()
    np.testing.assert_allclose(np.hypot(*figure[:, :2].T), coin.diameter_mm / 2, rtol=0, atol=1e-9)
    np.testing.assert_allclose(figure[:, 2], coin.thickness_mm - COIN_BEVEL_MM, rtol=0, atol=1e-9)
    assert draw_coin(source(1), "gbp-1").figure_mm().shape == (12, 3)


@pytest.mark.parametrize(("kind", "size"), [("a4", (210.0, 297.0)), ("letter", (215.9, 279.4))])
def test_sheets_are_cut_within_tolerance(kind: str, size: tuple[float, float]) -> None:
    """ISO 216: A4 210 x 297, 2 mm either way; Letter 8.5 x 11 in (ANSI/ASME Y14.1), taken as no worse."""
    assert SHEET_SIZES[kind] == size
    for seed in range(100):
        sheet = draw_sheet(source(seed), kind)
        assert np.abs(np.array([sheet.width_mm, sheet.height_mm]) - size).max() <= 2.0


def test_sheets_curl_only_at_their_corners() -> None:
    for seed in range(30):
        sheet = draw_sheet(source(seed), "a4")
        figure = sheet.figure_mm()
        np.testing.assert_allclose(figure[:, 2] - sheet.thickness_mm, sheet.curl_mm, rtol=0, atol=1e-9)
        assert sheet.lift_mm(np.zeros((1, 2)))[0] == 0.0
    flat = draw_sheet(source(2), "a4", curled=False)
    assert flat.lift_mm(flat.figure_mm()[:, :2]).max() == 0.0


@pytest.mark.parametrize("marker_id", [0, 1, 2, 23])
def test_tags_are_read_by_opencv_and_are_forty_millimetres(marker_id: int) -> None:
    tag = draw_tag(source(marker_id), marker_id)
    assert 39.95 <= tag.black_mm <= 40.05
    texture = tag_texture(tag)
    detector = cv2.aruco.ArucoDetector(cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_APRILTAG_36H11))
    grey = np.pad(cv2.cvtColor(texture, cv2.COLOR_RGB2GRAY), 200, constant_values=200)
    corners, ids, _ = detector.detectMarkers(grey)
    assert ids is not None
    assert ids.ravel().tolist() == [marker_id]
    # The print spans ten cells, the black square eight; corners in pixels, as the detector orders them.
    cell = texture.shape[0] / 10
    expected = 200 + np.array([[1, 1], [9, 1], [9, 9], [1, 9]]) * cell - 0.5
    np.testing.assert_allclose(corners[0][0], expected, rtol=0, atol=1.5)
    # The figure's corners in the same order, on the print's own millimetres.
    across = tag.black_mm * 10 / 8
    figure_px = 200 + np.column_stack(
        [
            (tag.figure_mm()[:, 0] - tag.shift_mm[0]) / across + 0.5,
            0.5 - (tag.figure_mm()[:, 1] - tag.shift_mm[1]) / across,
        ]
    ) * len(texture)
    np.testing.assert_allclose(figure_px - 0.5, expected, rtol=0, atol=1e-6)


@pytest.mark.parametrize("design", CARD_DESIGNS)
def test_card_designs_look_as_they_are_called(design: str) -> None:
    texture = card_texture(draw_card(source(4), design=design))
    assert texture.shape == (1080, 1712, 3)
    assert texture.dtype == np.uint8
    middle = np.median(texture.reshape(-1, 3).mean(axis=1)) / 255
    if design in ("light", "white"):
        assert middle > 0.6
    if design in ("dark", "black"):
        assert middle < 0.3


def test_a_sheets_print_has_its_shape() -> None:
    sheet = draw_sheet(source(3), "letter")
    rows, columns, _ = sheet_texture(sheet).shape
    assert rows / columns == pytest.approx(sheet.height_mm / sheet.width_mm, rel=0.002)


def test_a_reference_nobody_knows_is_told_which_there_are() -> None:
    with pytest.raises(ValueError, match=r"eur-2.*not 'eur-3'"):
        draw_coin(source(0), "eur-3")
    with pytest.raises(ValueError, match=r"light.*not 'gold'"):
        draw_card(source(0), design="gold")
    with pytest.raises(ValueError, match=r"a4, letter, not 'a5'"):
        draw_sheet(source(0), "a5")
    with pytest.raises(ValueError, match="markers 0 to 586, not 587"):
        draw_tag(source(0), 587)
