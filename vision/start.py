"""Where the fit starts, and what is known before it looks: lens, pose, thickness, hat."""

import numpy as np

from vision.camera import Pose
from vision.circle_pose import circle_poses, conic_of
from vision.ellipse import Ellipse
from vision.lens import Lens, plain_camera, shift_std, usual_focal_px, usual_shift
from vision.photo import Photo
from vision.request import Request
from vision.unknowns import Unknowns

NOMINAL_RADIUS_MM = 165.0
RADIUS_STD = 0.2
# Phones straighten most of what their lenses bend.
K1_STD = 0.015
# What the tags of the ``fitting`` set tell of it: 0.28 to 0.65.
BLOOM_PX, BLOOM_STD_PX = 0.45, 0.15
THICKNESS_MM, THICKNESS_STD_MM = 22.0, 7.0
HEIGHT_MM, HEIGHT_STD_MM = 52.0, 15.0
HAT_METAL_MM, HAT_METAL_STD_MM = 7.0, 2.0
TOLD_STD_MM = 0.3
# The silhouette runs where the outer chamfer ends, so far below the face.
CHAMFER_MM, CHAMFER_STD_MM = 0.8, 0.4
# The ring's inner edge is broken, common practice.
BREAK_MM, BREAK_STD_MM = 0.3, 0.15
# Where the edge that is seen runs, outward of the silhouette: from a bright face into the dark it is often the face's
# own edge, a chamfer's width inside; from a dark rotor to bright ground it is the ground's, beyond the contact
# shadow. Means and deviations read off the photos of the ``fitting`` set.
RIM_EDGES_MM = {"bright_rim": (-0.54, 0.45), "dark_rim": (0.09, 0.22), "plain_rim": (0.0, 0.2)}
EDGE_DOUBT_PX = 0.15
# Light and shadow move that edge by slow waves round the rim, which look like shift and tilt: deviations of the waves
# of each order, pixels and mm, read off the same photos.
WAVES = {1: (0.30, 0.12), 2: (0.20, 0.07), 3: (0.10, 0.05)}
# The same where the rim was seen from near, over what is left of doubt as a whole.
NEAR_WAVES = {1: 1.4, 2: 1.2, 3: 0.5}
# How far beyond the wall's far edge the one lies that was taken for it: vanes' mouths, chamfers and the shadow's foot
# look like it. Of 23 walls of the ``fitting`` set the median was off by 3.9 mm of thickness, the worst by 24.
WALL_OFFSET_STD_PX, WALL_BEYOND_STD_MM = 1.0, 5.5


def poses_of(photo: Photo, ellipse: Ellipse, f35_mm: float) -> list[Pose]:
    """Return the two poses of a rim of nominal size seen as ``ellipse``."""
    camera = plain_camera(photo, f35_mm)
    conic = conic_of(ellipse.centre_px, ellipse.half_axes_px, ellipse.angle_rad)
    return circle_poses(conic, camera, NOMINAL_RADIUS_MM)


def first_unknowns(photo: Photo, pose: Pose, lens: Lens, request: Request, rim_std_mm: float | None = None) -> Unknowns:
    """Return the unknowns that every scene has: camera, pose, rim, bloom, thickness and hat.

    ``rim_std_mm`` is what doubt is left of where the rim runs as a whole, where it was seen from near.
    """
    usual_px, (shift_x, shift_y) = usual_focal_px(photo, lens.f35_mm), usual_shift(photo)
    unknowns = Unknowns()
    unknowns.add("log_focal", np.log(usual_px), 0.04, std=lens.std)
    unknowns.add("shift_x", shift_x, 0.02, std=shift_std(photo))
    unknowns.add("shift_y", shift_y, 0.02, std=shift_std(photo))
    unknowns.add("k1", 0.0, 0.03, std=K1_STD)
    unknowns.add("lean_x", 0.0, 0.05)
    unknowns.add("lean_y", 0.0, 0.05)
    x, y, far_mm = pose.centre_mm
    unknowns.add("at_x", x / far_mm, 0.02)
    unknowns.add("at_y", y / far_mm, 0.02)
    unknowns.add("log_far", np.log(far_mm), 0.05)
    unknowns.add("log_rim", np.log(NOMINAL_RADIUS_MM), 0.05, std=RADIUS_STD)
    unknowns.add("bloom", BLOOM_PX, 0.3, std=BLOOM_STD_PX)
    unknowns.add("chamfer", CHAMFER_MM, 0.3, std=CHAMFER_STD_MM)
    per_mm = usual_px / far_mm
    _add_rim_edges(unknowns, per_mm, rim_std_mm)
    add_told(unknowns, request)
    return unknowns


def _add_rim_edges(unknowns: Unknowns, px_per_mm: float, seen_std_mm: float | None) -> None:
    """Add how far outward of the silhouette the rim was followed, as a whole and by slow waves."""
    for name, (mean_mm, std_mm) in RIM_EDGES_MM.items():
        std_px = np.hypot(EDGE_DOUBT_PX, std_mm * px_per_mm) if seen_std_mm is None else seen_std_mm * px_per_mm
        unknowns.add(name, mean_mm * px_per_mm, 0.3, std=float(std_px))
    if seen_std_mm is not None:
        add_waves(unknowns, "wave", seen_std_mm * px_per_mm)
        return
    for order, (least_px, std_mm) in WAVES.items():
        _add_wave(unknowns, f"wave_{order}", np.hypot(least_px, std_mm * px_per_mm))


def add_waves(unknowns: Unknowns, name: str, std_px: float) -> None:
    """Add the slow waves by which a circle seen from near may be off, over what doubt is left of it as a whole."""
    for order, share in NEAR_WAVES.items():
        _add_wave(unknowns, f"{name}_{order}", share * std_px)


def _add_wave(unknowns: Unknowns, name: str, std_px: float) -> None:
    for axis in "xy":
        unknowns.add(f"{name}{axis}", 0.0, 0.1, std=float(std_px))


def add_told(unknowns: Unknowns, request: Request) -> None:
    """Add the lengths along the axis, narrow where the person measured them."""
    thickness_mm, thickness_std = _told(request.thickness_mm, THICKNESS_MM, THICKNESS_STD_MM)
    height_mm, height_std = _told(request.height_mm, HEIGHT_MM, HEIGHT_STD_MM)
    unknowns.add("thickness", thickness_mm, 3.0, std=thickness_std)
    unknowns.add("height", height_mm, 5.0, std=height_std)
    unknowns.add("wall_offset", 0.0, 0.3, std=WALL_OFFSET_STD_PX)
    unknowns.add("wall_beyond", 0.0, 3.0, std=WALL_BEYOND_STD_MM)
    unknowns.add("hat_metal", HAT_METAL_MM, 1.0, std=HAT_METAL_STD_MM)


def _told(said_mm: float | None, usual_mm: float, usual_std_mm: float) -> tuple[float, float]:
    return (usual_mm, usual_std_mm) if said_mm is None else (said_mm, TOLD_STD_MM)
