"""Outlines seen from near on rendered photos whose truth is exact and which no net knows."""

import json
from dataclasses import replace
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from tests.fitting.near_strips import Outline, true_outline
from tests.fitting.outline_strips import offsets_px
from tests.fitting.renders import request_of
from tests.vision.posed import PosedFace, face_of_truth
from vision import measure_face, read_photo
from vision.camera import Camera, Pose
from vision.circle_pose import circle
from vision.measurement import FloatArray
from vision.near import COIN_DOUBT, INNER_DOUBT, MOST_WAVE_MM, RIM_DOUBT, Doubt, straight_columns
from vision.near_look import POINTS, SIDES, Course, Near, round_sides, shipped_near_net
from vision.outline_look import COLUMNS, FINER, ROWS
from vision.photo import Photo

CHECKING = Path(__file__).parents[2] / "sample_images_synthetic" / "checking"
ROWS_OF_TRUTH = json.loads((CHECKING / "truth.json").read_text(encoding="utf-8"))
SHOWN = [row for row in ROWS_OF_TRUTH if row["group"] in ("face-on", "on-car") and row["expect"] == "measured"]


def of_kind(kind: str) -> list[dict[str, Any]]:
    return [row for row in SHOWN if row["reference"]["kind"].split(":")[0] == kind]


@cache
def photo_of(name: str) -> Photo:
    return read_photo(CHECKING / name)


def astray(course: Course, rng: np.random.Generator) -> Course:
    """A course off by a few tenths of a millimetre, more on one side, as a fit leaves it."""
    turn = np.arange(POINTS) * (2 * np.pi / POINTS)
    shift, first, second = rng.normal(0, 0.3), rng.normal(0, 0.15, 2), rng.normal(0, 0.08, 2)
    off = shift + sum(
        size[0] * np.cos(order * turn) + size[1] * np.sin(order * turn) for order, size in ((1, first), (2, second))
    )
    return replace(course, foot_px=course.foot_px + off[:, None] * course.out_px)


def true_offset_mm(course: Course, outline: Outline, photo: Photo) -> FloatArray:
    every = POINTS // (COLUMNS * FINER)
    unit = course.px_per_mm
    curve = (course.foot_px[::every], (course.out_px / unit[:, None])[::every])
    offset_px = offsets_px(curve, outline.points_px, (photo.width, photo.height), np.empty((0, 2)), 20 * unit.max())
    return offset_px / course.column_px_per_mm


def round_errors(kind: str, doubt: Doubt, rows: list[dict[str, Any]]) -> tuple[FloatArray, FloatArray]:
    """How far off, mm, the whole of each outline is told, and what is said of that."""
    rng, errors = np.random.default_rng(5), []
    for row in rows:
        photo, outline = photo_of(row["file"]), true_outline(row, face_of_truth(row), kind)
        course = astray(outline.course, rng)
        offset_mm, spread_mm, shows = shipped_near_net(kind).look(photo.bgr, course).round_mm()
        use = shows & np.isfinite(true := true_offset_mm(course, outline, photo))
        off_mm = np.average((offset_mm - true)[use], weights=1 / spread_mm[use] ** 2)
        errors.append((abs(float(off_mm)), doubt.std_mm(spread_mm[shows])))
    off, std = np.array(errors).T
    return off, std


def test_a_rim_is_told_to_hundredths_of_a_millimetre_and_its_doubt_is_true() -> None:
    off_mm, std_mm = round_errors("rim", RIM_DOUBT, SHOWN[::2])
    assert len(off_mm) > 40
    assert np.median(off_mm) < 0.05
    assert np.quantile(off_mm, 0.9) < 0.15
    assert (off_mm < 2 * std_mm).mean() > 0.85
    assert np.median(std_mm) < 0.1


