"""Fit the table that `vision.surface` ships: ``python -m tests.fitting.fit_surface FITTING NETS [--drawings N]``.

FITTING is a folder of sample photos with its ``truth.json``; NETS one with a net of `fit_cuts` for each fold that was
left out, ``cuts_0.json`` and on. Every photo is read twice, as some phone might have developed it: in a scene as its
truth has it, and as the program measures it, wrong edges, masks and rims and all, so that the probabilities know what
goes wrong before them; both by the net that doesn't know it. Drawn rotors join, so that nothing rests on one
renderer's looks. Fits that each leave out a fifth of the photos set how sharp the probabilities are.
"""

import argparse
import json
from collections.abc import Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import Any
from unittest.mock import patch

import numpy as np

import vision
from tests.fitting.cut_examples import FOLDS
from tests.fitting.drawings import drawn_example
from tests.fitting.renders import measured_example, photo_of, rendered_example, wanted
from tests.fitting.table import Example, fit_table, sharpness
from vision.cuts import Net
from vision.measurement import FloatArray
from vision.surface import TABLE

MEASURED_WEIGHT, POSED_WEIGHT = 10.0, 8.0
# The nets know the drawings before this one.
FIRST_DRAWING = 100_000


@dataclass(frozen=True)
class Read:
    """A photo's features: posed by its truth, and as measured where the program looks at the face."""

    posed: Example
    measured: Example | None


def main() -> None:
    """Fit and write the table beside `vision.surface`."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("fitting", type=Path)
    parser.add_argument("nets", type=Path)
    parser.add_argument("--drawings", type=int, default=400)
    parser.add_argument("--jobs", type=int, default=2)
    args = parser.parse_args()
    with ProcessPoolExecutor(args.jobs) as pool:
        read = photos(pool, args.fitting, args.nets)
        drawings = range(FIRST_DRAWING, FIRST_DRAWING + args.drawings)
        drawn = list(pool.map(drawn_example, drawings, chunksize=8))
    path = Path(vision.__file__).with_name(TABLE)
    path.write_text(json.dumps(fit(read, drawn), indent=0) + "\n", encoding="utf-8")


def photos(pool: ProcessPoolExecutor, folder: Path, nets: Path | None = None) -> list[Read]:
    """Read the features of a set's face photos that ought to tell their surface; by the shipped net where none is."""
    read = partial(read_twice, folder=folder, nets=nets)
    return list(pool.map(read, enumerate(wanted(folder)), chunksize=4))


def read_twice(numbered: tuple[int, dict[str, Any]], folder: Path, nets: Path | None) -> Read:
    """Read one photo's features both ways."""
    number, row = numbered
    if nets is None:
        photo = photo_of(row, folder)
        return Read(rendered_example(row, photo), measured_example(row, photo))
    photo = photo_of(row, folder, number)
    net = Net.of(json.loads((nets / f"cuts_{number % FOLDS}.json").read_text(encoding="utf-8")))
    with patch("vision.surface.find_cuts", net.cuts):
        return Read(rendered_example(row, photo), measured_example(row, photo))


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
