"""The scene's stated deviation is a tested claim: errors over it must have unit variance and its intervals hold."""

from dataclasses import replace

import numpy as np
import pytest
from scipy import stats

from tests.vision.drawn_scene import CARD, RADIUS_MM, SHEET, draw, fitted
from vision.figure import Figure

TRIALS = 40


def pulls(tilts_deg: np.ndarray, seed: int, arc: float = 1.0, figure: Figure = CARD) -> np.ndarray:
    rng = np.random.default_rng(seed)
    found = [fitted(draw(rng, float(tilt), arc, figure)).numbers["log_rim"] for tilt in tilts_deg]
    return np.array([(f.nominal_value - np.log(RADIUS_MM)) / f.std_dev for f in found])


@pytest.mark.parametrize(("arc", "figure", "seed"), [(1.0, CARD, 11), (0.6, CARD, 12), (1.0, SHEET, 13)])
def test_errors_over_the_stated_deviation_have_unit_variance(arc: float, figure: Figure, seed: int) -> None:
    found = pulls(np.random.default_rng(seed).uniform(6, 35, TRIALS), seed, arc, figure)
    low, high = stats.chi2.ppf([0.001, 0.999], TRIALS)
    assert low < (found**2).sum() < high
    inside = int((np.abs(found) < 1.96).sum())
    assert stats.binomtest(inside, TRIALS, 0.95).pvalue > 0.01


def test_a_sheet_taken_for_stiff_would_be_off_by_more_than_it_says() -> None:
    rng, stiff = np.random.default_rng(14), replace(SHEET, curl_std_mm=0.0)
    drawn = [draw(rng, float(tilt), figure=SHEET) for tilt in np.linspace(6, 35, TRIALS)]
    taken = [fitted(replace(each, figure=stiff, curls=np.empty((0, len(each.card))))) for each in drawn]
    found = [(f.numbers["log_rim"].nominal_value - np.log(RADIUS_MM)) / f.std("log_rim") for f in taken]
    assert np.square(found).sum() > stats.chi2.ppf(0.999, TRIALS)


def test_a_shorter_arc_widens_the_interval() -> None:
    whole = draw(np.random.default_rng(6), 20.0)
    cut = [replace(whole, rim=whole.rim.chosen(slice(0, count))) for count in (240, 90, 50)]
    widths = [fitted(drawn).numbers["log_rim"].std_dev for drawn in cut]
    assert widths[0] < widths[1] < widths[2]


def test_a_larger_stated_noise_never_narrows_the_interval() -> None:
    drawn = draw(np.random.default_rng(5), 20.0)
    assert fitted(drawn, 2.0).numbers["log_rim"].std_dev >= fitted(drawn, 1.0).numbers["log_rim"].std_dev


def test_a_tenth_of_the_rim_on_a_shadow_hardly_moves_the_radius() -> None:
    drawn = draw(np.random.default_rng(8), 20.0)
    clean = fitted(drawn).numbers["log_rim"]
    drawn.rim.xy_px[:24] += 12.0 * (drawn.rim.xy_px[:24] - drawn.rim.xy_px.mean(0)) / 400.0
    assert abs(fitted(drawn).numbers["log_rim"].nominal_value - clean.nominal_value) < clean.std_dev
