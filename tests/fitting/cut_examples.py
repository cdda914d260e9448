"""Read the rings that `fit_cuts` trains on: ``python -m tests.fitting.cut_examples FITTING EXAMPLES``.

FITTING is a folder of sample photos with its ``truth.json``; EXAMPLES one for what is read, a megabyte for each ring.
Every photo gives its ring as its truth has it, as the program measures it, and another laid anywhere on the photo:
what hides a ring or is taken for one shall be known too. Drawn rotors join, so that nothing rests on one renderer.
"""

import argparse
from collections.abc import Mapping
from concurrent.futures import ProcessPoolExecutor
from dataclasses import replace
from functools import partial
from pathlib import Path
from typing import Any
from unittest.mock import patch

import numpy as np

from tests.fitting.cut_labels import Drawn, Labels, cell_mm, cells_mm
from tests.fitting.drawings import drawn_ring
from tests.fitting.renders import photo_of, request_of, ring_of, wanted
from tests.vision.posed import PosedFace, face_of_truth
from vision import measure_face
from vision.camera import Pose
from vision.photo import Photo
from vision.ring import Face, Ring, lay_flat

FOLDS = 5
# A photo's ring by its truth, as it is measured, and laid anywhere.
WAYS = ("posed", "measured", "astray")
# A photo's depth and relief are kept in bytes: units of one.
DEPTH_STEP, RELIEF_STEP = 1 / 60, 1 / 10
# Rings laid anywhere: size over the rotor's, and how far off, in rims' radii.
SIZES, OFF = (0.45, 1.35), 0.7


def main() -> None:
    """Read all examples."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("fitting", type=Path)
    parser.add_argument("examples", type=Path)
    parser.add_argument("--drawings", type=int, default=300)
    parser.add_argument("--jobs", type=int, default=2)
    args = parser.parse_args()
    args.examples.mkdir(parents=True, exist_ok=True)
    rows = list(enumerate(wanted(args.fitting)))
    with ProcessPoolExecutor(args.jobs) as pool:
        read = partial(read_photo_rings, folder=args.fitting, out=args.examples)
        print(sum(pool.map(read, rows, chunksize=4)), "rings of", len(rows), "photos")
        drawn = partial(read_drawing, out=args.examples)
        print(sum(pool.map(drawn, range(args.drawings), chunksize=8)), "drawings")


def read_photo_rings(numbered: tuple[int, Mapping[str, Any]], folder: Path, out: Path) -> int:
    """Read one photo's rings; the fold that its number falls in begins their files' names. Returns how many."""
    number, row = numbered
    truth, drawn = face_of_truth(row), Drawn.of(row)
    # The same photo three times over would tell little: each ring is developed in its own way.
    photos = {name: photo_of(row, folder, len(WAYS) * number + way) for way, name in enumerate(WAYS)}
    rings: dict[str, tuple[Ring, Face]] = {"posed": (ring_of(row, photos["posed"]), truth)}
    measured: list[tuple[Ring, Face]] = []

    def kept(bgr: Any, face: Face, *where: Any) -> Ring:
        measured.append((lay_flat(bgr, face, *where), face))
        return measured[-1][0]

    with patch("vision.describe.lay_flat", kept):
        measure_face(photos["measured"], request_of(row))
    if measured:
        rings["measured"] = measured[-1]
    rings["astray"] = _astray(photos["astray"], truth, np.random.default_rng([0xA5, number]))
    for name, (ring, face) in rings.items():
        on_plane = cells_mm(ring)
        flat = np.column_stack([on_plane.reshape(-1, 2), np.zeros(on_plane[..., 0].size)])
        on_face = truth.to_plane(face.to_pixels(flat)).reshape(on_plane.shape)
        _keep(out / f"{number % FOLDS}_{row['id']}_{name}", ring, drawn.labels(on_face, cell_mm(ring)))
    return len(rings)


def _astray(photo: Photo, truth: PosedFace, rng: np.random.Generator) -> tuple[Ring, PosedFace]:
    """Lay a ring anywhere."""
    off = OFF * truth.rim_radius_mm * rng.uniform(-1, 1, 2)
    middle = truth.pose.centre_mm + truth.pose.rotation[:, :2] @ off
    face = replace(truth, pose=Pose(truth.pose.rotation, middle))
    outer = truth.rim_radius_mm * float(np.exp(rng.uniform(*np.log(SIZES))))
    return lay_flat(photo.bgr, face, (outer * rng.uniform(0.6, 0.75), outer)), face


def read_drawing(seed: int, out: Path) -> int:
    """Read one drawn rotor's ring."""
    rotor, ring = drawn_ring(seed)
    _keep(out / f"x_{seed}_drawn", ring, Drawn(rotor).labels(cells_mm(ring), cell_mm(ring)))
    return 1


def _keep(path: Path, ring: Ring, labels: Labels) -> None:
    depth, relief = (
        np.clip(np.round(part / step), -127, 127).astype(np.int8)
        for part, step in ((ring.depth, DEPTH_STEP), (ring.relief, RELIEF_STEP))
    )
    np.savez(path, depth=depth, relief=relief, seen=ring.seen, labels=labels)


if __name__ == "__main__":
    main()
