"""Fit what `vision.edge_rims` and `vision.edge_look` weigh: ``python -m tests.fitting.fit_edge FOLDER ...``.

Each FOLDER holds sample photos of edges with their ``truth.json``: the fitting set, or more of its kind rendered by
``python -m sample_images_synthetic.studio fitting --first 271 --last 1300 --only edge --out FOLDER``. Prints the
weights to put into the two modules, and how well they do on photos that were left out in turn.
"""

import argparse
import json
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import cv2
import numpy as np
import numpy.typing as npt
from scipy.optimize import minimize
from sklearn.linear_model import LogisticRegression

from vision.edge_fine import Ring
from vision.edge_level import quarter_turned
from vision.edge_look import Wall, ventilation_features
from vision.edge_pairs import Pairs
from vision.edge_reference import in_sight, upright_references
from vision.edge_rims import THICKEST_MM, THINNEST_MM, rim_lines, with_supposed
from vision.edge_ring import find_ring
from vision.edge_rows import Rows
from vision.edge_view import unrolled_of
from vision.measurement import FloatArray
from vision.photo import Photo, read_photo
from vision.references.parse import parse_kind
from vision.request import Request

# The truth's rim is the cylinder's upper end: the face's edge lies a chamfer further out.
# A supposed edge may be so much further off.
CHAMFER_MM, SAME_MM, SUPPOSED_MM = (0.3, 1.8), 0.3, 0.3
PENALTY, FOLDS = 0.5, 5


@dataclass(frozen=True)
class Example:
    """A photo's pairs of lines, which of them are the edges, and what its wall looks like."""

    pairs: FloatArray
    right: npt.NDArray[np.bool_]
    wall: tuple[float, float]
    vented: bool


def main() -> None:
    """Fit and print."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("folders", nargs="+", type=Path)
    examples = [example for folder in parser.parse_args().folders for example in examples_of(folder)]
    spread = np.concatenate([example.pairs for example in examples]).std(axis=0) + 1e-9
    held = [_rated(examples[fold::FOLDS], _fit(_others(examples, fold), spread) / spread) for fold in range(FOLDS)]
    first, loss = np.concatenate(held).T
    print(f"{len(examples)} photos; left out: edges first in {first.mean():.3f}, log loss {loss.mean():.3f}")
    print("WEIGHTS:", np.round(_fit(examples, spread) / spread, 2).tolist())
    looks, vented = np.array([example.wall for example in examples]), [example.vented for example in examples]
    model = LogisticRegression(C=10.0, class_weight="balanced").fit(looks, vented)
    print(
        "VENTED:", np.round([model.intercept_[0], *model.coef_[0]], 2).tolist(), f"right {model.score(looks, vented)}"
    )


def _others(examples: list[Example], fold: int) -> list[Example]:
    return [example for number, example in enumerate(examples) if number % FOLDS != fold]


def examples_of(folder: Path) -> Iterator[Example]:
    """Read a folder's photos in which ring and edges were found."""
    for row in json.loads((folder / "truth.json").read_text(encoding="utf-8")):
        photo = read_photo(folder / row["file"]) if row["group"] == "edge" else None
        ring = None if photo is None else _ring_of(photo, row)
        if photo is not None and ring is not None:
            example = _example(photo, ring, row)
            if example is not None:
                yield example


def _ring_of(photo: Photo, row: Mapping[str, Any]) -> Ring | None:
    kind = row["reference"]["kind"]
    request = Request(kind, diameter_mm=None) if kind != "none" else Request(diameter_mm=row["rotor"]["diameter_mm"])
    sightings = upright_references(photo, parse_kind(request.reference), request)
    if kind != "none" and not sightings:
        return None
    return find_ring(photo, in_sight(photo, sightings), sightings[0] if sightings else None, request.diameter_mm)


