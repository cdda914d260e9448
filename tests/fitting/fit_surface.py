"""Fit the table that `vision.surface` ships: ``python -m tests.fitting.fit_surface FITTING [--drawings N]``.

FITTING is a folder of sample photos with its ``truth.json``. Every photo is read twice: in a scene as its truth has
it, and as the program measures it, wrong edges, masks and rims and all, so that the probabilities know what goes wrong
before them. Drawn rotors join, so that nothing rests on one renderer's looks. Fits that each leave out a fifth of the
photos set how sharp the probabilities are.
"""

import argparse
import json
from collections.abc import Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import Any

import numpy as np

import vision
from tests.fitting.drawings import drawn_example
from tests.fitting.renders import measured_example, rendered_example
from tests.fitting.table import Example, fit_table, sharpness
from vision.measurement import FloatArray
from vision.surface import TABLE

MEASURED_WEIGHT, POSED_WEIGHT = 10.0, 8.0
FOLDS = 5


@dataclass(frozen=True)
class Read:
    """A photo's features: posed by its truth, and as measured where the program looks at the face."""

    posed: Example
    measured: Example | None


def main() -> None:
    """Fit and write the table beside `vision.surface`."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("fitting", type=Path)
    parser.add_argument("--drawings", type=int, default=400)
    parser.add_argument("--jobs", type=int, default=2)
    args = parser.parse_args()
    with ProcessPoolExecutor(args.jobs) as pool:
        read = photos(pool, args.fitting)
        drawn = list(pool.map(drawn_example, range(args.drawings), chunksize=8))
    path = Path(vision.__file__).with_name(TABLE)
    path.write_text(json.dumps(fit(read, drawn), indent=0) + "\n", encoding="utf-8")


def photos(pool: ProcessPoolExecutor, folder: Path) -> list[Read]:
    """Read the features of a set's face photos that ought to tell their surface."""
    rows = json.loads((folder / "truth.json").read_text(encoding="utf-8"))
    wanted = [row for row in rows if row["rotor"] and row["group"] != "edge" and tells(row)]
    return list(pool.map(partial(read_twice, folder=folder), wanted, chunksize=4))


def read_twice(row: dict[str, Any], folder: Path) -> Read:
    """Read one photo's features both ways."""
    return Read(rendered_example(row, folder), measured_example(row, folder))


def tells(row: dict[str, Any]) -> bool:
    """Whether a photo is to be measured, or lacks nothing but a scale."""
    return row["expect"] == "measured" or "no-reference" in (row["expect_codes"] or [])


def fit(read: Sequence[Read], drawn: Sequence[Example]) -> dict[str, Any]:
    """Fit on all photos and drawings, as sharp as is right for photos as they are measured, kept out of a fit."""
    kept_out = []
    for fold in range(FOLDS):
        others = [photo for number, photo in enumerate(read) if number % FOLDS != fold]
        kept_out.append((fitted(others, drawn), measured(read[fold::FOLDS])))
    provenance = (
        f"tests/fitting/fit_surface.py: {len(read)} photos of the fitting set, as measured (weight "
        f"{MEASURED_WEIGHT:g}) and as posed by their truth (weight {POSED_WEIGHT:g}), and {len(drawn)} drawings; "
        f"sharpness from {FOLDS} fits that each leave out some of the photos"
    )
    return {"provenance": provenance, **fitted(read, drawn), "sharpness": sharpness(kept_out)}


def fitted(read: Sequence[Read], drawn: Sequence[Example]) -> dict[str, Any]:
    """Fit one table."""
    parts = [(measured(read), MEASURED_WEIGHT), ([photo.posed for photo in read], POSED_WEIGHT), (drawn, 1.0)]
    weights: FloatArray = np.concatenate([np.full(len(part), weight) for part, weight in parts])
    return fit_table([example for part, _ in parts for example in part], weights)


def measured(read: Sequence[Read]) -> list[Example]:
    """Return the examples as the program measures them."""
    return [photo.measured for photo in read if photo.measured is not None]


if __name__ == "__main__":
    main()
