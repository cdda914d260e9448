"""Runs simulated cases through the ranking and collects what it said and what was true."""

from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from catalogue.assumptions import Assumptions
from catalogue.evidence import read_evidence
from catalogue.posterior import Posterior, posterior
from catalogue.prepare import prepare
from catalogue.schema import Catalogue
from tests.catalogue.simulate import KINDS, NONE, Case, Simulator

Answer = Callable[[dict[str, Any]], Posterior]


@dataclass
class Trials:
    """What was said of every hypothesis of every case, and whether it was true; and what the truth was given."""

    said: list[float] = field(default_factory=list)
    came_true: list[bool] = field(default_factory=list)
    of_truth: list[float] = field(default_factory=list)
    best: list[float] = field(default_factory=list)
    best_is_true: list[bool] = field(default_factory=list)

    def add(self, probabilities: dict[tuple[int, str], float], case: Case) -> None:
        """Take down one answer."""
        truth = (NONE, "") if case.fitment == NONE else (case.fitment, case.axle)
        self.said += list(probabilities.values())
        self.came_true += [key == truth for key in probabilities]
        self.of_truth.append(probabilities.get(truth, 0.0))
        likeliest = max(probabilities, key=lambda key: probabilities[key])
        self.best.append(probabilities[likeliest])
        self.best_is_true.append(likeliest == truth)

    @property
    def log_loss_bits(self) -> float:
        """Mean of what the truth cost."""
        return float(-np.log2(np.maximum(self.of_truth, 1e-12)).mean())


def answer_by(catalogue: Catalogue, assumptions: Assumptions) -> Answer:
    """Return the ranking as a function of evidence in wire form."""
    prepared = prepare(catalogue)
    return lambda evidence: posterior(prepared, read_evidence(evidence), assumptions)


def probabilities_of(belief: Posterior) -> dict[tuple[int, str], float]:
    """Return the probability of each (fitment, axle) in the scope, and of (NONE, "")."""
    found = {(NONE, ""): belief.none_of_these}
    for reading in belief.hypotheses:
        for fitment in np.flatnonzero(reading.prior > 0).tolist():
            found[fitment, reading.axle] = float(reading.probability[fitment])
    return found


def run(simulator: Simulator, answers: dict[str, Answer], cases: int) -> dict[str, dict[str, Trials]]:
    """Draw cases, as many of each kind, and put each to every answer: answer's name, then kind, to its trials."""
    trials = {name: {kind: Trials() for kind in KINDS} for name in answers}
    for number in range(cases):
        case = simulator.case(list(KINDS)[number % len(KINDS)])
        for name, answer in answers.items():
            trials[name][case.kind].add(probabilities_of(answer(case.evidence)), case)
    return trials


def pooled(trials: dict[str, Trials]) -> Trials:
    """Return the trials of all kinds together."""
    whole = Trials()
    for each in trials.values():
        for name in ("said", "came_true", "of_truth", "best", "best_is_true"):
            getattr(whole, name).extend(getattr(each, name))
    return whole
