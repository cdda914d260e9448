"""Which references are looked for, in which order, and where they are taken to lie."""

import numpy as np
import pytest

from tests.vision.lying_scene import Thing, coin_on, photograph
from vision.photo import Photo
from vision.references.find import find_references
from vision.references.parse import parse_kind

CARD_ON_FACE = Thing((85.60, 53.98), 3.18, (10.0, 122.0), 4.0, (0.8, 0.5, 0.2))
CARD_ON_HAT = Thing((85.60, 53.98), 3.18, (5.0, -8.0), 40.0, (0.8, 0.5, 0.2))


def test_auto_finds_a_card_and_where_it_lies() -> None:
    for thing, lies in ((CARD_ON_FACE, "face"), (CARD_ON_HAT, "hat")):
        picture, floor = photograph([thing])
        found = find_references(Photo("drawn", picture), parse_kind("auto"), [floor])
        assert (found[0].sighting.figure.kind, found[0].lies) == ("card", lies)


def test_what_a_person_says_of_the_place_is_kept() -> None:
    picture, floor = photograph([CARD_ON_FACE])
    assert find_references(Photo("drawn", picture), parse_kind("card"), [floor], "hat")[0].lies == "hat"
    assert find_references(Photo("drawn", picture), parse_kind("card"), [floor])[0].lies == "face"


def test_auto_takes_no_coin_for_one_in_particular() -> None:
    picture, floor = photograph(coin_on((60.0, 105.0)))
    assert find_references(Photo("drawn", picture), parse_kind("auto"), [floor]) == []
    named = find_references(Photo("drawn", picture), parse_kind("coin:eur-2"), [floor])
    assert named[0].sighting.figure.radius_mm == pytest.approx(12.875, abs=0.2)


def test_without_a_rim_only_tags_and_points_are_found() -> None:
    photo = Photo("blank", np.full((300, 400, 3), 90, np.uint8))
    for kind in ("auto", "card", "a4", "coin:eur-1", "bolt-circle:112"):
        assert find_references(photo, parse_kind(kind), []) == []
    (points,) = find_references(photo, parse_kind("points:10,10,200,20,80"), [])
    assert points.lies == "face"


def test_a_bolt_circle_is_the_rotors_own() -> None:
    picture, floor = photograph([CARD_ON_FACE])
    assert find_references(Photo("drawn", picture), parse_kind("bolt-circle:112"), [floor]) == []
