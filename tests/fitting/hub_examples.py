"""Read the views that `fit_hub` trains on: ``python -m tests.fitting.hub_examples FITTING VIEWS``.

FITTING is a folder of sample photos with its ``truth.json``; VIEWS one for what is read. Every photo gives its
rotor's middle from above as its truth has it, and as the other tilt that its rim allows; photos of other round things
give what is taken for a rim there. Drawn rotors join, so that nothing rests on one renderer.
"""

import argparse
import json
from collections.abc import Iterator, Mapping
from concurrent.futures import ProcessPoolExecutor
from functools import partial
from pathlib import Path
from typing import Any

import cv2
import numpy as np

from sample_images_synthetic.studio.rotor import draw_rotor
from tests.fitting.cut_examples import FOLDS
from tests.fitting.hub_labels import BORE_POINTS, Hub, at_height
from tests.fitting.renders import references_px
from tests.vision.drawn import as_sent, draw_face, draw_look, tilted, with_hat
from tests.vision.posed import PosedFace, face_of_truth
from vision import read_photo
from vision.circle_pose import circle, circle_poses, conic_of
from vision.ellipse import Ellipse
from vision.hub_look import BOLT_DOWN, BOLT_UP, BORE, RIVET
from vision.lens import lenses, plain_camera
from vision.photo import Photo
from vision.rotor import find_rotor
from vision.start import NOMINAL_RADIUS_MM, poses_of
from vision.top_view import TopView, top_view

QUALITY = 88
# Of photos the other tilt of so many is read too.
EVERY = 3
DRAWINGS = 300


def main() -> None:
    """Read all views."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("fitting", type=Path)
    parser.add_argument("views", type=Path)
    parser.add_argument("--drawings", type=int, default=DRAWINGS)
    parser.add_argument("--jobs", type=int, default=2)
    args = parser.parse_args()
    args.views.mkdir(parents=True, exist_ok=True)
    rows = [row for row in json.loads((args.fitting / "truth.json").read_text()) if row["group"] != "edge"]
    labels: dict[str, Any] = {}
    with ProcessPoolExecutor(args.jobs) as pool:
        read = partial(read_views, folder=args.fitting, out=args.views)
        for found in pool.map(read, enumerate(rows), chunksize=8):
            labels |= found
        for found in pool.map(partial(read_drawing, out=args.views), range(args.drawings), chunksize=8):
            labels |= found
    np.savez_compressed(args.views / "labels", allow_pickle=False, **labels)
    print(len(labels), "views of", len(rows), "photos and", args.drawings, "drawings")


def read_views(numbered: tuple[int, Mapping[str, Any]], folder: Path, out: Path) -> dict[str, Any]:
    """Read one photo's views; the fold that its number falls in begins their names."""
    number, row = numbered
    cv2.setNumThreads(1)
    photo = read_photo(folder / row["file"])
    found: dict[str, Any] = {}
    if row["rotor"]:
        face = face_of_truth(row)
        hub = Hub.of(row, face)
        faces = [face, *(_other_tilt(row, face) if number % EVERY == 0 else [])]
    else:
        hub, faces = None, list(_taken_for_one(photo))
    for which, face in enumerate(faces):
        view = top_view(photo.grey, face, [face.to_plane(part) for part in references_px(row)])
        found |= _kept(out, f"{number % FOLDS}_{row['id']}_{which}", view, hub)
    return found


def _other_tilt(row: Mapping[str, Any], face: PosedFace) -> Iterator[PosedFace]:
    rim = Ellipse.through(np.array(row["rim_px"], float))
    conic = conic_of(rim.centre_px, rim.half_axes_px, rim.angle_rad)
    poses = circle_poses(conic, face.camera, face.rim_radius_mm)
    other = min(poses, key=lambda pose: float(pose.rotation[:, 2] @ face.pose.rotation[:, 2]))
    yield PosedFace(face.camera, other, face.rim_radius_mm)


def _taken_for_one(photo: Photo) -> Iterator[PosedFace]:
    for rim in find_rotor(photo.bgr, photo.grey, [])[:2]:
        f35_mm = lenses(photo)[0].f35_mm
        for pose in poses_of(photo, rim.ellipse, f35_mm)[:2]:
            yield PosedFace(plain_camera(photo, f35_mm), pose, NOMINAL_RADIUS_MM)


def _kept(out: Path, name: str, view: TopView, hub: Hub | None) -> dict[str, Any]:
    """Write a view, and return its labels: points in cells and what they are, and what is seen."""
    cv2.imwrite(str(out / f"{name}.jpg"), view.grey, [cv2.IMWRITE_JPEG_QUALITY, QUALITY])
    points = [np.empty((0, 3))]
    if hub is not None:
        parts = {BOLT_UP if hub.hat_up else BOLT_DOWN: hub.bolts_px, RIVET: hub.rivets_px, BORE: hub.bore_px}
        shown = {kind: part for kind, part in parts.items() if len(part)}
        points += [np.column_stack([view.cells_of(part), np.full(len(part), kind)]) for kind, part in shown.items()]
    labelled = np.concatenate(points).astype(np.float32)
    return {f"{name}_points": labelled, f"{name}_seen": np.packbits(view.seen)}


def read_drawing(seed: int, out: Path) -> dict[str, Any]:
    """Read one drawn rotor's view."""
    rng = np.random.default_rng([0xB0, seed])
    rotor, look = draw_rotor(rng, construction="one-piece"), draw_look(rng)
    bgr, face = draw_face(rng, rotor, look, float(rng.uniform(0.9, 2.4)))
    bgr, face = tilted(bgr, face, float(np.radians(rng.uniform(0, 40))), float(rng.uniform(0, 2 * np.pi)))
    turn_rad = float(rng.uniform(0, 2 * np.pi))
    bgr = as_sent(rng, with_hat(rng, bgr, face, rotor, turn_rad), int(rng.integers(50, 96)))
    turn = turn_rad + np.linspace(0, 2 * np.pi, rotor.bolt_count, endpoint=False)
    bolts = at_height(rotor.bolt_circle_mm / 2, turn, rotor.hat_z_mm)
    bore = circle(rotor.centre_bore_mm / 2, BORE_POINTS, rotor.hat_z_mm)
    hub = Hub(True, face.to_pixels(bolts), np.empty((0, 2)), face.to_pixels(bore))
    grey = np.asarray(cv2.cvtColor(bgr, cv2.COLOR_BGR2GRAY), np.uint8)
    return _kept(out, f"x_{seed}_drawn", top_view(grey, face), hub)


if __name__ == "__main__":
    main()
