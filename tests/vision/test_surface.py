import json
from collections.abc import Callable
from dataclasses import replace
from importlib import resources
from pathlib import Path

import cv2
import numpy as np
import pytest

from sample_images_synthetic.studio.pattern import Surface
from sample_images_synthetic.studio.rotor import Rotor, draw_rotor
from tests.fitting.renders import photo_of, ring_of
from tests.vision.drawn import Look, draw_face
from tests.vision.posed import face_of_marks
from vision import measure_face, read_photo
from vision.measurement import SURFACES, FloatArray
from vision.request import Request
from vision.ring import Ring, lay_flat
from vision.surface import FEATURES, TABLE, describe_surface, find_marks, kinds, shipped_table

CHECKING = Path(__file__).parents[2] / "sample_images_synthetic" / "checking"
REAL = Path(__file__).parents[3] / "shared" / "real_photos"
Change = Callable[[FloatArray], FloatArray]
CLEAR = Look(0.8, 0.8, 0.35, 0.03, 0.5, 0.02, 0.0, 0, 0.006, 0.7, 0.3)


def drawn(surface: Surface, seed: int, look: Look = CLEAR) -> tuple[Rotor, Ring]:
    rng = np.random.default_rng([7, seed])
    rotor = draw_rotor(rng, surface=surface, construction="one-piece")
    bgr, face = draw_face(rng, rotor, look, 2.2)
    return rotor, lay_flat(bgr, face, (rotor.ring_inner_mm / 2 + 2, rotor.diameter_mm / 2 * 0.98))


@pytest.mark.parametrize("surface", SURFACES)
def test_clear_drawings_are_told_apart(surface: Surface) -> None:
    right = 0
    for seed in range(3):
        said = describe_surface(drawn(surface, seed)[1]).probabilities
        right += max(said, key=lambda kind: said[kind]) == surface
    assert right >= 2


def test_holes_are_counted_and_sized() -> None:
    rotor, ring = drawn("drilled", 1)
    found = describe_surface(ring).details["holes"]
    assert found["count"] == pytest.approx(len(rotor.pattern.holes), rel=0.1)
    assert found["diameter_mm"] == pytest.approx(rotor.pattern.holes[0].diameter_mm, abs=1.0)


@pytest.mark.parametrize("seed", range(4))
def test_slots_are_counted_and_their_lean_has_a_hand(seed: int) -> None:
    rotor, ring = drawn("slotted", seed)
    path = np.array(rotor.pattern.slots[0].path_mm)
    radius, angle = np.hypot(*path.T), np.unwrap(np.arctan2(path[:, 1], path[:, 0]))
    lean_deg = np.degrees(np.arctan((angle[-1] - angle[0]) / np.log(radius[-1] / radius[0])))
    grooves = find_marks(ring).grooves
    assert grooves.folds == len(rotor.pattern.slots)
    assert grooves.lean_deg == pytest.approx(lean_deg, abs=8)


def test_mirrored_slots_lean_the_other_way() -> None:
    rng = np.random.default_rng(11)
    rotor = draw_rotor(rng, surface="slotted", construction="one-piece")
    bgr, face = draw_face(rng, rotor, CLEAR, 2.0)
    span = (rotor.ring_inner_mm / 2 + 2, rotor.diameter_mm / 2 * 0.98)
    straight, mirrored = (find_marks(lay_flat(picture, face, span)).grooves for picture in (bgr, bgr[::-1].copy()))
    assert mirrored.lean_deg == pytest.approx(-straight.lean_deg, abs=3)


def test_scattered_dirt_is_no_pattern() -> None:
    dirty = Look(0.8, 0.8, 0.35, 0.03, 0.5, 0.02, 0.0, 50, 0.006, 0.7, 0.3)
    for seed in range(3):
        said = describe_surface(drawn("plain", seed, dirty)[1]).probabilities
        assert said["drilled"] < 0.2


