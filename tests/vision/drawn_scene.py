"""Exact edge samples of a rim and a card or a sheet, seen by a camera that the fit does not know, with known noise."""

from dataclasses import dataclass

import numpy as np

from vision.camera import Camera, Pose, facing, focal_px
from vision.circle_pose import circle, circle_poses, conic_of
from vision.ellipse import Ellipse
from vision.figure import EdgeSamples, Figure, rectangle
from vision.scene import Scene, fit_scene
from vision.terms import CircleTerm, FigureTerm, Term, curl_name
from vision.unknowns import Unknowns

SIZE_PX = (2048, 1536)
F35_MM = 26.0
RADIUS_MM = 165.0
NOISE_PX = 0.3
CARD = Figure("card", rectangle(85.60, 53.98), None, (0.0006, 0.0005), 0.76)
SHEET = Figure("sheet", rectangle(279.4, 215.9), None, (0.0024, 0.0031), 0.1, 0.0, 0.8, 1.5)
PRIORS = {"log_focal": 0.04, "shift_x": 0.01, "shift_y": 0.01, "k1": 0.01, "bloom": 0.3, "rim_offset": 0.3}


@dataclass(frozen=True)
class Drawn:
    """One drawn photo: its samples, and what the fit may not see."""

    rim: EdgeSamples
    card: EdgeSamples
    curls: np.ndarray
    figure: Figure
    pose: Pose


def draw(rng: np.random.Generator, tilt_deg: float, arc: float = 1.0, figure: Figure = CARD) -> Drawn:
    """Draw a photo: every nuisance comes from the very prior that the fit is told."""
    width, height = SIZE_PX
    nominal = focal_px(F35_MM, width, height)
    camera = Camera(
        nominal * float(np.exp(rng.normal() * PRIORS["log_focal"])),
        (width - 1) / 2 + rng.normal() * PRIORS["shift_x"] * width,
        (height - 1) / 2 + rng.normal() * PRIORS["shift_y"] * width,
        rng.normal() * PRIORS["k1"],
    )
    azimuth, tilt = rng.uniform(0, 2 * np.pi), np.radians(tilt_deg)
    normal = np.array([np.sin(tilt) * np.cos(azimuth), np.sin(tilt) * np.sin(azimuth), -np.cos(tilt)])
    pose = Pose(facing(normal), np.array([10.0, -5.0, 620.0]))
    bloom, rim_offset = 0.4 + rng.normal() * PRIORS["bloom"], rng.normal() * PRIORS["rim_offset"]
    ring = circle(RADIUS_MM, 240)[: round(240 * arc)]
    rim = _observed(rng, camera, pose, ring, ring / RADIUS_MM, bloom + rim_offset)
    points, outward, side, curls = _figure_points(rng, figure)
    card = _observed(rng, camera, pose, points, outward, bloom)
    return Drawn(_samples(rim, np.zeros(len(rim), int)), _samples(card, side), curls, figure, pose)


def _figure_points(rng: np.random.Generator, figure: Figure) -> tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray]:
    size = 1 + rng.normal(size=2) * figure.size_std
    width, height = 2 * figure.sides[:2, 2]
    turn = rng.uniform(0, 2 * np.pi)
    cos, sin = np.cos(turn), np.sin(turn)
    nominal, points, outward, sides = [], [], [], []
    for number, (a, b, c) in enumerate(figure.sides):
        along = np.linspace(-0.75, 0.75, 40) * (height if a else width) / 2
        reach = c * (size[0] if a else size[1])
        flat = np.stack([a * reach - b * along, b * reach + a * along], 1)
        nominal.append(np.stack([a * c - b * along, b * c + a * along], 1))
        points.append(flat @ np.array([[cos, sin], [-sin, cos]]) + [70.0, 109.0])
        outward.append(np.tile([a * cos - b * sin, a * sin + b * cos, 0.0], (40, 1)))
        sides.append(np.full(40, number))
    curls = figure.curl_shares(np.concatenate(nominal))
    curled_mm = (figure.curl_mm + figure.curl_std_mm * rng.normal(size=len(curls))) @ curls
    lifted = np.column_stack([np.concatenate(points), figure.thickness_mm + curled_mm])
    return lifted, np.concatenate(outward), np.concatenate(sides), curls