def test_a_ring_s_inner_edge_is_told_where_it_shows_clearly() -> None:
    rng, off, std, seen_as_round = np.random.default_rng(7), [], [], []
    for row in SHOWN:
        photo, outline = photo_of(row["file"]), true_outline(row, face_of_truth(row), "inner")
        if outline.runs.mean() < 0.6:
            continue
        course = astray(outline.course, rng)
        seen = shipped_near_net("inner").look(photo.bgr, course)
        seen_as_round.append(seen.is_round(MOST_WAVE_MM))
        if seen_as_round[-1]:
            offset_mm, spread_mm, shows = seen.round_mm()
            use = shows & outline.runs & np.isfinite(true := true_offset_mm(course, outline, photo))
            off.append(abs(float(np.average((offset_mm - true)[use], weights=1 / spread_mm[use] ** 2))))
            std.append(INNER_DOUBT.std_mm(spread_mm[shows]))
    assert len(seen_as_round) > 30
    assert np.mean(seen_as_round) > 0.8
    assert np.median(off) < 0.06
    assert np.quantile(off, 0.9) < 0.2
    assert (np.array(off) < 2 * np.array(std)).mean() > 0.85


def test_two_lines_or_one_that_waves_are_nothing_round() -> None:
    turn = np.arange(COLUMNS) * (2 * np.pi / COLUMNS)
    row = np.arange(ROWS)[:, None] - (ROWS - 1) / 2

    def line(at: FloatArray) -> FloatArray:
        share = np.exp(-0.5 * (row - at) ** 2)
        return np.asarray(share / share.sum(axis=0))

    level = line(np.zeros(COLUMNS))
    assert Near(level, 0.15).is_round(MOST_WAVE_MM)
    assert not Near((level + line(np.full(COLUMNS, 14.0))) / 2, 0.15).is_round(MOST_WAVE_MM)
    assert not Near(line(20 * np.cos(turn)), 0.15).is_round(MOST_WAVE_MM)
    half = np.arange(COLUMNS) < COLUMNS // 2
    both = np.where(half, line(np.zeros(COLUMNS)), line(np.full(COLUMNS, 14.0)))
    assert not Near(both, 0.15).is_round(MOST_WAVE_MM)
    assert Near(both, 0.15).without(~half).is_round(MOST_WAVE_MM)


def test_a_coin_s_edge_is_told_to_hundredths_of_a_millimetre() -> None:
    off_mm, std_mm = round_errors("coin", COIN_DOUBT, of_kind("coin"))
    assert len(off_mm) > 8
    assert np.median(off_mm) < 0.05
    assert (off_mm < 2 * std_mm).mean() > 0.8


