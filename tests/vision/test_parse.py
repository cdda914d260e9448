"""KINDs: what a person may name, and one line for what they may not."""

import pytest

from vision.references.parse import COINS, PRINT_SCALE_STD, SHEETS, parse_kind


def test_plain_kinds_have_their_sizes_and_places() -> None:
    assert parse_kind("card").size_mm == (85.60, 53.98)
    assert parse_kind("a4").size_mm == (297.0, 210.0)
    assert parse_kind(" Letter ").lies == "bench"
    assert parse_kind("auto").family == "auto"
    assert parse_kind("bolt-circle:112").lies == "hat"
    assert {parse_kind(kind) for kind in COINS} == set(COINS.values())
    assert {parse_kind(kind) for kind in SHEETS} == set(SHEETS.values())


def test_tag_takes_a_measured_side_or_none() -> None:
    assert parse_kind("tag").size_mm == (40.0, 40.0)
    assert parse_kind("tag:39.2").size_mm == (39.2, 39.2)
    unmeasured = parse_kind("tag:unmeasured")
    assert not unmeasured.print_checked
    assert unmeasured.size_std[0] == pytest.approx(PRINT_SCALE_STD)
    assert parse_kind("tag:39.2").print_checked


@pytest.mark.parametrize(("text", "kind"), [("coin:eur-0.50", "coin:eur-0.5"), ("coin:gbp-2.00", "coin:gbp-2")])
def test_a_coins_worth_may_be_written_in_full(text: str, kind: str) -> None:
    assert parse_kind(text).kind == kind


def test_points_carry_their_pixels() -> None:
    points = parse_kind("points:10.5,20,900,25,150")
    assert points.points_px == ((10.5, 20.0), (900.0, 25.0))
    assert points.size_mm[0] == 150.0


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("", "not known"),
        ("ruler", "not known"),
        ("card:blue", "not known"),
        ("coin", "not known"),
        ("coin:eur-0.20", "no round shape"),
        ("coin:xyz-7", "no round shape"),
        ("tag:", "black square"),
        ("tag:4", "between 10 and 200"),
        ("tag:nan", "between 10 and 200"),
        ("bolt-circle:1e9", "between 50 and 250"),
        ("points:1,2,3", "five numbers"),
        ("points:1,2,3,4,5,6", "five numbers"),
        ("points:a,2,3,4,50", "five numbers"),
        ("points:1,2,inf,4,50", "five numbers"),
        ("points:1,2,1,2,50", "2 pixels apart"),
        ("points:1,2,300,4,-5", "between 5 and 1000"),
    ],
)
def test_a_wrong_kind_is_told_in_one_line(text: str, said: str) -> None:
    with pytest.raises(ValueError, match=said) as caught:
        parse_kind(text)
    assert "\n" not in str(caught.value)
