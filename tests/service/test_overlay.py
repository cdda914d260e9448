"""What is drawn on a photo: curves one by one, and handles that can be taken."""

import math

import pytest

from service.pages.job import Shot
from service.pages.overlay import curves_of, handles_of
from service.pages.photo import may_be_marked
from service.pages.working_photos import WorkingPhoto

PICTURE = WorkingPhoto(b"", b"", 2000, 1500)
RIM = [(1000 + 600 * math.cos(math.radians(5 * k)), 750 + 600 * math.sin(math.radians(5 * k))) for k in range(72)]
CARD = [(1600.0, 740.0), (1700.0, 740.0), (1700.0, 800.0), (1600.0, 800.0)]  # its left side stands on the rim


def _shot(reference: str, reference_px: list[tuple[float, float]], **options: str) -> Shot:
    geometry = {"rim_px": RIM, "reference_px": reference_px}
    return Shot("key", "a.jpg", "front", {"reference": reference, **options}, {"geometry": geometry})


def test_two_tags_are_two_figures_and_a_coin_of_eight_marks_is_one() -> None:
    two = [curve for curve in curves_of(_shot("tag", [*CARD, *CARD])) if curve.kind == "reference"]
    coin = [curve for curve in curves_of(_shot("coin:eur-2", [*CARD, *CARD])) if curve.kind == "reference"]
    assert [len(curve.points.split()) for curve in two] == [4, 4]
    assert [len(curve.points.split()) for curve in coin] == [8]


def test_no_handle_of_the_rim_lies_under_one_of_the_reference() -> None:
    handles = handles_of(_shot("card", CARD), PICTURE)
    rim = [(h.x, h.y) for h in handles if h.kind == "rim"]
    assert len(rim) == 8
    assert set(rim) <= set(RIM)
    # Where the photo is 326 px wide, on a phone, a handle reaches 22 px: 135 px of the photo.
    assert min(math.dist(one, other) for one in rim for other in CARD) > 135


def test_a_reference_that_was_named_and_not_found_can_be_marked() -> None:
    missed = Shot("key", "a.jpg", "front", {"reference": "card"}, {"geometry": {"rim_px": RIM}})
    unnamed = Shot("key", "a.jpg", "front", {"reference": "auto"}, {"geometry": {"rim_px": RIM}})
    assert sum(h.kind == "reference" for h in handles_of(missed, PICTURE)) == 4
    assert sum(h.kind == "reference" for h in handles_of(unnamed, PICTURE)) == 0


@pytest.mark.parametrize(
    ("reference", "points", "asked"),
    [
        ("auto", CARD, ["card", "tag", "tag:unmeasured", "a4", "letter"]),
        ("auto", [*CARD, *CARD], ["tag", "tag:unmeasured"]),
        ("auto", RIM, ["coin:eur-2", "coin:eur-1", "coin:usd-0.25", "coin:gbp-2"]),
        ("card", CARD, []),
    ],
)
def test_who_moves_a_corner_is_asked_what_of_until_it_is_known(
    reference: str, points: list[tuple[float, float]], asked: list[str]
) -> None:
    marks = " ".join(f"{x},{y}" for x, y in points)
    assert [kind for kind, _ in may_be_marked(_shot(reference, points, reference_points=marks))] == asked
    assert may_be_marked(_shot(reference, points)) == []
