"""A fitted scene looked at from near: the rim and what lies on its plane, sampled where nets see their outlines."""

from collections.abc import Mapping
from dataclasses import replace

import numpy as np

from vision.assemble import Sights
from vision.circle_pose import circle
from vision.figure import EdgeSamples, Figure
from vision.measurement import FloatArray
from vision.near_look import POINTS, Course, Near, around, shipped_near_net
from vision.outline_look import COLUMNS
from vision.photo import Photo
from vision.placing import Placed
from vision.references.search import corners_mm
from vision.request import Request
from vision.scene import Scene
from vision.terms import height_of

# Columns that must show, of 128, for a rim to be told so; sides of a card, and readings of each.
LEAST_COLUMNS, LEAST_SIDES = 30, 3
READINGS = (0.2, 0.5, 0.8)
ROUNDED_MM = 4.0
# Where the bench's references end, over the rim's radius: the rotor hides what lies within.
HIDDEN = 1.0


def seen_near(photo: Photo, request: Request, scene: Scene, sights: Sights, *, by_hand: bool) -> Sights:
    """Look at a scene's rim and references from near.

    Parameters
    ----------
    photo : Photo
    request : Request
    scene : Scene
        Fitted to the sights, right to a millimetre or two.
    sights : Sights
    by_hand : bool
        A person set the rim: it stays.

    Returns
    -------
    Sights
        What could not be seen so is left as it was.
    """
    placed = tuple(_placed(photo, request, scene, each) for each in sights.placed)
    sights = replace(sights, placed=placed)
    if by_hand:
        return sights
    level_mm = -scene.values["chamfer"]
    near, far = (circle(scene.rim_radius_mm + more, POINTS, level_mm) for more in (0.0, 1.0))
    course = course_of(scene, near, far)
    seen = shipped_near_net("rim").look(photo.bgr, course)
    samples, std_mm = _round(seen, course, 0.025, 20.0)
    if len(samples) < LEAST_COLUMNS:
        return sights
    return replace(sights, rim=samples, rim_std_mm=std_mm)


def course_of(scene: Scene, foot_mm: FloatArray, out_mm: FloatArray) -> Course:
    """Return how points (POINTS, 3) of the rotor, and others a millimetre farther outward, look."""
    foot, out, down = (scene.to_pixels(points) for points in (foot_mm, out_mm, foot_mm - np.array([0.0, 0.0, 1.0])))
    return Course(foot, out - foot, down - foot)


def _round(seen: Near, course: Course, *doubt: float) -> tuple[EdgeSamples, float]:
    """Return samples of something round, and the deviation, mm, of all of them together."""
    offset_mm, std_mm, shows = seen.round_mm()
    foot, out = (part.reshape(COLUMNS, -1, 2).mean(axis=1) for part in (course.foot_px, course.out_px))
    px_per_mm = course.px_per_mm.reshape(COLUMNS, -1).mean(axis=1)
    xy_px = foot + offset_mm[:, None] * out
    count = int(shows.sum())
    samples = EdgeSamples(xy_px[shows], np.zeros(count), (std_mm * px_per_mm)[shows], np.zeros(count, int))
    return samples, common_std_mm(std_mm[shows], *doubt)


def common_std_mm(std_mm: FloatArray, least_mm: float, steep: float) -> float:
    spread = float(np.median(std_mm)) if len(std_mm) else 1.0
    return least_mm + steep * spread**3


def _placed(photo: Photo, request: Request, scene: Scene, placed: Placed) -> Placed:
    figure = placed.sighting.figure
    kind = figure.kind.split(":")[0]
    if kind not in ("card", "coin"):
        return placed
    values = {name: np.array([[value]]) for name, value in scene.values.items()}
    height_mm = float(height_of(values, placed.height(request))[0, 0])
    if kind == "coin":
        radius_mm = float(figure.radius_mm or 0.0) * (1 + scene.values[f"{placed.name}_size_x"])
        middle = np.array([scene.values[f"{placed.name}_x"], scene.values[f"{placed.name}_y"], 0.0])
        course = course_of(scene, *(circle(radius_mm + more, POINTS, height_mm) + middle for more in (0.0, 1.0)))
        seen = shipped_near_net("coin").look(photo.bgr, course)
        samples, std_mm = _round(seen, course, 0.012, 60.0)
        if len(samples) < LEAST_COLUMNS:
            return placed
        std = float(std_mm / radius_mm)
        return replace(placed, sighting=replace(placed.sighting, samples=samples, figure=replace(figure, size_std=(std, 0.0))))
    width, height = (figure.sides[n, 2] * 2 for n in (0, 1))
    corners = placed.on_plane(scene.values, corners_mm(width, height))
    foot, out = around(corners)
    lifted = (np.column_stack([part, np.full(POINTS, height_mm)]) for part in (foot, foot + out))
    course = course_of(scene, *lifted)
    seen = shipped_near_net("card").look(photo.bgr, course)
    hidden = np.zeros(COLUMNS, bool)
    if placed.lies == "bench":
        on_face = scene.to_plane(course.foot_px).reshape(COLUMNS, -1, 2).mean(axis=1)
        hidden = np.hypot(*on_face.T) < HIDDEN * scene.rim_radius_mm
    samples = _sides(seen, course, corners, hidden)
    if len(np.unique(samples.side)) < LEAST_SIDES:
        return placed
    return replace(placed, sighting=replace(placed.sighting, samples=samples))


def _sides(seen: Near, course: Course, corners: FloatArray, hidden) -> EdgeSamples:
    long = COLUMNS // 4
    share = (np.arange(long) + 0.5) / long
    lengths = np.linalg.norm(np.roll(corners, -1, axis=0) - corners, axis=1)
    xy, std, side = [], [], []
    px_per_mm = float(np.median(course.px_per_mm))
    foot, out = (part.reshape(4, -1, 2) for part in (course.foot_px, course.out_px))
    for n in range(4):
        use = (np.minimum(share, 1 - share) * lengths[n] > ROUNDED_MM) & ~hidden[n * long : (n + 1) * long]
        told = seen.straight_mm(n, use)
        if told is None:
            continue
        level, slope, std_mm = told
        shown = share[use]
        at = shown.min() + np.array(READINGS) * np.ptp(shown)
        index = np.clip((at * foot.shape[1]).astype(int), 0, foot.shape[1] - 1)
        xy.append(foot[n, index] + (level + slope * (2 * at - 1))[:, None] * out[n, index])
        std += [np.sqrt(len(READINGS)) * std_mm * px_per_mm] * len(READINGS)
        side += [n] * len(READINGS)
    xy_px = np.concatenate(xy) if xy else np.zeros((0, 2))
    return EdgeSamples(xy_px, np.zeros(len(xy_px)), np.array(std), np.array(side, int))
