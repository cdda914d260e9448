"""Where the rim was followed, told on photos that the table was not fitted on (`checking`)."""

import json
from pathlib import Path

import numpy as np
import pytest

from tests.fitting.fit_rim_edge import MOST_MM, Example, followed
from vision.measurement import NORMAL_95, FloatArray
from vision.rim_edge import rim_edge_judges
from vision.start import RIM_EDGES_MM

CHECKING = Path(__file__).parents[2] / "sample_images_synthetic" / "checking"


@pytest.fixture(scope="module")
def examples() -> list[Example]:
    rows = json.loads((CHECKING / "truth.json").read_text(encoding="utf-8"))
    tagged = [row for row in rows if row["reference"]["kind"] == "tag" and row["expect"] == "measured"]
    found = [each for row in tagged if row["group"] == "face-on" for each in followed(CHECKING, row)]
    return [each for each in found if abs(each.gap_mm) < MOST_MM]


def told(examples: list[Example]) -> FloatArray:
    """Return errors and deviations, mm, (N, 2)."""
    judges = rim_edge_judges()
    said = [judges[each.part].judge(each.features) for each in examples]
    return np.array([(mean - each.gap_mm, std) for (mean, std), each in zip(said, examples, strict=True)])


def test_the_profile_tells_more_than_the_usual_place(examples: list[Example]) -> None:
    usual = [abs(each.gap_mm - RIM_EDGES_MM[each.part][0]) for each in examples]
    assert len(examples) > 30
    assert np.mean(np.abs(told(examples)[:, 0])) < 0.85 * np.mean(usual)


def test_its_deviations_are_true(examples: list[Example]) -> None:
    off, std = told(examples).T
    assert 0.88 < np.mean(np.abs(off) < NORMAL_95 * std) <= 1.0


def test_it_is_surer_of_some_rims_than_of_others(examples: list[Example]) -> None:
    off, std = told(examples).T
    surer = std < np.median(std)
    assert np.median(np.abs(off[surer])) < np.median(np.abs(off[~surer]))
