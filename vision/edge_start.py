"""Where the fit of an edge view starts, and what is known before it looks."""

from collections.abc import Sequence

import numpy as np

from vision.lens import Lens, shift_std, usual_focal_px, usual_shift
from vision.measurement import FloatArray
from vision.photo import Photo
from vision.start import NOMINAL_RADIUS_MM
from vision.unknowns import Unknowns

# Angles in rad. The nearest point of the rim is about as far from the camera as the rim's own radius, and more.
K1_STD, ROLL_STD, PITCH_STD, YAW_STD = 0.013, 0.2, 0.05, 0.15
CLEAR, CLEAR_STD = 1.25, 0.4
RADIUS_STD, TOLD_RADIUS_STD = 0.13, 0.0015
CHAMFER_MM, CHAMFER_STD_MM = 1.0, 0.3
# A reference stands in the plane that touches the nearest edge: so well turned, leant and set back.
TURN_STD, LEAN_STD, REFERENCE_ROLL_STD, OFF_STD_MM = 0.12, 0.02, 0.15, 0.7
SIZE_SCALE, HEIGHT_SCALE_MM = 0.002, 5.0


def first_unknowns(photo: Photo, lens: Lens, diameter_mm: float | None, *, turned: bool) -> Unknowns:
    """Return the unknowns that every edge view has: camera, cylinder, chamfer.

    ``turned`` says that the photo was turned a quarter; shifts are shares of its longer side.
    """
    radius_mm = NOMINAL_RADIUS_MM if diameter_mm is None else diameter_mm / 2
    unknowns = Unknowns()
    unknowns.add("log_focal", np.log(usual_focal_px(photo, lens.f35_mm)), 0.04, std=lens.std)
    share = photo.width / max(photo.width, photo.height)
    right, down = (share * shift for shift in usual_shift(photo))
    for name, shift in zip(("shift_x", "shift_y"), (down, -right) if turned else (right, down), strict=True):
        unknowns.add(name, shift, 0.02, std=share * shift_std(photo))
    unknowns.add("k1", 0.0, 0.02, std=K1_STD)
    unknowns.add("roll", 0.0, 0.02, std=ROLL_STD)
    unknowns.add("pitch", 0.0, 0.02, std=PITCH_STD)
    unknowns.add("yaw", 0.0, 0.02, std=YAW_STD)
    unknowns.add("log_radius", np.log(radius_mm), 0.05, std=RADIUS_STD if diameter_mm is None else TOLD_RADIUS_STD)
    unknowns.add("log_clear", np.log(CLEAR), 0.1, std=CLEAR_STD)
    unknowns.add("chamfer", CHAMFER_MM, 0.3, std=CHAMFER_STD_MM)
    return unknowns


def add_reference(unknowns: Unknowns, size_std: float) -> None:
    """Add where a reference stands; it tells the camera's place far better than the priors above."""
    unknowns.add("pitch", 0.0, 0.02, std=0.15)
    unknowns.add("yaw", 0.0, 0.02, std=0.4)
    unknowns.add("log_clear", np.log(CLEAR), 0.1, std=0.6)
    unknowns.add("ref_turn", 0.0, 0.05, std=TURN_STD)
    unknowns.add("ref_across", 0.0, 10.0)
    unknowns.add("ref_z", 0.0, 10.0)
    unknowns.add("ref_roll", 0.0, 0.03, std=REFERENCE_ROLL_STD)
    unknowns.add("ref_lean", 0.0, 0.02, std=LEAN_STD)
    unknowns.add("ref_off", 0.0, 0.5, std=OFF_STD_MM)
    unknowns.add("ref_size", 1.0, SIZE_SCALE, std=size_std)


def with_lines(unknowns: Unknowns, heights_mm: Sequence[float]) -> Unknowns:
    """Return the unknowns with a height for each line."""
    grown = unknowns.restart({})
    for number, height_mm in enumerate(heights_mm):
        grown.add(f"line{number}", height_mm, HEIGHT_SCALE_MM)
    return grown


def between_ends(ends_px: tuple[float, float], focal: float, width_px: int, clear_mm: float | None) -> dict[str, float]:
    """Return the camera's direction and distance for an outline between two columns, the radius where it is told.

    ``clear_mm`` is the distance of the nearest point of the rim, None where nothing tells it.
    """
    angles = np.arctan((np.array(ends_px) - (width_px - 1) / 2) / focal)
    clear = 1.0 / np.sin(max(float(angles[1] - angles[0]) / 2, 0.05)) - 1.0
    start = {"yaw": -float(angles.mean()), "log_clear": float(np.log(clear))}
    return start if clear_mm is None else start | {"log_radius": float(np.log(clear_mm / clear))}


def before_reference(
    corners_px: FloatArray, corners_mm: FloatArray, focal: float, size_px: tuple[int, int]
) -> tuple[dict[str, float], float]:
    """Return where a reference stands that is square to the camera, and how far away, mm.

    Its homography would tell how it is turned as well, but not as well as that people hold the camera square to it.
    """
    middle_px, middle_mm = corners_px.mean(axis=0), corners_mm.mean(axis=0)
    spread_px, spread_mm = (float(np.linalg.norm(c - c.mean(axis=0))) for c in (corners_px, corners_mm))
    away_mm = focal * spread_mm / spread_px
    aside = (middle_px - np.array([(size_px[0] - 1) / 2, (size_px[1] - 1) / 2])) * away_mm / focal - middle_mm
    return {"ref_across": float(aside[0]), "ref_z": -float(aside[1])}, away_mm
