"""What may be said of a worn rotor, and what may not."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from catalogue.schema import Rotor
from catalogue.wear import CUT_MM, WearLimits, WearReport, wear_report

PLAIN_24 = WearLimits(24.0, 22.0, 22.4, "plain", "iron")
MICROMETER_MM = 0.05


def report(limits: WearLimits, *readings_mm: float, std_mm: float = MICROMETER_MM) -> WearReport:
    return wear_report(limits, readings_mm, axle="front", reading_std_mm=std_mm)


def test_half_of_the_usable_thickness_is_left_half_way_down() -> None:
    found = report(PLAIN_24, 23.0)
    assert found.left == pytest.approx(0.5)
    assert found.left_std == pytest.approx(0.025)
    assert found.reuse == "look"
    assert "cracks" in found.text


def test_the_thinnest_reading_decides_and_the_spread_is_told() -> None:
    found = report(PLAIN_24, 23.21, 23.18, 23.2, 23.195)
    assert found.thinnest_mm == 23.18
    assert found.variation_mm == pytest.approx(0.03)
    assert "varies by 0.030 mm" in found.text


def test_one_reading_says_nothing_of_variation() -> None:
    found = report(PLAIN_24, 23.2)
    assert found.variation_mm is None
    assert "varies" not in found.text
    assert "variation_mm" not in found.to_json()


@pytest.mark.parametrize("reading_mm", [22.0, 21.5])
def test_at_or_under_the_minimum_it_is_done(reading_mm: float) -> None:
    found = report(PLAIN_24, reading_mm)
    assert (found.reuse, found.machining, found.left) == ("no", "no", 0.0)
    assert "not to be used again or sold" in found.text


def test_a_coarse_reading_close_to_the_minimum_is_not_trusted() -> None:
    assert report(PLAIN_24, 22.2, std_mm=0.15).reuse == "too close"
    assert report(PLAIN_24, 22.2, std_mm=0.05).reuse == "look"


def test_without_a_discard_figure_there_is_no_verdict_on_use() -> None:
    found = report(WearLimits(24.0), 23.0)
    assert (found.left, found.reuse, found.machining) == (None, "unknown", "unknown")
    assert "left" not in found.to_json()


def test_machining_must_leave_the_machine_to_figure() -> None:
    assert report(PLAIN_24, 22.4 + CUT_MM + 0.01).machining == "could be"
    assert report(PLAIN_24, 22.4 + CUT_MM - 0.01).machining == "no"


@pytest.mark.parametrize(
    ("limits", "verdict"),
    [
        (WearLimits(24.0, 22.0, None, "plain", "iron"), "unknown"),
        (WearLimits(24.0, 22.0, 22.4, None, "iron"), "unknown"),
        (WearLimits(24.0, 22.0, 22.4, "plain", None), "unknown"),
        (WearLimits(24.0, 22.0, 22.4, "slotted", "iron"), "no"),
        (WearLimits(24.0, 22.0, 22.4, "drilled", "iron"), "no"),
        (WearLimits(24.0, 22.0, 22.4, "dimpled", "iron"), "no"),
        (WearLimits(24.0, 22.0, 22.4, "plain", "coated"), "no"),
        (WearLimits(24.0, 22.0, 22.4, "plain", "carbon-ceramic"), "no"),
    ],
)
def test_only_plain_iron_with_a_figure_could_be_machined(limits: WearLimits, verdict: str) -> None:
    assert report(limits, 23.8).machining == verdict


@pytest.mark.parametrize("bad", [0.0, -1.0, math.nan, math.inf])
def test_a_reading_must_be_a_positive_length(bad: float) -> None:
    with pytest.raises(ValueError, match="readings_mm: needs positive millimetres"):
        report(PLAIN_24, 23.0, bad)


def test_no_reading_is_a_callers_mistake() -> None:
    with pytest.raises(ValueError, match="at least one thickness"):
        report(PLAIN_24)


@given(st.lists(st.floats(15, 30), min_size=1, max_size=8), st.floats(0.01, 1.0))
def test_another_reading_never_makes_it_better(readings_mm: list[float], thinner_mm: float) -> None:
    before = report(PLAIN_24, *readings_mm)
    after = report(PLAIN_24, *readings_mm, min(readings_mm) - thinner_mm)
    assert before.left is not None
    assert after.left is not None
    assert 0 <= after.left <= before.left <= 1
    rank = ("no", "too close", "look")
    assert rank.index(after.reuse) <= rank.index(before.reuse)


def test_the_limits_come_from_the_catalogues_rotor() -> None:
    rotor = Rotor(
        part="r", diameter_mm=330.0, thickness_mm=24.0, min_thickness_mm=22.0, machine_to_mm=22.4, height_mm=None,
        centre_bore_mm=None, bolt_count=None, bolt_circle_mm=None, ring_inner_mm=None, hat_mm=None, ventilation=None,
        construction=None, surface="plain", material="iron", mass_kg=None, marks=(),
    )  # fmt: skip
    assert WearLimits.of(rotor) == PLAIN_24
