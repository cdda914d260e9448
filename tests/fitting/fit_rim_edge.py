"""Fit the table of `vision.rim_edge`: ``python -m tests.fitting.fit_rim_edge FITTING``.

FITTING is a folder of sample photos with its ``truth.json``. Prints how far off the edge is told, with each tenth of
the photos left out in turn.
"""

import argparse
import json
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from sklearn.decomposition import PCA
from sklearn.model_selection import KFold
from sklearn.preprocessing import StandardScaler
from sklearn.svm import SVR

import vision
from vision import Request, read_photo
from vision.assemble import first_scene
from vision.measurement import NORMAL_95, FloatArray
from vision.placing import Placed
from vision.references.parse import TAG
from vision.references.tag import find_tags
from vision.rim_edge import TABLE, Judge, follow
from vision.rotor import find_rotor

AXES, WIDTH, COST, SLACK_MM = 8, 0.6, 1.0, 0.05
# The error's logarithm: an error so small is none; its own slack.
LEAST_MM, LOG_COST, LOG_SLACK, LOG_WIDTH = 0.03, 0.5, 0.1, 0.3
# Farther off, the wrong circle was followed, and nothing can be learned of this one's edges.
MOST_MM = 2.5
FOLDS = 10


@dataclass(frozen=True)
class Example:
    """One part of a rim that was followed, and how far outward of the silhouette it lay, mm."""

    part: str
    features: FloatArray
    gap_mm: float


def examples(folder: Path) -> Iterator[Example]:
    """Follow the rims of a set's faces; scales are those of the truth."""
    for row in json.loads((folder / "truth.json").read_text(encoding="utf-8")):
        if row["group"] in ("face-on", "on-car") and row["expect"] == "measured":
            yield from followed(folder, row)


def followed(folder: Path, row: dict[str, Any]) -> Iterator[Example]:
    """Follow one face's rim in a scene of the truth's scale."""
    photo = read_photo(folder / row["file"])
    tags = find_tags(photo.grey, TAG) if row["reference"]["kind"] == "tag" else []
    rims = find_rotor(photo.bgr, photo.grey, tags)
    if not rims:
        return
    placed = [Placed(tag, f"ref{number}", "face") for number, tag in enumerate(tags)]
    scene, _, sights = first_scene(photo, Request(), rims[0], placed)
    true = scene.to_plane(np.array(row["rim_px"], float), -scene.values["chamfer"])
    turn, radius = np.arctan2(true[:, 1], true[:, 0]), np.linalg.norm(true, axis=1)
    unit_mm = float(radius.mean()) / (row["rotor"]["diameter_mm"] / 2)
    for part, side in (("bright_rim", 1), ("dark_rim", -1)):
        seen = follow(photo.bgr, scene, sights.rim.chosen(sights.rim.bright_inside == side), unit_mm)
        if seen is not None:
            outward = np.interp(seen.angle_rad, *_sorted(turn, radius), period=2 * np.pi) - scene.rim_radius_mm
            yield Example(part, seen.features, float(np.median(seen.line_mm - outward / unit_mm)))


def _sorted(turn: FloatArray, radius: FloatArray) -> tuple[FloatArray, FloatArray]:
    order = np.argsort(turn)
    return turn[order], radius[order]


def fit_judge(features: FloatArray, gap_mm: FloatArray) -> dict[str, Any]:
    """Fit one part's judge; its errors are those of photos left out."""
    off = np.abs(gap_mm - left_out(features, gap_mm)[:, 0])
    plain = _fitted(features, gap_mm, off)
    spread = left_out(features, gap_mm, off)[:, 1]
    plain["doubt"] = round(float(np.quantile(off / spread, 0.95)) / NORMAL_95, 4)
    return plain


def left_out(features: FloatArray, gap_mm: FloatArray, off_mm: FloatArray | None = None) -> FloatArray:
    """Judge each example by the others: (N, 2), means and bare deviations, mm."""
    off = np.full(len(gap_mm), LEAST_MM) if off_mm is None else off_mm
    told = np.empty((len(gap_mm), 2))
    for rest, out in KFold(FOLDS, shuffle=True, random_state=1).split(features):
        judge = Judge.of(_fitted(features[rest], gap_mm[rest], off[rest]))
        told[out] = [judge.judge(each) for each in features[out]]
    return told


def _fitted(features: FloatArray, gap_mm: FloatArray, off_mm: FloatArray) -> dict[str, Any]:
    scaled = StandardScaler().fit(features)
    main = PCA(AXES).fit(scaled.transform(features))
    axes = main.components_ / scaled.scale_
    at = (features - scaled.mean_) @ axes.T
    weights = np.zeros((len(at), 2))
    base = np.zeros(2)
    width = np.array([WIDTH, LOG_WIDTH]) / features.shape[1]
    logs = np.log(off_mm + LEAST_MM)
    for column, (target, cost, slack) in enumerate(((gap_mm, COST, SLACK_MM), (logs, LOG_COST, LOG_SLACK))):
        model = SVR(C=cost, epsilon=slack, gamma=width[column]).fit(at, target)
        weights[model.support_, column], base[column] = model.dual_coef_[0], model.intercept_[0]
    used = np.any(weights != 0, axis=1)
    return {
        "middle": np.round(scaled.mean_, 3).tolist(),
        "axes": np.round(axes, 4).tolist(),
        "examples": np.round(at[used], 2).tolist(),
        "weights": np.round(weights[used], 3).tolist(),
        "width": np.round(width, 6).tolist(),
        "base": np.round(base, 4).tolist(),
        "doubt": 1.0,
    }


def main() -> None:
    """Fit, write the table beside `vision.rim_edge`, and print the errors of photos left out."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("fitting", type=Path)
    args = parser.parse_args()
    every = [example for example in examples(args.fitting) if abs(example.gap_mm) < MOST_MM]
    plain: dict[str, Any] = {}
    for part in ("bright_rim", "dark_rim"):
        features = np.array([example.features for example in every if example.part == part])
        gap_mm = np.array([example.gap_mm for example in every if example.part == part])
        plain[part] = fit_judge(features, gap_mm)
        off = np.abs(gap_mm - left_out(features, gap_mm)[:, 0])
        same = np.abs(gap_mm - np.median(gap_mm))
        print(f"{part}: {len(off)} rims, errors in the median and at 95 %, mm; then with one place for all:")
        print(*(f"{np.quantile(errors, share):.3f}" for errors in (off, same) for share in (0.5, 0.95)))
    plain["provenance"] = f"tests/fitting/fit_rim_edge.py: {len(every)} parts of rims of the fitting set"
    Path(vision.__file__).with_name(TABLE).write_text(json.dumps(plain) + "\n", encoding="utf-8")


if __name__ == "__main__":
    main()
