"""Which of the rim's edges was followed: how far it lies from the silhouette, told by the profile across it.

A rim has two edges, the face's own and, a chamfer's width outside it, the silhouette's against the ground. Light
chooses which is the stronger; the other leaves a step or a shoulder beside it, of either sign from place to place. So
the profile across the rim is averaged along short sectors and its steepness, not its level, over all of them.
"""

from dataclasses import dataclass

import numpy as np

from vision.band import BoolArray
from vision.edge_judge import LEAST_PEAK, LEAST_SLOPE, STEP_MM, Judge, beside, log_slope, shipped_judges
from vision.edges import Image, profiles
from vision.figure import EdgeSamples
from vision.measurement import FloatArray
from vision.scene import Scene

TABLE = "rim_edge_table.json"
# Where the profile is read, outward of the edge that was followed.
OFFSETS_MM: FloatArray = np.arange(-16, 25, dtype=np.float64) * STEP_MM
# Peaks of the followed edge itself lie so near it.
BESIDE_MM = 0.5
SECTORS, LEAST_IN_SECTOR, LEAST_SECTORS, LEAST_SAMPLES = 24, 6, 2, 40
# The line that was followed: waves round the rim, and how far a sample may lie off it.
ORDERS, PULL, ROUNDS, NEAR_MM, OFF_MM = (1, 2, 3), 2.0, 8, 0.25, 1.5


@dataclass(frozen=True)
class Followed:
    """One part of the rim as it was followed.

    Attributes
    ----------
    features : (F,) ndarray
        What the profile across it shows.
    line_mm : (A,) ndarray
        Where the followed edge runs outward of the scene's rim, at each of ``angle_rad``.
    angle_rad : (A,) ndarray
    """

    features: FloatArray
    line_mm: FloatArray
    angle_rad: FloatArray


def rim_edges_mm(photo: Image, scene: Scene, rim: EdgeSamples) -> dict[str, tuple[float, float]]:
    """Tell how far outward of the silhouette the rim was followed.

    Parameters
    ----------
    photo : (H, W, 3) ndarray of uint8
    scene : Scene
        Fitted to the rim, its scale right to a few hundredths.
    rim : EdgeSamples

    Returns
    -------
    dict
        Mean and standard deviation, mm, of the parts ``bright_rim`` and ``dark_rim`` that are long enough to tell.
    """
    parts = {"bright_rim": rim.bright_inside > 0, "dark_rim": rim.bright_inside < 0}
    seen = {name: follow(photo, scene, rim.chosen(part)) for name, part in parts.items()}
    return {name: rim_edge_judges()[name].judge(part.features) for name, part in seen.items() if part is not None}


def follow(photo: Image, scene: Scene, rim: EdgeSamples, unit_mm: float = 1.0) -> Followed | None:
    """Read the profile across one part of a rim.

    Parameters
    ----------
    photo : (H, W, 3) ndarray of uint8
    scene : Scene
    rim : EdgeSamples
    unit_mm : float
        A millimetre in those of the scene, where its scale is known better than it knows itself.

    Returns
    -------
    Followed or None
        None where too little of the rim is seen.
    """
    if len(rim) < LEAST_SAMPLES:
        return None
    level_mm = -scene.values["chamfer"]
    at = scene.to_plane(rim.xy_px, level_mm)
    angle = np.arctan2(at[:, 1], at[:, 0])
    off = (np.linalg.norm(at, axis=1) - scene.rim_radius_mm) / unit_mm
    line = _line(angle, off)
    near = np.abs(off - line) < OFF_MM
    angle, line = angle[near], line[near]
    if near.sum() < LEAST_SAMPLES:
        return None
    radius = scene.rim_radius_mm + unit_mm * line
    foot, ahead = (_on_circle(scene, angle, radius + more, level_mm) for more in (0.0, unit_mm))
    px_per_mm = float(np.median(np.linalg.norm(ahead - foot, axis=1)))
    slopes = _by_sector(angle, log_slope(profiles(photo, foot, ahead - foot, OFFSETS_MM), axis=1))
    return None if slopes is None else Followed(_features(*slopes, px_per_mm), line, angle)


def _on_circle(scene: Scene, angle: FloatArray, radius_mm: FloatArray, level_mm: float) -> FloatArray:
    height = np.full(len(angle), level_mm)
    return scene.to_pixels(np.stack([radius_mm * np.cos(angle), radius_mm * np.sin(angle), height], axis=-1))


def _line(angle: FloatArray, off_mm: FloatArray) -> FloatArray:
    """Lay low waves through offsets (A,), samples off them let go."""
    waves = [np.ones(len(angle))]
    for order in ORDERS:
        waves += [np.cos(order * angle), np.sin(order * angle)]
    basis = np.stack(waves, axis=1)
    pull = np.diag([0.0] + [PULL] * (len(waves) - 1))
    weight = np.ones(len(angle))
    for _ in range(ROUNDS):
        weighted = basis * weight[:, None]
        line: FloatArray = basis @ np.linalg.solve(basis.T @ weighted + pull, weighted.T @ off_mm)
        weight = 1 / (1 + ((off_mm - line) / NEAR_MM) ** 2)
    return line


def _by_sector(angle: FloatArray, slope: FloatArray) -> tuple[FloatArray, FloatArray] | None:
    """Return the mean steepness (S, M, 3) of each sector with samples enough, and their counts (S,)."""
    sector = (angle % (2 * np.pi) / (2 * np.pi) * SECTORS).astype(int) % SECTORS
    parts: list[BoolArray] = [sector == number for number in range(SECTORS)]
    parts = [part for part in parts if part.sum() >= LEAST_IN_SECTOR]
    if len(parts) < LEAST_SECTORS:
        return None
    return np.array([slope[part].mean(axis=0) for part in parts]), np.array([part.sum() for part in parts], float)


def _features(slope: FloatArray, count: FloatArray, px_per_mm: float) -> FloatArray:
    """Return how steep the profile is, in itself, beside the followed edge, in most sectors, and on average."""
    share = (count / count.sum())[:, None]
    peak = np.abs(slope[:, beside(OFFSETS_MM, BESIDE_MM)]).max(axis=(1, 2), keepdims=True) + LEAST_PEAK
    plain, relative = (slope**2).mean(axis=2), ((slope / peak) ** 2).mean(axis=2)
    steep = [
        np.sqrt((plain * share).sum(axis=0)),
        np.sqrt((relative * share).sum(axis=0)),
        np.median(np.sqrt(relative), axis=0),
    ]
    mean = ((slope / peak).mean(axis=2) * share).sum(axis=0)
    return np.concatenate([*(np.log(each + LEAST_SLOPE) for each in steep), mean, [np.log(px_per_mm)]])


def rim_edge_judges() -> dict[str, Judge]:
    """Return the judge of each part of a rim."""
    return shipped_judges("vision", TABLE)
