"""When the ranking says 0.8, eight in ten are right: on cases from its model and from models it doesn't assume.

``python -m tests.benchmarks.calibration`` runs 20,000 cases of each world and prints the figures of the guide.
"""

import numpy as np
import pytest

from catalogue.assumptions import default_assumptions
from catalogue.load import load_catalogue
from catalogue.verdict import fits_nothing
from tests.catalogue.exact import ExactPosterior
from tests.catalogue.scores import logit_slope, reliability
from tests.catalogue.simulate import KINDS, NONE, Simulator, World, other_worlds
from tests.catalogue.strangers import TELLING, told_to_fit_nothing
from tests.catalogue.trials import Trials, answer_by, pooled, probabilities_of, run

CASES = 2200
ASSUMED = "as assumed"

CLOSE = 2e-4
"""A numerical integral on a grid against a closed form: so far may two probabilities differ."""

FEWER = {"several readings": 1}
"""Kinds whose numerical integrals are slow get fewer cases."""


@pytest.fixture(scope="module")
def trials() -> Trials:
    catalogue, assumptions = load_catalogue(), default_assumptions()
    simulator = Simulator(catalogue, World(assumptions), seed=20_000)
    return pooled(run(simulator, {ASSUMED: answer_by(catalogue, assumptions)}, CASES)[ASSUMED])


def test_outcomes_follow_what_was_said(trials: Trials) -> None:
    assert 0.95 <= logit_slope(trials.came_true, trials.said) <= 1.05


def test_an_overconfident_copy_is_found_out(trials: Trials) -> None:
    said = np.array(trials.said)
    overconfident = said**1.3 / (said**1.3 + (1 - said) ** 1.3)
    assert logit_slope(trials.came_true, overconfident) < 0.9


def test_the_best_answer_is_right_as_often_as_it_says(trials: Trials) -> None:
    said, right = np.mean(trials.best), np.mean(trials.best_is_true)
    std = np.sqrt(np.mean(np.array(trials.best) * (1 - np.array(trials.best))) / len(trials.best))
    assert abs(said - right) < 3 * std


def test_every_bin_holds_what_it_says(trials: Trials) -> None:
    bins = reliability(trials.came_true, trials.said, 10)
    std = np.sqrt(bins.said * (1 - bins.said) / bins.count)
    assert (np.abs(bins.said - bins.came_true) < 4 * std).all()


@pytest.mark.parametrize("kind", KINDS)
def test_the_ranking_is_the_exact_posterior(kind: str) -> None:
    """Against a plain loop over rows with SciPy's densities and numerical integrals."""
    catalogue, assumptions = load_catalogue(), default_assumptions()
    simulator = Simulator(catalogue, World(assumptions), seed=7)
    exact, answer = (
        ExactPosterior(catalogue, assumptions, simulator.weight, simulator),
        answer_by(catalogue, assumptions),
    )
    for _ in range(FEWER.get(kind, 2)):
        evidence = simulator.case(kind).evidence
        expected, found = exact(evidence), probabilities_of(answer(evidence))
        assert expected.keys() == found.keys()
        assert max(abs(expected[key] - found[key]) for key in expected) < CLOSE


@pytest.mark.parametrize("world", [name for name in other_worlds(default_assumptions()) if name != ASSUMED])
def test_worlds_that_it_does_not_assume_leave_it_usable(world: str) -> None:
    """The acceptance asks for a slope of 0.85 to 1.2 there."""
    catalogue, assumptions = load_catalogue(), default_assumptions()
    simulator = Simulator(catalogue, other_worlds(assumptions)[world], seed=1)
    found = pooled(run(simulator, {ASSUMED: answer_by(catalogue, assumptions)}, 550)[ASSUMED])
    assert 0.85 <= logit_slope(found.came_true, found.said) <= 1.2


@pytest.mark.parametrize(("kind", "seen"), TELLING)
def test_nine_in_ten_strange_rotors_fit_nothing(kind: str, seen: str) -> None:
    """Of every kind that these readings can tell at all; ``python -m tests.benchmarks.strangers`` runs more of each."""
    assert told_to_fit_nothing(load_catalogue(), kind, seen, count=30, seed=3) >= 0.9


def test_few_of_the_catalogues_own_rotors_are_told_so() -> None:
    """One in a hundred readings is grossly wrong: hardly more than those make their rotor fit nothing as read."""
    catalogue, assumptions = load_catalogue(), default_assumptions()
    simulator, answer = Simulator(catalogue, World(assumptions), seed=4), answer_by(catalogue, assumptions)
    cases = [simulator.case(list(KINDS)[number % len(KINDS)]) for number in range(660)]
    own = [fits_nothing(answer(case.evidence), assumptions) for case in cases if case.fitment != NONE]
    assert np.mean(own) < 0.03


def test_simulated_strangers_are_drawn() -> None:
    simulator = Simulator(load_catalogue(), World(default_assumptions()), seed=2)
    drawn = [simulator.case("size").fitment == NONE for _ in range(1000)]
    assert 5 <= sum(drawn) <= 40
