"""Fit what `vision.edge_look` weighs: ``python -m tests.fitting.fit_ventilation FOLDER [FOLDER ...]``.

Each FOLDER holds sample photos of edges with their ``truth.json``: the fitting set, or more of its kind rendered by
``python -m sample_images_synthetic.studio fitting --first 271 --last 1300 --only edge --out FOLDER``. Prints the
constants and how often they are right on photos that were left out in turn.
"""

import argparse
import json
from collections.abc import Iterator, Sequence
from pathlib import Path
from unittest.mock import patch

import numpy as np
from sklearn.linear_model import LogisticRegression
from sklearn.model_selection import cross_val_score

from tests.fitting.renders import request_of
from vision import read_photo
from vision.edge_look import Wall, ventilation_features
from vision.edge_view import measure_edge

FOLDS, CAREFUL = 5, 10.0


def main() -> None:
    """Fit and print."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("folders", nargs="+", type=Path)
    looked = [each for folder in parser.parse_args().folders for each in looks_of(folder)]
    looks, vented = np.array([look for look, _ in looked]), [vented for _, vented in looked]
    model = LogisticRegression(C=CAREFUL, class_weight="balanced")
    right = cross_val_score(model, looks, vented, cv=FOLDS).mean()
    model.fit(looks, vented)
    constants = np.round([model.intercept_[0], *model.coef_[0]], 2).tolist()
    print(f"VENTED = {tuple(constants)}: right in {right:.3f} of {len(looked)}")


def looks_of(folder: Path) -> Iterator[tuple[Sequence[float], bool]]:
    """Read what walls of a folder's edge photos look like where they are found, and whether they are vented."""
    for row in json.loads((folder / "truth.json").read_text(encoding="utf-8")):
        walls: list[Wall] = []

        def kept(wall: Wall, walls: list[Wall] = walls) -> dict[str, float]:
            walls.append(wall)
            return {"vented": 0.5, "solid": 0.5}

        if row["group"] == "edge":
            with patch("vision.edge_view.ventilation", kept):
                measure_edge(read_photo(folder / row["file"]), request_of(row))
        for wall in walls:
            yield ventilation_features(wall), row["rotor"]["ventilation"] == "vented"


if __name__ == "__main__":
    main()