def _example(photo: Photo, ring: Ring, row: Mapping[str, Any]) -> Example | None:
    unrolled = unrolled_of(ring)
    bgr = quarter_turned(photo.bgr) if ring.level.turned else photo.bgr
    lines = with_supposed(rim_lines(unrolled, lying=not ring.level.turned))
    pairs = Pairs.of(lines, (THINNEST_MM, THICKEST_MM))
    right = _right(pairs, row["rotor"]["thickness_mm"], _true_rim_mm(ring, row))
    if not right.any():
        return None
    first = int(right.argmax())
    wall = Wall(unrolled, (pairs.height[pairs.bottom[first]], pairs.height[pairs.top[first]]))
    rated = pairs.features(Rows.of(unrolled, bgr, ring.level, ring.along))
    return Example(rated, right, ventilation_features(wall), row["rotor"]["ventilation"] == "vented")


def _right(pairs: Pairs, thick_mm: float, rim_mm: float) -> npt.NDArray[np.bool_]:
    """Tell which pairs are the edges: so thick, and one of them a chamfer's width outside the truth's rim."""
    supposed = np.array([abs(line.supposed) for line in pairs.lines])
    most_mm = SAME_MM + SUPPOSED_MM * (supposed[pairs.top] + supposed[pairs.bottom])
    low, high = CHAMFER_MM
    above, below = pairs.height[pairs.top] - rim_mm, rim_mm - pairs.height[pairs.bottom]
    beyond = ((above > low) & (above < high)) | ((below > low) & (below < high))
    return np.asarray((np.abs(pairs.thick_mm - thick_mm) < most_mm) & beyond)


def _true_rim_mm(ring: Ring, row: Mapping[str, Any]) -> float:
    """Height of the truth's rim above the camera's plane, from its nearer points."""
    camera, radius_mm = row["camera"], row["rotor"]["diameter_mm"] / 2
    focal, (x, y) = camera["focal_px"], camera["principal_px"]
    lens = np.array([[focal, 0, x], [0, focal, y], [0, 0, 1.0]])
    turn = np.arange(72) * np.pi / 36
    circle = radius_mm * np.stack([np.cos(turn), np.sin(turn), 0 * turn], axis=-1)
    rim_px = np.array(row["rim_px"])
    _, turned, shift = cv2.solvePnP(circle, rim_px, lens, np.array([camera["k1"], 0, 0, 0.0]))
    depth = (circle @ cv2.Rodrigues(turned)[0].T + shift.ravel())[:, 2]
    near_px = rim_px[depth < np.quantile(depth, 0.25)] @ ring.level.from_photo[:, :2].T + ring.level.from_photo[:, 2]
    return float(np.median(ring.along.on_cylinder(near_px, ring.along.radius_mm)[1]))


def _fit(examples: list[Example], spread: FloatArray) -> FloatArray:
    """Fit a conditional logit: of all pairs of a photo, the edges are chosen."""

    def loss(weights: FloatArray) -> tuple[float, FloatArray]:
        total, slope = PENALTY / 2 * float(weights @ weights), PENALTY * weights
        for example in examples:
            scaled = example.pairs / spread
            odds = np.exp(scaled @ weights - (scaled @ weights).max())
            share = odds / odds.sum()
            right = share * example.right
            total -= float(np.log(right.sum() + 1e-12))
            slope = slope - (right / (right.sum() + 1e-12) - share) @ scaled
        return total, slope

    return np.asarray(minimize(loss, np.zeros(len(spread)), jac=True, method="L-BFGS-B").x, np.float64)


def _rated(examples: list[Example], weights: FloatArray) -> FloatArray:
    """Whether the edges come first, and the log loss, of each photo (N, 2)."""
    rows = []
    for example in examples:
        rated = example.pairs @ weights
        odds = np.exp(rated - rated.max())
        rows.append((float(example.right[rated.argmax()]), -float(np.log((odds / odds.sum())[example.right].sum()))))
    return np.array(rows)


if __name__ == "__main__":
    main()
