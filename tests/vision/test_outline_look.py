"""The nets that see where rims, coins, cards and sheets end, on photos of ``checking``, which they do not know."""

import json
from importlib import resources
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from vision import read_photo
from vision.ellipse import Ellipse
from vision.measurement import FloatArray
from vision.outline_look import COLUMNS, ROWS, Look, made_ready, shipped_net, strip
from vision.references.rectangle_look import Outline, outline_beside

CHECKING = Path(__file__).parents[2] / "sample_images_synthetic" / "checking"
ROWS_OF_TRUTH = json.loads((CHECKING / "truth.json").read_text(encoding="utf-8"))
MEASURED = [row for row in ROWS_OF_TRUTH if row["expect"] == "measured"]
RIMS = [row for row in MEASURED if row["group"] in ("face-on", "on-car")][::6]
COINS = [row for row in MEASURED if row["reference"]["kind"] == "coin"][::3]
CARDS = [row for row in MEASURED if row["reference"]["kind"] == "card" and row["group"] == "face-on"][::3]
SHEETS = [row for row in MEASURED if row["reference"]["kind"] in ("a4", "letter")][::3]
NOTHING_HIDDEN = np.zeros(COLUMNS, np.bool_)


def points_of(row: dict[str, Any], key: str) -> FloatArray:
    return np.array(row[key], float).reshape(-1, 2)


def moved(ellipse: Ellipse, grown: float, share: tuple[float, float]) -> Ellipse:
    there = ellipse.centre_px + ellipse.radius_px * np.array(share)
    return Ellipse(there, grown * ellipse.half_axes_px, ellipse.angle_rad)


@pytest.mark.parametrize("row", RIMS, ids=lambda row: str(row["id"]))
@pytest.mark.parametrize(("grown", "share"), [(0.95, (0.0, 0.02)), (1.06, (-0.03, 0.0))])
def test_a_rim_is_found_from_lips_walls_and_shadows_beside_it(
    row: dict[str, Any], grown: float, share: tuple[float, float]
) -> None:
    rim = Ellipse.through(points_of(row, "rim_px"))
    found, evidence = shipped_net("rim").ellipse_beside(
        read_photo(CHECKING / row["file"]).bgr, moved(rim, grown, share)
    )
    assert evidence > 2.5
    assert np.linalg.norm(found.centre_px - rim.centre_px) < 0.01 * rim.radius_px
    assert np.sort(found.half_axes_px) == pytest.approx(np.sort(rim.half_axes_px), rel=0.012)


@pytest.mark.parametrize("row", RIMS[::2], ids=lambda row: str(row["id"]))
def test_where_no_rim_runs_there_is_no_evidence_of_one(row: dict[str, Any]) -> None:
    rim = Ellipse.through(points_of(row, "rim_px"))
    _, evidence = shipped_net("rim").ellipse_beside(read_photo(CHECKING / row["file"]).bgr, rim.grown(0.6))
    assert evidence < 1.0


@pytest.mark.parametrize("row", COINS, ids=lambda row: str(row["id"]))
def test_a_coin_is_found_from_its_core_and_from_its_shadow(row: dict[str, Any]) -> None:
    coin = Ellipse.through(points_of(row, "reference_px"))
    bgr = read_photo(CHECKING / row["file"]).bgr
    for grown in (0.8, 1.15):
        found, evidence = shipped_net("coin").ellipse_beside(bgr, coin.grown(grown))
        assert evidence > 2.2
        assert found.half_axes_px.prod() == pytest.approx(coin.half_axes_px.prod(), rel=0.035)


@pytest.mark.parametrize("row", CARDS, ids=lambda row: str(row["id"]))
def test_a_card_is_found_from_beside_it_and_no_card_where_none_lies(row: dict[str, Any]) -> None:
    bgr, card = read_photo(CHECKING / row["file"]).bgr, Outline(points_of(row, "reference_px"))
    beside = Outline(card.corners_px + 0.08 * card.size_px)
    first = outline_beside(bgr, beside, NOTHING_HIDDEN)
    seen = outline_beside(bgr, first.outline, NOTHING_HIDDEN)
    assert seen.shows.sum() >= 3
    assert seen.evidence > 2.8
    assert seen.outline.off(card) < 0.05 * card.size_px
    middle = points_of(row, "rim_px").mean(axis=0)
    away = Outline(2 * middle - card.corners_px)
    assert outline_beside(bgr, away, NOTHING_HIDDEN).evidence < 1.5


@pytest.mark.parametrize("row", SHEETS, ids=lambda row: str(row["id"]))
def test_sides_of_a_sheet_that_show_are_found(row: dict[str, Any]) -> None:
    bgr, sheet = read_photo(CHECKING / row["file"]).bgr, Outline(points_of(row, "reference_px"))
    seen = outline_beside(bgr, Outline(sheet.corners_px + 0.05 * sheet.size_px), NOTHING_HIDDEN)
    middles = 0.5 * (seen.outline.corners_px + np.roll(seen.outline.corners_px, -1, axis=0))
    run = np.roll(sheet.corners_px, -1, axis=0) - sheet.corners_px
    normal = np.stack([run[:, 1], -run[:, 0]], axis=1) / np.linalg.norm(run, axis=1)[:, None]
    off_px = np.abs(((middles - sheet.corners_px) * normal).sum(axis=1))
    assert seen.shows.sum() >= 3
    assert (off_px[seen.shows] < 0.02 * sheet.size_px).all()


def test_a_line_of_low_waves_is_drawn_through_what_is_likely() -> None:
    turn = np.arange(COLUMNS) * (2 * np.pi / COLUMNS)
    row = 45.0 + 6.0 * np.cos(turn) - 3.0 * np.sin(2 * turn)
    share = np.exp(-0.5 * (np.arange(ROWS)[:, None] - row) ** 2) + 1e-4
    # A caliper's edge, a quarter of the way round, looks likelier still.
    share[:, 20:50] = np.exp(-0.5 * (np.arange(ROWS)[:, None] - 70.0) ** 2) + 1e-5
    shares = np.vstack([share / share.sum(axis=0), np.full(COLUMNS, 1e-6)])
    look = Look(np.log(shares).astype(np.float32), 0.5)
    np.testing.assert_allclose(look.line_px(), 0.5 * (row - (ROWS - 1) / 2), rtol=0, atol=0.15)
    assert look.of(look.line_px())[60:].mean() > 3.0


def test_a_strip_is_made_as_coarse_as_its_rows_and_ends_with_the_photo() -> None:
    bgr = np.zeros((400, 600, 3), np.uint8)
    bgr[:, 300:] = 200
    circle = Ellipse(np.array([300.0, 200.0]), np.array([150.0, 150.0]), 0.0)
    levels = strip(bgr, circle.points(COLUMNS), 2.0)
    assert levels.shape == (ROWS, 2 * COLUMNS, 3)
    assert (levels[:, [0, COLUMNS]] == [[[200] * 3, [0] * 3]]).all()
    assert made_ready(levels).shape == (4, ROWS, COLUMNS)
    assert np.isfinite(made_ready(np.full_like(levels, 7))).all()


@pytest.mark.parametrize("kind", ["rim", "coin", "rectangle"])
def test_the_tables_say_where_their_numbers_come_from(kind: str) -> None:
    table = json.loads(resources.files("vision").joinpath(f"{kind}_net.json").read_text(encoding="utf-8"))
    assert f"fit_outlines.py {kind}" in table["provenance"]
