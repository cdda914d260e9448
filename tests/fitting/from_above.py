"""A set's face photos, posed by their truth and carried to a view from above."""

from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import cv2
import numpy as np

from tests.fitting.renders import references_of, wanted
from tests.vision.posed import PosedFace, face_of_truth
from vision.ring import Pixels
from vision.top_view import TopView, top_view


@dataclass(frozen=True, eq=False)
class FromAbove:
    """A photo with its truth, its scene and its view from above."""

    row: dict[str, Any]
    bgr: Pixels
    grey: Pixels
    face: PosedFace
    view: TopView


def from_above(folder: Path) -> Iterator[FromAbove]:
    """Read the photos of a folder with a ``truth.json`` that can teach what a rotor's face shows."""
    for row in wanted(folder):
        bgr = np.asarray(cv2.imread(str(folder / row["file"])), np.uint8)
        grey = np.asarray(cv2.cvtColor(bgr, cv2.COLOR_BGR2GRAY), np.uint8)
        face = face_of_truth(row)
        yield FromAbove(row, bgr, grey, face, top_view(grey, face, references_of(row, face)))
