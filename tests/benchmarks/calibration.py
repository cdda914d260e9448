"""Calibration of the ranking on many simulated cases, in its own world and in worlds that it doesn't assume.

``python -m tests.benchmarks.calibration [CASES]`` prints a table in Markdown: slope of outcomes on logits, log loss
over that of a ranking that knows the world, how often the best answer is right and how often it could be, and the
expected calibration error beside what a perfectly calibrated ranking would show by chance.
"""

import sys
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace

import numpy as np

from catalogue import thickness
from catalogue.assumptions import Assumptions, default_assumptions
from catalogue.density import log_normal
from catalogue.load import load_catalogue
from catalogue.schema import Catalogue, FloatArray
from catalogue.thickness import Limits
from tests.catalogue.scores import logit_slope, reliability
from tests.catalogue.simulate import KINDS, Simulator, World, other_worlds
from tests.catalogue.trials import Answer, Trials, answer_by, pooled, run

CASES = 20_000
OTHER_WORLDS = 2
"""A world that it doesn't assume gets so many times fewer cases."""

SEED = 20_241_125
BINS = 15
QUANTILES = (np.arange(64) + 0.5) / 64
WORN = thickness.log_worn


def knowing(catalogue: Catalogue, world: World) -> Answer:
    """Return the ranking of one who knows the world."""
    assumptions = world.assumptions
    if world.mislabelled:
        elsewhere, replaced = world.mislabelled * 5 / 6, assumptions.replaced_surface
        stays = (1 - elsewhere) * (1 - replaced) + elsewhere * replaced / 5
        assumptions = replace(assumptions, replaced_surface=1 - stays)
    plain = answer_by(catalogue, assumptions)
    if world.wear is None:
        return plain
    drawn = np.random.default_rng(0)
    wear = np.sort([world.wear(drawn, 1.0) for _ in range(6400)])[(QUANTILES * 6400).astype(int)]

    def answer(evidence: dict[str, object]) -> object:
        with worn_by(wear):
            return plain(evidence)

    return answer  # type: ignore[return-value]


@contextmanager
def worn_by(wear: FloatArray) -> Iterator[None]:
    """Let rings wear by these equally likely shares of their usable thickness."""

    def log_worn(read_mm: FloatArray, std_mm: float, limits: Limits, assumptions: Assumptions) -> FloatArray:
        usable = limits.new_mm - limits.discard_or_usual(assumptions)
        logs = [log_normal(read_mm - limits.new_mm + share * usable, std_mm) for share in wear]
        mean: FloatArray = np.logaddexp.reduce(logs) - np.log(len(wear))
        return mean

    thickness.log_worn = log_worn  # type: ignore[assignment]
    try:
        yield
    finally:
        thickness.log_worn = WORN


def chance_error(trials: Trials) -> float:
    """Return the expected calibration error that perfectly calibrated best answers would show by chance."""
    random, said = np.random.default_rng(1), np.array(trials.best)
    return float(np.mean([reliability(random.random(len(said)) < said, said, BINS).expected_error for _ in range(50)]))


def row(name: str, trials: Trials, knowing_it: Trials) -> str:
    """Return one line of the table."""
    error = reliability(trials.best_is_true, trials.best, BINS).expected_error
    cells = [
        name,
        f"{logit_slope(trials.came_true, trials.said):.3f}",
        f"{trials.log_loss_bits:.3f}",
        f"{trials.log_loss_bits - knowing_it.log_loss_bits:+.3f}",
        f"{np.mean(trials.best_is_true):.3f}",
        f"{np.mean(knowing_it.best_is_true):.3f}",
        f"{error:.4f}",
        f"{chance_error(trials):.4f}",
    ]
    return "| " + " | ".join(cells) + " |"


def main(cases: int) -> None:
    """Print the tables: a line a world, and a line a kind of case in the assumed world."""
    catalogue, assumptions = load_catalogue(), default_assumptions()
    print("| world | slope | log loss, bits | over one who knows it | top-1 right | best possible | ECE | by chance |")
    print("| --- | --- | --- | --- | --- | --- | --- | --- |")
    own: dict[str, Trials] = {}
    for name, world in other_worlds(assumptions).items():
        answers = {"assumed": answer_by(catalogue, assumptions), "knowing": knowing(catalogue, world)}
        found = run(Simulator(catalogue, world, SEED), answers, cases if not own else cases // OTHER_WORLDS)
        own = own or found["assumed"]
        print(row(name, pooled(found["assumed"]), pooled(found["knowing"])), flush=True)
    print("\n| kind, as assumed | slope | log loss, bits | top-1 right | top-1 said |")
    print("| --- | --- | --- | --- | --- |")
    for kind in KINDS:
        each = own[kind]
        cells = [f"{logit_slope(each.came_true, each.said):.3f}", f"{each.log_loss_bits:.3f}"]
        cells += [f"{np.mean(each.best_is_true):.3f}", f"{np.mean(each.best):.3f}"]
        print(f"| {kind} | " + " | ".join(cells) + " |")


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else CASES)
