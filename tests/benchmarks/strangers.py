"""How many strange rotors are told to fit nothing, by kind and by what is read of them.

``python -m tests.benchmarks.strangers [COUNT]`` prints a table in Markdown for the demo catalogue and for one that is
generated, and how many of the catalogue's own rotors are so answered.
"""

import sys
import tempfile
from pathlib import Path

import numpy as np

from catalogue.assumptions import default_assumptions
from catalogue.generate import generate_catalogue
from catalogue.load import load_catalogue
from catalogue.schema import Catalogue
from catalogue.verdict import fits_nothing
from tests.catalogue.simulate import KINDS as CASES
from tests.catalogue.simulate import NONE, Simulator, World
from tests.catalogue.strangers import KINDS, SEEN, TELLING, told_to_fit_nothing
from tests.catalogue.trials import answer_by

COUNT = 150
SEED = 6
FITMENTS = 300


def table(catalogue: Catalogue, count: int) -> None:
    """Print a line for each kind of strange rotor, and one for the catalogue's own."""
    print("| strange in | " + " | ".join(SEEN) + " |")
    print("| --- |" + " --- |" * len(SEEN))
    for kind in KINDS:
        shares = [
            f"{told_to_fit_nothing(catalogue, kind, seen, count=count, seed=SEED):.2f}"
            if (kind, seen) in TELLING
            else "-"
            for seen in SEEN
        ]
        print(f"| {kind} | " + " | ".join(shares) + " |", flush=True)


def own_told_so(catalogue: Catalogue, count: int) -> float:
    """Return the share of the catalogue's own rotors that are told to fit nothing, gross errors and all."""
    assumptions = default_assumptions()
    answer, simulator = answer_by(catalogue, assumptions), Simulator(catalogue, World(assumptions), SEED)
    cases = [simulator.case(list(CASES)[number % len(CASES)]) for number in range(count)]
    own = [case for case in cases if case.fitment != NONE]
    return float(np.mean([fits_nothing(answer(case.evidence), assumptions) for case in own]))


def main(count: int) -> None:
    """Print the tables."""
    demo = load_catalogue()
    table(demo, count)
    print(f"\nThe demo catalogue's own rotors so answered: {own_told_so(demo, 20 * count):.3f}\n")
    with tempfile.TemporaryDirectory() as folder:
        generate_catalogue(Path(folder), fitments=FITMENTS, seed=1)
        table(load_catalogue(Path(folder)), count)


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else COUNT)
