"""Likelihoods of lengths, words and ratios against scipy.stats, written out for one row at a time."""

from itertools import combinations

import numpy as np
import pytest
from scipy import stats

from catalogue.assumptions import default_assumptions
from catalogue.joint import Nominals, Readings, log_likelihood
from catalogue.kinds import kind_likelihood, replaced_surface
from catalogue.observation import AxleEvidence
from catalogue.population import Spread, spread_of
from catalogue.schema import SURFACES

ASSUMED = default_assumptions()
GROSS = 0.01
SPREAD = (Spread(320.0, 35.0), Spread(200.0, 25.0))
TOLERANCE = np.array([0.2, 0.4])
ROWS = np.array([[330.0, 212.0], [348.0, np.nan], [320.0, 190.0], [np.nan, np.nan]])
COVARIANCE = np.array([[4.0, 2.2], [2.2, 2.0]])
READ = np.array([331.0, 213.0])


def expected(row: np.ndarray) -> float:
    """Sum over which readings are gross: none, either, both each on its own or the photo as a whole."""
    known = np.isfinite(row)
    mean = np.where(known, row, [each.mean for each in SPREAD])
    std = np.where(known, TOLERANCE, [each.std for each in SPREAD])
    joint = COVARIANCE + np.diag(std**2)
    alone = [
        stats.norm.pdf(READ[at], SPREAD[at].mean, np.hypot(SPREAD[at].std, np.sqrt(COVARIANCE[at, at])))
        for at in range(2)
    ]
    total = GROSS * alone[0] * alone[1]
    for size in range(2):
        for gross in combinations(range(2), size):
            sound = [at for at in range(2) if at not in gross]
            term = GROSS**size * (1 - GROSS) ** len(sound)
            term *= stats.multivariate_normal.pdf(READ[sound], mean[sound], joint[np.ix_(sound, sound)])
            total += term * np.prod([alone[at] for at in gross])
    return float(total)


def test_joint_lengths_are_a_mixture_of_normals() -> None:
    readings = Readings(READ, COVARIANCE, (0, 1), ((0, 1),))
    found = np.exp(log_likelihood(readings, Nominals(ROWS, TOLERANCE, SPREAD), GROSS))
    np.testing.assert_allclose(found, [expected(row) for row in ROWS], rtol=1e-10)


def test_one_length_is_a_normal_with_a_gross_part() -> None:
    readings = Readings(np.array([330.4]), np.array([[0.09]]), (0,))
    nominals = Nominals(ROWS[:, :1], TOLERANCE[:1], SPREAD[:1])
    found = np.exp(log_likelihood(readings, nominals, GROSS))
    gross = stats.norm.pdf(330.4, 320, np.hypot(35, 0.3))
    sound = [stats.norm.pdf(330.4, nominal, np.hypot(0.3, 0.2)) for nominal in (330, 348, 320)]
    np.testing.assert_allclose(found, [*((1 - GROSS) * each + GROSS * gross for each in sound), gross], rtol=1e-10)


def test_two_readings_of_a_length_not_known_share_it() -> None:
    """A row without the cell gives two readings that agree more than the product of their densities."""
    readings = Readings(np.array([330.4, 330.1]), np.diag([0.09, 0.09]), (0, 0))
    found = np.exp(log_likelihood(readings, Nominals(ROWS[:, :1], TOLERANCE[:1], SPREAD[:1]), 1e-12))[-1]
    shared = np.full((2, 2), 35.0**2) + np.diag([0.09, 0.09])
    assert found == pytest.approx(stats.multivariate_normal.pdf([330.4, 330.1], [320, 320], shared), rel=1e-6)


def test_population_is_the_widened_normal_of_what_is_known() -> None:
    values = np.array([300.0, 320.0, np.nan, 350.0])
    spread = spread_of(values, ASSUMED)
    known = values[np.isfinite(values)]
    mean, std = stats.norm.fit(known)
    assert spread is not None
    assert (spread.mean, spread.std) == pytest.approx((mean, ASSUMED.population_widening * std))


def test_a_word_is_a_column_of_the_table_of_mix_ups() -> None:
    axle = AxleEvidence(words={"surface": "drilled"})
    told = kind_likelihood(axle, "surface", ASSUMED)
    assert told is not None
    np.testing.assert_allclose(told, ASSUMED.confusion["surface"][:, SURFACES.index("drilled")])
    chance = ASSUMED.replaced_surface
    mixing = (1 - chance - chance / 5) * np.eye(6) + chance / 5
    np.testing.assert_allclose(replaced_surface(told, axle, ASSUMED), mixing @ told, rtol=1e-12)
    new = AxleEvidence(words={"surface": "drilled"}, condition="new")
    np.testing.assert_array_equal(replaced_surface(told, new, ASSUMED), told)
