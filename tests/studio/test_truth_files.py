"""The committed sets hold what the contract asks of a sample set, and what the studio promises of it."""

import hashlib
import json
from collections import Counter
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from PIL import Image, ImageOps

FOLDER = Path(__file__).resolve().parents[2] / "sample_images_synthetic"
SETS = ("first", "checking", "fitting")
SURFACES = ("plain", "slotted", "drilled", "dimpled", "drilled+slotted", "dimpled+slotted")
CODES = {
    "no-rotor",
    "no-reference",
    "rim-out-of-frame",
    "blurred",
    "too-oblique",
    "too-small",
    "disagreement",
}
ROTOR_KEYS = {
    "diameter_mm",
    "ring_inner_mm",
    "hat_mm",
    "centre_bore_mm",
    "bolt_count",
    "bolt_circle_mm",
    "thickness_mm",
    "swept_thickness_mm",
    "height_mm",
    "ventilation",
    "construction",
    "surface",
    "feature_count",
}
MOST_BYTES = 60_000_000

ROWS = {name: json.loads((FOLDER / name / "truth.json").read_text()) for name in SETS}
EVERY = [pytest.param(name, row, id=row["id"]) for name in SETS for row in ROWS[name]]


def shows_its_face(row: dict[str, Any]) -> bool:
    refused_for_its_reference = row["expect_codes"] in (["no-reference"], ["disagreement"])
    return bool(row["rotor"]) and (row["group"] in ("face-on", "on-car") or refused_for_its_reference)


@pytest.mark.parametrize(("set_name", "row"), EVERY)
def test_row_has_the_contracts_keys(set_name: str, row: dict[str, Any]) -> None:
    assert row["group"] in ("face-on", "edge", "on-car", "refuse")
    assert row["rotor"] is None or set(row["rotor"]) == ROTOR_KEYS
    assert row["reference"].keys() == {"kind", "detail", "lies"}
    assert row["told"].keys() <= {"thickness_mm", "height_mm", "lift_mm"}
    assert row["hat"] in ("up", "down")
    assert row["camera"].keys() >= {"f35", "exif_f35", "tilt_deg", "distance_mm", "k1", "width", "height"}
    assert row["expect"] == ("refused" if row["group"] == "refuse" else "measured")
    assert set(row["expect_codes"]) <= CODES
    assert bool(row["expect_codes"]) == (row["expect"] == "refused")
    assert len(row["rim_px"]) == (72 if row["rotor"] else 0)
    assert row["made"]["seed"]
    assert row["made"]["set"] == set_name


@pytest.mark.parametrize(("set_name", "row"), EVERY)
def test_photo_is_the_one_that_the_row_tells_of(set_name: str, row: dict[str, Any]) -> None:
    data = (FOLDER / set_name / row["file"]).read_bytes()
    assert hashlib.sha256(data).hexdigest() == row["made"]["sha256"]
    with Image.open(FOLDER / set_name / row["file"]) as image:
        exif = image.getexif()
        assert bool(exif) != row["made"]["copy"]
        assert exif.get_ifd(0x8769).get(0xA405) == row["camera"]["exif_f35"]
        assert exif.get(0x0112, 1) == row["made"]["orientation"]
        assert ImageOps.exif_transpose(image).size == (row["camera"]["width"], row["camera"]["height"])


@pytest.mark.parametrize(("set_name", "row"), EVERY)
def test_whole_rim_and_reference_are_in_the_frame_of_what_must_be_measured(set_name: str, row: dict[str, Any]) -> None:
    if row["expect"] == "refused":
        assert set_name != "first"
        return
    points = np.array(row["rim_px"] + (row["reference_px"] if row["reference"]["lies"] != "bench" else []))
    size = np.array([row["camera"]["width"], row["camera"]["height"]])
    assert np.all(points >= 0)
    assert np.all(points <= size - 1)


def test_each_surface_shows_at_least_sixteen_times_in_the_checking_set() -> None:
    seen = Counter(row["rotor"]["surface"] for row in ROWS["checking"] if shows_its_face(row))
    assert {name: count for name, count in seen.items() if count >= 16}.keys() == set(SURFACES)


def test_a_sixth_of_the_checking_set_are_messengers_copies() -> None:
    copies = sum(row["made"]["copy"] for row in ROWS["checking"])
    assert 6 * copies >= len(ROWS["checking"])


def test_checking_set_holds_every_kind_of_scene() -> None:
    held = {(row["group"], row["reference"]["kind"], row["reference"]["lies"]) for row in ROWS["checking"]}
    wanted: set[tuple[str, str, str | None]] = {("face-on", kind, "face") for kind in ("tag", "card", "coin")}
    wanted |= {("face-on", kind, "bench") for kind in ("card", "coin", "a4", "letter")}
    wanted |= {("face-on", "card", "hat"), ("face-on", "bolt-circle", "hat")}
    wanted |= {("on-car", "tag", "face"), ("on-car", "card", "face"), ("on-car", "bolt-circle", "hat")}
    wanted |= {("edge", "tag", "face"), ("edge", "card", "face"), ("edge", "none", None)}
    assert wanted <= held
    assert {code for row in ROWS["checking"] for code in row["expect_codes"]} == CODES


def test_sets_share_no_seed() -> None:
    seeds = [row["made"]["seed"] for name in SETS for row in ROWS[name]]
    assert len(seeds) == len(set(seeds))


def test_committed_pictures_stay_within_what_the_history_may_hold() -> None:
    assert sum(path.stat().st_size for name in SETS for path in (FOLDER / name).glob("*.jpg")) < MOST_BYTES


def test_first_sample_is_the_rotor_that_the_demo_catalogue_lists() -> None:
    rotor = ROWS["first"][0]["rotor"]
    assert (rotor["diameter_mm"], rotor["thickness_mm"], rotor["surface"]) == (330.0, 24.0, "slotted")
    assert (rotor["bolt_count"], rotor["bolt_circle_mm"], rotor["centre_bore_mm"]) == (5, 108.0, 63.5)
