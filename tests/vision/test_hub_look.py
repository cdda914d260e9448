"""The net that sees bolts, rivets and bores from above, and those of their outlines, on photos they do not know."""

import json
from dataclasses import dataclass
from functools import cache
from importlib import resources
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from tests.fitting.hub_labels import Hub
from tests.fitting.renders import references_of
from tests.vision.posed import PosedFace, face_of_truth
from vision import measure_face, read_photo
from vision.bolts import Bolts, find_bolts
from vision.hat import look_inside, place_bolts
from vision.hub_look import TABLE
from vision.photo import Photo
from vision.request import Request
from vision.top_view import CELLS, TopView, top_view

CHECKING = Path(__file__).parents[2] / "sample_images_synthetic" / "checking"
REAL = Path(__file__).parents[3] / "shared" / "real_photos"
ROWS = json.loads((CHECKING / "truth.json").read_text(encoding="utf-8"))
SHOWN = [row for row in ROWS if row["group"] in ("face-on", "on-car") and row["expect"] == "measured"][::6]
HAT_DOWN = [row for row in ROWS if row["group"] == "face-on" and row["hat"] == "down" and row["expect"] == "measured"]


@dataclass(frozen=True, eq=False)
class Seen:
    photo: Photo
    face: PosedFace
    view: TopView
    hub: Hub

    @property
    def bolts(self) -> Bolts:
        found = find_bolts(self.view)
        assert found is not None
        return found


@cache
def seen_in(photo_id: str) -> Seen:
    row = next(row for row in ROWS if row["id"] == photo_id)
    photo, face = read_photo(CHECKING / row["file"]), face_of_truth(row)
    return Seen(photo, face, top_view(photo.grey, face, references_of(row, face)), Hub.of(row, face))


def test_bolts_stand_out_where_they_are_and_nowhere_else() -> None:
    places = lit = astray = 0
    for row in SHOWN:
        seen = seen_in(row["id"])
        odds = seen.view.hub.bolts[0 if seen.hub.hat_up else 1]
        cells = np.rint(seen.view.cells_of(seen.hub.bolts_px)).astype(int)
        cells = cells[((cells >= 0) & (cells < CELLS)).all(axis=1)]
        away = np.ones((CELLS, CELLS), bool)
        for column, row_at in cells:
            away[max(0, row_at - 8) : row_at + 9, max(0, column - 8) : column + 9] = False
        places += len(cells)
        lit += int((odds[cells[:, 1], cells[:, 0]] > 0).sum())
        astray += int((odds > 0)[away & seen.view.seen].sum())
    assert places > 50
    assert lit > 0.85 * places
    # Of 34 thousand cells a photo, fewer than one disc's.
    assert astray < 15 * len(SHOWN)


@pytest.mark.parametrize("row", [*SHOWN, *HAT_DOWN[:6]], ids=lambda row: str(row["id"]))
def test_bolts_are_counted_and_the_hats_side_is_told(row: dict[str, Any]) -> None:
    seen = seen_in(row["id"])
    assert seen.bolts.count == row["rotor"]["bolt_count"]
    assert (seen.bolts.height_mm > 0) == (row["hat"] == "up")


def test_holes_are_told_to_a_fraction_of_a_pixel_whatever_stands_in_them() -> None:
    off_px: list[float] = []
    for row in SHOWN:
        seen = seen_in(row["id"])
        if not seen.hub.holes_px:  # a wheel covers them
            continue
        _, circle = place_bolts(seen.photo.bgr, seen.view, seen.bolts)
        assert circle is not None
        away = np.linalg.norm(circle.samples.xy_px[:, None] - seen.hub.bolts_px[None], axis=2)
        off_px += list(away.min(axis=1))
    assert np.median(off_px) < 0.5
    # Five in six; threads and heads of studs hide the holes of three hubs.
    assert np.quantile(off_px, 5 / 6) < 1.5


def test_the_bore_is_measured_with_a_hub_in_it_or_none() -> None:
    off = []
    for row in SHOWN:
        seen = seen_in(row["id"])
        bore = look_inside(seen.photo.bgr, seen.photo.grey, seen.view).circles.get("centre_bore")
        if bore is not None and len(seen.hub.bore_px):
            off.append(abs(2 * bore.radius_mm / row["rotor"]["centre_bore_mm"] - 1))
    assert len(off) > 0.7 * len(SHOWN)
    assert np.median(off) < 0.01


@pytest.mark.skipif(not REAL.is_dir(), reason="the real photos are not part of the repository")
@pytest.mark.parametrize(("name", "count"), [("slotted_shaunsauto.jpg", 10), ("plain_bulldog.jpg", 4)])
def test_bolts_of_real_cars_are_counted_though_the_net_knows_rendered_ones_only(name: str, count: int) -> None:
    said = measure_face(read_photo(REAL / name), Request("auto")).bolt_count
    assert said is not None
    assert said[0] == count


def test_the_table_says_where_its_numbers_come_from() -> None:
    assert "fit_hub" in json.loads(resources.files("vision").joinpath(TABLE).read_text(encoding="utf-8"))["provenance"]
