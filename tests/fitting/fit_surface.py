"""Fit the table that `vision.surface` ships: ``python -m tests.fitting.fit_surface FITTING CHECKING [--drawings N]``.

FITTING and CHECKING are folders of sample photos with their ``truth.json``. Drawn rotors join the rendered ones, so
that nothing rests on one renderer's looks. A fifth of the fitting photos, kept out of a first fit, sets how sharp the
probabilities are; the checking set is only scored.
"""

import argparse
import json
from collections.abc import Sequence
from concurrent.futures import ProcessPoolExecutor
from functools import partial
from pathlib import Path
from typing import Any

import numpy as np

import vision
from tests.fitting.drawings import drawn_example
from tests.fitting.renders import rendered_example
from tests.fitting.table import Example, confusion, fit_table, log_loss
from vision.measurement import FloatArray
from vision.surface import TABLE, Table

RENDER_WEIGHT = 8.0
CALIBRATING = 5


def main() -> None:
    """Fit, write the table beside `vision.surface`, and print its scores."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("fitting", type=Path)
    parser.add_argument("checking", type=Path)
    parser.add_argument("--drawings", type=int, default=400)
    parser.add_argument("--jobs", type=int, default=2)
    args = parser.parse_args()
    with ProcessPoolExecutor(args.jobs) as pool:
        rendered, checking = (photos(pool, folder) for folder in (args.fitting, args.checking))
        drawn = list(pool.map(drawn_example, range(args.drawings), chunksize=8))
    plain = fit(rendered, drawn)
    path = Path(vision.__file__).with_name(TABLE)
    path.write_text(json.dumps(plain, indent=0) + "\n", encoding="utf-8")
    table = Table.of(plain)
    print("checking:", len(checking), "photos, log loss", round(log_loss(checking, table), 3))
    print(confusion(checking, table).astype(int))


def photos(pool: ProcessPoolExecutor, folder: Path) -> list[Example]:
    """Read the features of a set's face photos that ought to tell their surface."""
    rows = json.loads((folder / "truth.json").read_text(encoding="utf-8"))
    wanted = [row for row in rows if row["rotor"] and row["group"] != "edge" and tells(row)]
    return list(pool.map(partial(rendered_example, folder=folder), wanted, chunksize=4))


def tells(row: dict[str, Any]) -> bool:
    """Whether a photo is to be measured, or lacks nothing but a scale."""
    return row["expect"] == "measured" or "no-reference" in (row["expect_codes"] or [])


def fit(rendered: Sequence[Example], drawn: Sequence[Example]) -> dict[str, Any]:
    """Set the sharpness on a fifth of the photos, kept out of a fit on the others, then fit on all of them."""
    calibrating = rendered[::CALIBRATING]
    others = [example for i, example in enumerate(rendered) if i % CALIBRATING]
    sharpness = fit_table([*others, *drawn], calibrating, weights(others, drawn))["sharpness"]
    provenance = (
        f"tests/fitting/fit_surface.py: {len(rendered)} photos of the fitting set (weight {RENDER_WEIGHT:g}) and "
        f"{len(drawn)} drawings; sharpness from {len(calibrating)} of the photos, kept out of a first fit"
    )
    plain = fit_table([*rendered, *drawn], calibrating, weights(rendered, drawn))
    return {"provenance": provenance, **plain, "sharpness": sharpness}


def weights(rendered: Sequence[Example], drawn: Sequence[Example]) -> FloatArray:
    """Weigh a photo as much as several drawings."""
    return np.concatenate([np.full(len(rendered), RENDER_WEIGHT), np.ones(len(drawn))])


if __name__ == "__main__":
    main()