def _observed(
    rng: np.random.Generator, camera: Camera, pose: Pose, points: np.ndarray, outward: np.ndarray, shift_px: float
) -> np.ndarray:
    """Project points and push them along their curve's normal in the picture."""
    pixels = camera.pixels(pose.camera_points(points))
    along = camera.pixels(pose.camera_points(points + np.cross([0, 0, 1.0], outward)))
    tangent = along - pixels
    normal = np.stack([tangent[:, 1], -tangent[:, 0]], 1)
    out = camera.pixels(pose.camera_points(points + outward)) - pixels
    normal *= (np.sign((normal * out).sum(1)) / np.linalg.norm(normal, axis=1))[:, None]
    return np.asarray(pixels + normal * (shift_px + NOISE_PX * rng.normal(size=(len(pixels), 1))))


def _samples(xy_px: np.ndarray, side: np.ndarray) -> EdgeSamples:
    return EdgeSamples(xy_px, np.ones(len(xy_px)), np.full(len(xy_px), NOISE_PX), side)


def fitted(drawn: Drawn, noise_scale: float = 1.0) -> Scene:
    """Fit a drawn photo from both tilts of its rim and keep the better."""
    width, height = SIZE_PX
    nominal = focal_px(F35_MM, width, height)
    camera = Camera(nominal, (width - 1) / 2, (height - 1) / 2)
    ellipse = Ellipse.through(drawn.rim.xy_px)
    conic = conic_of(ellipse.centre_px, ellipse.half_axes_px, ellipse.angle_rad)
    scenes = [_fit(drawn, camera, pose, noise_scale) for pose in circle_poses(conic, camera, RADIUS_MM)]
    return min(scenes, key=lambda scene: scene.misfit)


def _fit(drawn: Drawn, camera: Camera, pose: Pose, noise_scale: float) -> Scene:
    figure = drawn.figure
    unknowns = Unknowns()
    unknowns.add("log_focal", np.log(float(camera.focal_px)), 0.04, std=PRIORS["log_focal"])
    for name in ("shift_x", "shift_y", "k1"):
        unknowns.add(name, 0.0, 0.02, std=PRIORS[name])
    unknowns.add("lean_x", 0.0, 0.05)
    unknowns.add("lean_y", 0.0, 0.05)
    x, y, far_mm = pose.centre_mm
    for name, start in (("at_x", x / far_mm), ("at_y", y / far_mm)):
        unknowns.add(name, start, 0.02)
    unknowns.add("log_far", np.log(far_mm), 0.05)
    unknowns.add("log_rim", np.log(RADIUS_MM * 1.03), 0.05, std=0.2)
    unknowns.add("bloom", 0.4, 0.3, std=PRIORS["bloom"])
    unknowns.add("rim_offset", 0.0, 0.3, std=PRIORS["rim_offset"])
    unknowns.add("card_offset", 0.0, 0.1, std=0.01)
    on = np.stack(pose.on_plane(*camera.rays(drawn.card.xy_px), figure.thickness_mm), 1)
    centre, right = on.mean(0), on[drawn.card.side == 0].mean(0)
    unknowns.add("card_x", float(centre[0]), 5.0)
    unknowns.add("card_y", float(centre[1]), 5.0)
    unknowns.add("card_turn", float(np.arctan2(*(right - centre)[::-1])), 0.05)
    unknowns.add("card_size_x", 0.0, 0.002, std=figure.size_std[0])
    unknowns.add("card_size_y", 0.0, 0.002, std=figure.size_std[1])
    for corner in range(len(drawn.curls)):
        unknowns.add(curl_name("card", corner), figure.curl_mm, 0.5, std=figure.curl_std_mm)
    told = [EdgeSamples(s.xy_px, s.bright_inside, s.std_px * noise_scale, s.side) for s in (drawn.rim, drawn.card)]
    terms: list[Term] = [
        CircleTerm(told[0], "log_rim", {"": 0.0}, "rim_offset"),
        FigureTerm(told[1], figure, "card", {"": figure.thickness_mm}, "card_offset", drawn.curls),
    ]
    return fit_scene(unknowns, terms, pose.rotation, SIZE_PX)
