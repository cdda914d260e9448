"""Fit the weights by which `vision.hat` chooses edges: ``python -m tests.fitting.fit_circles FITTING``.

FITTING is a folder of sample photos with its ``truth.json``. Every circle that stands out in a photo is an example:
it is the hat's edge, the ring's inner edge, or neither.
"""

import argparse
import json
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import cv2
import numpy as np
from sklearn.linear_model import LogisticRegression

import vision
from tests.fitting.from_above import from_above
from vision import hat
from vision.bolts import Bolts, find_bolts
from vision.concentric import Circle
from vision.hat import TABLE, Middle, hat_steps, inner_steps, place_bolts
from vision.measurement import FloatArray
from vision.ring import Pixels
from vision.steps import Steps
from vision.top_view import TopView

PENALTY = 0.3
# How near the truth an edge must lie to be it: the hat's is rounded.
NEAR = {"hat": 0.012, "ring_inner": 0.008}


@dataclass(frozen=True, eq=False)
class Scene:
    """A photo's rotor, seen from above, and its truth."""

    row: dict[str, Any]
    path: Path
    view: TopView
    middle: Middle

    @property
    def bgr(self) -> Pixels:
        """The photo, read anew: all of them at once fill a machine's memory."""
        return np.asarray(cv2.imread(str(self.path)), np.uint8)


def main() -> None:
    """Fit the hat's weights, find the hats by them, fit the ring's, and write both beside `vision.hat`."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("fitting", type=Path)
    args = parser.parse_args()
    scenes = list(read(args.fitting))
    seen = [(scene, hat_steps(scene.bgr, scene.view, bolts)) for scene in scenes if (bolts := _up(scene)) is not None]
    weights = {"hat": fitted([(scene, steps) for scene, (steps, _) in seen], "hat")}
    known = {scene.row["id"]: _hat(steps, top_mm, np.array(weights["hat"])) for scene, (steps, top_mm) in seen}
    rings = []
    for scene in scenes:
        found = known.get(scene.row["id"])
        middle = Middle(scene.middle.bolts, {"hat": found} if found else {})
        rings.append((scene, inner_steps(scene.bgr, scene.view, middle)[1]))
    weights["ring_inner"] = fitted(rings, "ring_inner")
    provenance = f"tests/fitting/fit_circles.py: {len(scenes)} photos of the fitting set, {len(seen)} with the hat up"
    path = Path(vision.__file__).with_name(TABLE)
    path.write_text(json.dumps({"provenance": provenance, **weights}, indent=0) + "\n", encoding="utf-8")


def read(folder: Path) -> Iterator[Scene]:
    """Pose each face photo by its truth and look for its bolts."""
    for seen in from_above(folder):
        bolts = find_bolts(seen.view)
        if bolts is not None:
            bolts, _ = place_bolts(seen.bgr, seen.view, bolts)
        yield Scene(seen.row, folder / seen.row["file"], seen.view, Middle(bolts, {}))


def _up(scene: Scene) -> Bolts | None:
    bolts = scene.middle.bolts
    return bolts if bolts is not None and bolts.height_mm > 0 else None


def _hat(steps: Steps, top_mm: float, weights: FloatArray) -> Circle | None:
    odds = steps.odds(weights)
    best = int(odds.argmax()) if len(odds) else -1
    return None if best < 0 or odds[best] < hat.LEAST_HAT else Circle("hat", float(steps.radii_mm[best]), top_mm)


def fitted(examples: list[tuple[Scene, Steps]], name: str) -> list[float]:
    """Tell one circle's edge from all others by a logistic regression."""
    features = np.vstack([steps.features for _, steps in examples if len(steps.radii_mm)])
    labels = np.concatenate([_labels(scene, steps, name) for scene, steps in examples])
    spread = features.std(axis=0) + 1e-6
    model = LogisticRegression(C=PENALTY, max_iter=5000).fit(features / spread, labels)
    return [round(float(weight), 4) for weight in (model.intercept_[0], *(model.coef_[0] / spread))]


def _labels(scene: Scene, steps: Steps, name: str) -> FloatArray:
    if name == "hat" and scene.row["hat"] != "up":
        return np.zeros(len(steps.radii_mm), bool)
    true_mm = scene.row["rotor"][f"{name}_mm"] / 2
    return np.asarray(np.abs(steps.radii_mm / true_mm - 1) < NEAR[name])


if __name__ == "__main__":
    main()
