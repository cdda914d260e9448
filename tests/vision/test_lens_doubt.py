"""Which lens a photo was taken with, and what is left of doubt where that stays open."""

import json
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from tests.fitting.renders import request_of
from tests.vision.drawn_scene import draw, fitted
from vision import face, lens_doubt, measure_face, read_photo
from vision.assemble import Sights, Start
from vision.camera import Pose
from vision.figure import EdgeSamples
from vision.lens import LENSES, Lens, usual_focal_px
from vision.photo import Photo
from vision.request import Request
from vision.scene import Scene

CHECKING = Path(__file__).parents[2] / "sample_images_synthetic" / "checking"
ROWS = json.loads((CHECKING / "truth.json").read_text(encoding="utf-8"))
PHOTO = Photo("copy.jpg", np.zeros((1536, 2048, 3), np.uint8))
REQUEST = Request("card")
SIGHTS = Sights(EdgeSamples(np.zeros((0, 2)), np.zeros(0), np.zeros(0), np.zeros(0)))
START = Start(LENSES[0], Pose(np.eye(3), np.array([0.0, 0.0, 600.0])))


@pytest.fixture(scope="module")
def scene() -> Scene:
    return fitted(draw(np.random.default_rng(2), 15.0))


def weighed(scene: Scene, other: Scene, monkeypatch: pytest.MonkeyPatch) -> Scene:
    monkeypatch.setattr(lens_doubt, "fit", lambda *_: other)
    return lens_doubt.of_likelier_lens(PHOTO, REQUEST, SIGHTS, START, scene)


def moved(scene: Scene, larger: float, misfit: float) -> Scene:
    values = {**scene.values, "log_rim": scene.values["log_rim"] + larger}
    return replace(scene, values=values, misfit=scene.misfit + misfit)


def test_a_lens_that_fits_far_worse_changes_nothing(scene: Scene, monkeypatch: pytest.MonkeyPatch) -> None:
    kept = weighed(scene, moved(scene, 0.02, 60.0), monkeypatch)
    assert kept.values == scene.values
    assert kept.std("log_rim") == pytest.approx(scene.std("log_rim"))


def test_a_lens_that_fits_far_better_is_taken(scene: Scene, monkeypatch: pytest.MonkeyPatch) -> None:
    better = moved(scene, 0.02, -60.0)
    assert weighed(scene, better, monkeypatch).values == better.values


def test_two_lenses_that_fit_alike_leave_the_doubt_of_both(scene: Scene, monkeypatch: pytest.MonkeyPatch) -> None:
    kept = weighed(scene, moved(scene, 0.02, 0.0), monkeypatch)
    share = LENSES[1].share / (LENSES[0].share + LENSES[1].share)
    assert kept.values == scene.values
    assert kept.std("log_rim") == pytest.approx(np.hypot(scene.std("log_rim"), np.sqrt(share) * 0.02), rel=1e-6)


def test_a_lens_that_fits_alike_and_says_the_same_adds_no_doubt(scene: Scene, monkeypatch: pytest.MonkeyPatch) -> None:
    assert weighed(scene, moved(scene, 0.0, 0.0), monkeypatch).std("log_rim") == pytest.approx(scene.std("log_rim"))


def test_a_photo_that_says_its_lens_is_fitted_once(scene: Scene, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(lens_doubt, "fit", lambda *_: pytest.fail("fitted again"))
    told = replace(PHOTO, f35_mm=26.0, has_exif=True)
    start = replace(START, lens=Lens(26.0, 0.04, 1.0))
    assert lens_doubt.of_likelier_lens(told, REQUEST, SIGHTS, start, scene).values == scene.values


def test_what_bends_the_camera_shows_in_its_strain(scene: Scene) -> None:
    table = scene.unknowns.table
    bent = {name: table[name].mean + 3 * table[name].std for name in ("log_focal", "k1")}
    still = {name: table[name].mean for name in ("log_focal", "shift_x", "shift_y", "k1")}
    assert replace(scene, values={**scene.values, **still}).camera_strain == pytest.approx(0.0)
    assert replace(scene, values={**scene.values, **still, **bent}).camera_strain == pytest.approx(np.sqrt(18))


def tilted_copies() -> Sequence[dict[str, Any]]:
    return [
        row
        for row in ROWS
        if row["made"]["copy"]
        and not row["made"]["crop"]
        and row["reference"]["kind"] in ("tag", "card")
        and row["reference"]["lies"] == "face"
        and row["group"] != "edge"
        and row["camera"]["tilt_deg"] > 8
        and row["expect"] == "measured"
    ]


@pytest.mark.parametrize("row", tilted_copies(), ids=lambda row: row["id"])
def test_a_tilted_copy_tells_its_own_lens(row: dict[str, Any], monkeypatch: pytest.MonkeyPatch) -> None:
    last: list[Scene] = []

    def spy(*told: Any) -> Scene:
        last.append(lens_doubt.of_likelier_lens(*told))
        return last[-1]

    monkeypatch.setattr(face, "of_likelier_lens", spy)
    photo = read_photo(CHECKING / row["file"])
    measure_face(photo, request_of(row))
    f35_mm = np.exp(last[-1].values["log_focal"]) / usual_focal_px(photo, 1.0)
    assert f35_mm == pytest.approx(row["camera"]["focal_px"] / usual_focal_px(photo, 1.0), rel=0.12)