def test_probabilities_sum_to_one_and_none_is_nothing() -> None:
    table = shipped_table()
    for value in (-1e3, 0.0, 1e3):
        said = kinds(dict.fromkeys(FEATURES, value), table)
        assert sum(said.values()) == pytest.approx(1.0)
        assert min(said.values()) > 0


def test_the_table_says_where_its_numbers_come_from() -> None:
    table = json.loads(resources.files("vision").joinpath(TABLE).read_text(encoding="utf-8"))
    assert "fit_surface" in table["provenance"]
    assert set(table["knots"]) == set(FEATURES)


@pytest.mark.skipif(not REAL.is_dir(), reason="the real photos are not part of the repository")
def test_the_plain_rotor_on_a_car_is_plain() -> None:
    bgr = cv2.imread(str(REAL / "plain_bulldog.jpg"))
    assert bgr is not None
    # Points on the swept face's outer edge, read off the photo by eye.
    marks = [(701, 167), (823, 164), (951, 244), (1041, 424), (1061, 566), (1016, 797), (900, 990), (720, 1103)]
    marks += [(604, 1093), (508, 990), (458, 868)]
    # Of the two tilts that fit, the hub is seen to stand out to the left.
    faces = face_of_marks(marks, (bgr.shape[1], bgr.shape[0]), 50.0)
    face = min(faces, key=lambda seen: float(seen.pose.rotation[0, 2]))
    said = describe_surface(lay_flat(np.asarray(bgr, np.uint8), face, (0.72 * 165, 0.97 * 165))).probabilities
    assert max(said, key=lambda kind: said[kind]) == "plain"


def gamma(power: float) -> Change:
    return lambda bgr: bgr**power


def hazy(bgr: FloatArray) -> FloatArray:
    return 0.12 + 0.8 * bgr


def steep(bgr: FloatArray) -> FloatArray:
    """Double the contrast of what is neither dark nor bright."""
    return np.asarray(0.5 + 0.5 * np.tanh(2 * (2 * bgr - 1)) / np.tanh(2.0))


@pytest.mark.parametrize("change", [gamma(1.8), gamma(0.65), hazy, steep], ids=["dark", "light", "hazy", "steep"])
def test_a_tone_curve_makes_no_holes_of_dimples_and_no_dimples_of_holes(change: Change) -> None:
    rows = [row for row in json.loads((CHECKING / "truth.json").read_text("utf-8")) if row["rotor"]]
    spotted = [row for row in rows if row["group"] == "face-on" and row["rotor"]["surface"] in ("drilled", "dimpled")]
    right = 0
    for row in spotted:
        photo = photo_of(row, CHECKING)
        changed = np.asarray(np.clip(255 * change(photo.bgr / 255.0), 0, 255), np.uint8)
        said = describe_surface(ring_of(row, replace(photo, bgr=changed))).probabilities
        right += max(said, key=lambda kind: said[kind]) == row["rotor"]["surface"]
    assert len(spotted) >= 20
    # Asked is 95 % of photos as they are.
    assert right >= 0.9 * len(spotted)


@pytest.mark.skipif(not REAL.is_dir(), reason="the real photos are not part of the repository")
@pytest.mark.parametrize(
    "change",
    [
        lambda bgr: bgr,
        lambda bgr: bgr[:, ::-1],
        lambda bgr: np.rot90(bgr, 3),
        gamma(0.6),
        gamma(1.6),
        lambda bgr: bgr.mean(axis=2, keepdims=True).repeat(3, axis=2),
        lambda bgr: bgr[:, bgr.shape[1] // 10 :],
    ],
    ids=["as it is", "mirrored", "turned", "light", "dark", "grey", "cut"],
)
def test_slots_in_groups_on_a_car_are_slots(change: Change) -> None:
    photo = read_photo(REAL / "slotted_shaunsauto.jpg")
    changed = np.ascontiguousarray(np.round(255 * change(photo.bgr / 255.0)), np.uint8)
    said = measure_face(replace(photo, bgr=changed), Request("tag")).surface
    assert said is not None
    assert max(said, key=lambda kind: said[kind]) == "slotted"