def test_the_sides_of_a_card_are_told_one_by_one() -> None:
    rng, off, std = np.random.default_rng(6), [], []
    for row in of_kind("card"):
        photo, outline = photo_of(row["file"]), true_outline(row, face_of_truth(row), "card")
        shifts = rng.normal(0, 0.2, SIDES).repeat(POINTS // SIDES)
        course = replace(outline.course, foot_px=outline.course.foot_px + shifts[:, None] * outline.course.out_px)
        seen = shipped_near_net("card").look(photo.bgr, course)
        true = true_offset_mm(course, outline, photo)
        for own in np.split(np.arange(COLUMNS), SIDES):
            use = outline.runs[own] & np.isfinite(true[own])
            told = seen.straight_mm(own, use)
            if told is not None and use.sum() > 8 and row["reference"]["lies"] != "bench":
                off.append(abs(float((told[0] - true[own])[use].mean())))
                std.append(told[1])
    assert len(off) > 60
    assert np.median(off) < 0.08
    assert (np.array(off) < 2 * np.array(std)).mean() > 0.85


def test_where_no_rim_runs_the_net_says_that_it_is_not_sure() -> None:
    doubts = []
    for row in SHOWN[::8]:
        face, photo = face_of_truth(row), photo_of(row["file"])
        middle_mm = (row["rotor"]["ring_inner_mm"] + row["rotor"]["diameter_mm"]) / 4
        course = Course.of(face, *(circle(middle_mm + more, POINTS) for more in (0.0, 1.0)))
        _, spread_mm, _ = shipped_near_net("rim").look(photo.bgr, course).round_mm()
        doubts.append(RIM_DOUBT.std_mm(spread_mm))
    assert np.median(doubts) > 0.2


def test_a_wall_shows_on_the_near_side_and_is_hidden_on_the_far_side() -> None:
    tilt = np.radians(30.0)
    lean = np.array([[1, 0, 0], [0, -np.cos(tilt), np.sin(tilt)], [0, -np.sin(tilt), -np.cos(tilt)]])
    face = PosedFace(Camera(3000.0, 1000.0, 750.0), Pose(lean, np.array([0.0, 0.0, 1200.0])), 150.0)
    course = Course.of(face, circle(150.0, POINTS), circle(151.0, POINTS))
    depth_mm = face.pose.camera_points(circle(150.0, COLUMNS))[:, 2]
    near, far = (course.relief[int(side)] for side in (depth_mm.argmin(), depth_mm.argmax()))
    assert near == pytest.approx(np.tan(tilt), abs=0.15)
    assert far == pytest.approx(-np.tan(tilt), abs=0.2)


def test_points_run_round_a_rectangle_and_outward_of_it() -> None:
    corners = np.array([[43.0, -27], [43, 27], [-43, 27], [-43, -27]])
    foot, out = round_sides(corners)
    assert np.linalg.norm(out - foot, axis=1) == pytest.approx(1.0)
    assert (np.abs(out) > np.abs(foot) - 1e-9).all()
    assert foot[: POINTS // SIDES, 0] == pytest.approx(43.0)
    straight = straight_columns(corners).reshape(SIDES, -1)
    assert straight.sum(axis=1) == pytest.approx(COLUMNS / SIDES * (1 - 8 / np.array([54, 86, 54, 86])), abs=1.1)


def test_shares_are_probabilities_and_a_line_is_drawn_through_them() -> None:
    row = np.arange(ROWS)[:, None] - (ROWS - 1) / 2
    turn = np.arange(COLUMNS) * (2 * np.pi / COLUMNS)
    line = 4.0 + 2.0 * np.cos(turn)
    share = np.exp(-0.5 * ((row - line) / 1.5) ** 2)
    offset_mm, spread_mm, shows = Near(share / share.sum(axis=0), 0.1).round_mm()
    assert shows.all()
    assert offset_mm == pytest.approx(0.1 * line, abs=0.02)
    assert spread_mm == pytest.approx(0.14, abs=0.02)
    net, course = shipped_near_net("rim"), Course.of(face_of_truth(SHOWN[0]), circle(150, POINTS), circle(151, POINTS))
    told = net.look(photo_of(SHOWN[0]["file"]).bgr, course)
    assert (told.share >= 0).all()
    assert (told.share.sum(axis=0) <= 1 + 1e-5).all()


def test_what_a_person_set_is_not_looked_at_again() -> None:
    row = next(row for row in of_kind("card") if row["reference"]["lies"] == "face")
    photo, asked = photo_of(row["file"]), request_of(row)
    rim_px = np.array(row["rim_px"])[::4]
    out_px = rim_px - rim_px.mean(axis=0)
    far_px = np.linalg.norm(out_px, axis=1)[:, None]
    moved = rim_px + 12.0 * out_px / far_px
    plain, larger = (measure_face(photo, replace(asked, rim_xy_px=marks)) for marks in (rim_px, moved))
    grown = larger.dimensions["diameter_mm"].nominal_value / plain.dimensions["diameter_mm"].nominal_value
    assert grown > 1 + 6.0 / far_px.mean()


@pytest.mark.parametrize(("clear", "unclear_mm", "status"), [(1.1, 0.0, "refused"), (0.85, 0.0, "measured")])
def test_a_card_that_is_unclear_from_near_gives_no_scale(
    clear: float, unclear_mm: float, status: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    row = next(row for row in of_kind("card") if row["reference"]["lies"] == "face")
    monkeypatch.setattr("vision.near.CLEAR_SHARE", clear)
    monkeypatch.setattr("vision.near.UNCLEAR_MM", unclear_mm)
    answer = measure_face(photo_of(row["file"]), request_of(row)).to_json()
    assert answer["status"] == status
    assert [reason["code"] for reason in answer.get("reasons", [])] == ["no-reference"] * (status == "refused")
    ring = answer["ratios"]["ring_inner_over_diameter"]
    true = row["rotor"]["ring_inner_mm"] / row["rotor"]["diameter_mm"]
    assert ring["value"] == pytest.approx(true, abs=max(3 * ring["std"], 0.01))
