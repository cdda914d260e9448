"""Fit the weights that `vision.joint` ships: ``python -m tests.fitting.fit_joint FITTING CHECKING``.

FITTING and CHECKING are folders of sample photos with their ``truth.json``; the checking set is only scored.
"""

import argparse
import json
from pathlib import Path

import numpy as np
from sklearn.linear_model import LogisticRegression

import vision
from tests.fitting.from_above import from_above
from vision.hat import look_inside
from vision.joint import TABLE, find_joint
from vision.measurement import FloatArray

PENALTY = 1.0


def main() -> None:
    """Fit, write the table beside `vision.joint`, and print how many of the checking set it tells right."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("fitting", type=Path)
    parser.add_argument("checking", type=Path)
    args = parser.parse_args()
    features, two_piece = examples(args.fitting)
    model = LogisticRegression(C=PENALTY, class_weight="balanced", max_iter=5000).fit(features[:, 1:], two_piece)
    weights = [float(model.intercept_[0]), *map(float, model.coef_[0])]
    provenance = f"tests/fitting/fit_joint.py: {len(features)} photos of the fitting set"
    plain = {"provenance": provenance, "weights": [round(weight, 4) for weight in weights]}
    Path(vision.__file__).with_name(TABLE).write_text(json.dumps(plain, indent=0) + "\n", encoding="utf-8")
    features, two_piece = examples(args.checking)
    right = (features @ np.array(weights) > 0) == two_piece
    print("checking:", int(right.sum()), "of", len(right), "right")


def examples(folder: Path) -> tuple[FloatArray, np.ndarray[tuple[int], np.dtype[np.bool_]]]:
    """Read a set's joints, in scenes as their truth has them."""
    features, two_piece = [], []
    for seen in from_above(folder):
        features.append(find_joint(seen.bgr, seen.view, look_inside(seen.bgr, seen.grey, seen.view)).features())
        two_piece.append(seen.row["rotor"]["construction"] == "two-piece")
    return np.array(features), np.array(two_piece)


if __name__ == "__main__":
    main()
