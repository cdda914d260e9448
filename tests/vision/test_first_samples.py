"""The main job on the eight samples: a path tracer's photos with exact truth, which no code here drew."""

import json
from functools import cache
from pathlib import Path
from typing import Any

import pytest

from vision import Measurement, Request, draw_overlay, measure_face, read_photo

FOLDER = Path(__file__).parents[2] / "sample_images_synthetic" / "first"
TRUTH: list[dict[str, Any]] = json.loads((FOLDER / "truth.json").read_text())
DIAMETER_SHARE = 0.005


@cache
def measured(number: int) -> Measurement:
    scene = TRUTH[number]
    return measure_face(read_photo(FOLDER / scene["file"]), Request(scene["reference"]["kind"], "face"))


@pytest.mark.parametrize("number", range(len(TRUTH)), ids=[scene["id"] for scene in TRUTH])
def test_the_diameter_is_right_within_half_a_percent(number: int) -> None:
    diameter = measured(number).dimensions["diameter_mm"]
    assert diameter.nominal_value == pytest.approx(TRUTH[number]["rotor"]["diameter_mm"], rel=DIAMETER_SHARE)


@pytest.mark.parametrize("number", range(len(TRUTH)), ids=[scene["id"] for scene in TRUTH])
def test_the_surface_is_right(number: int) -> None:
    said = measured(number).surface
    assert said is not None
    assert max(said, key=lambda kind: said[kind]) == TRUTH[number]["rotor"]["surface"]


def test_seven_of_eight_intervals_hold_the_truth() -> None:
    answers = [measured(number).to_json()["dimensions"]["diameter_mm"] for number in range(len(TRUTH))]
    truths = [scene["rotor"]["diameter_mm"] for scene in TRUTH]
    assert sum(a["low"] <= true <= a["high"] for a, true in zip(answers, truths, strict=True)) >= 7


def test_an_interval_is_not_bought_by_width() -> None:
    shares = [measured(i).dimensions["diameter_mm"].std_dev / s["rotor"]["diameter_mm"] for i, s in enumerate(TRUTH)]
    assert sorted(shares)[len(shares) // 2] < DIAMETER_SHARE


def test_no_interval_is_narrower_than_its_photo_allows() -> None:
    for number in range(len(TRUTH)):
        answer = measured(number)
        assert 0.02 < answer.details["diameter_floor_mm"] < answer.dimensions["diameter_mm"].std_dev


def test_the_overlay_is_a_png_of_the_photo_s_size() -> None:
    photo = read_photo(FOLDER / TRUTH[0]["file"])
    png = draw_overlay(photo, measured(0))
    again = read_photo(png, "overlay.png")
    assert (again.width, again.height) == (photo.width, photo.height)
