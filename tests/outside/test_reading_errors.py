"""The assumed errors of readings against the limits of the tools: no better than the tool itself can be.

Source: DIN 862 (now on top of ISO 13385-1), limits of error for vernier and digital calipers, and DIN 863 for
micrometers, read in a one-page extract: caliper with 0.01 digital step 20 um up to 100 mm, 30 um from 200 to 600 mm;
micrometer 4 um up to 50 mm. A limit counts as a rectangular distribution (JCGM 100:2008, 4.3.7): divided by sqrt 3.
"""

import math

import pytest

from catalogue.assumptions import default_assumptions

ASSUMED = default_assumptions()
CALIPER_TO_100_MM, CALIPER_TO_600_MM, MICROMETER_TO_50_MM = 0.020, 0.030, 0.004


def standard(limit_mm: float) -> float:
    return limit_mm / math.sqrt(3)


@pytest.mark.parametrize("key", ["thickness_mm", "height_mm", "centre_bore_mm", "pad_height_mm", "pad_length_mm"])
def test_no_caliper_reading_is_better_than_its_tool(key: str) -> None:
    assert ASSUMED.reading_std_mm[key]["caliper"] >= standard(CALIPER_TO_100_MM)


@pytest.mark.parametrize("key", ["diameter_mm", "bolt_circle_mm", "ring_inner_mm", "hat_mm"])
def test_no_long_caliper_reading_is_better_than_its_tool(key: str) -> None:
    assert ASSUMED.reading_std_mm[key]["caliper"] >= standard(CALIPER_TO_600_MM)


def test_no_micrometer_reading_is_better_than_its_tool() -> None:
    assert ASSUMED.reading_std_mm["thickness_mm"]["micrometer"] >= standard(MICROMETER_TO_50_MM)


def test_tape_round_the_rim_gives_the_diameter_to_a_pi_th() -> None:
    """1 mm of girth is 0.3 mm of diameter (geometry)."""
    assert ASSUMED.reading_std_mm["circumference_mm"]["tape"] / math.pi == pytest.approx(0.3, abs=0.01)
