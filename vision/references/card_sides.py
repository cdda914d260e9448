"""Where a card ends: how far off its upper edge each side was followed, told by the profile across it.

Beside a card's upper edge lie its own wall, the wall's foot and its shadow, 0.76 mm high; which of them a straight line
is laid along depends on light, print and tilt. The profile, averaged along the side, has hardly any noise.
"""

from dataclasses import dataclass, fields

import numpy as np

from vision.edge_judge import LEAST_PEAK, LEAST_SLOPE, STEP_MM, Judge, beside, log_slope, shipped_judges
from vision.edges import Image, profiles
from vision.figure import EdgeSamples, Figure
from vision.measurement import FloatArray
from vision.references.floor import Floor
from vision.references.outline import LIGHT
from vision.references.sides import SidesFit, edge_samples, to_pixels

TABLE = "card_sides_table.json"
# Where the profile is read, outward of the line that was followed; the followed edge's own peaks lie so near it.
OFFSETS_MM: FloatArray = np.arange(-20, 21, dtype=np.float64) * STEP_MM
BESIDE_MM = 0.6
READINGS = 3


@dataclass(frozen=True)
class Side:
    """One side as it was followed.

    Attributes
    ----------
    samples : EdgeSamples
    normal_px : (2,) ndarray
        Outward, unit.
    px_per_mm : float
    features : (F,) ndarray
        What the profile across it shows, how wide its wall can look and how large the card is in the photo.
    """

    samples: EdgeSamples
    normal_px: FloatArray
    px_per_mm: float
    features: FloatArray


def at_upper_edge(bgr: Image, floor: Floor, fit: SidesFit, samples: EdgeSamples, figure: Figure) -> EdgeSamples:
    """Move the samples of a card's sides to its upper edge.

    Parameters
    ----------
    bgr : (H, W, 3) ndarray of uint8
    floor : Floor
    fit : SidesFit
    samples : EdgeSamples
    figure : Figure
        A card.

    Returns
    -------
    EdgeSamples
        A side in doubt as a whole is stated by a few readings, which weigh together as much as one of that doubt: a
        row of samples would pass for as many tellings of the same thing. What was taken off holds their bloom too.
    """
    judge = card_sides_judge()
    readings = []
    for side in followed_sides(bgr, floor, fit, samples, figure, READINGS):
        off_mm, std_mm = judge.judge(side.features)
        readings.append(_reading(side, -off_mm * side.px_per_mm, np.sqrt(READINGS) * std_mm * side.px_per_mm))
    joined = {f.name: np.concatenate([getattr(part, f.name) for part in readings]) for f in fields(EdgeSamples)}
    return EdgeSamples(**joined)


def card_sides_judge() -> Judge:
    """Return the judge of how far outward of the upper edge a side was followed."""
    return shipped_judges("vision.references", TABLE)["side"]


def followed_sides(
    bgr: Image, floor: Floor, fit: SidesFit, samples: EdgeSamples, figure: Figure, parts: int = 1
) -> list[Side]:
    """Read the profile across each side that has samples, or across equal parts of it; else as `at_upper_edge`."""
    line = samples.side.astype(np.intp)
    lines = fit.lines_px / np.hypot(*fit.lines_px[:, :2].T)[:, None]
    px_per_mm = _px_per_mm(fit.homography)
    walls_mm = _walls_px(floor, fit, figure, lines[:, :2]) / px_per_mm
    sides = []
    for number in np.unique(line):
        whole, normal = samples.chosen(line == number), lines[number, :2]
        for run in filter(len, np.array_split(np.arange(len(whole)), parts)):
            own = whole.chosen(slice(run[0], run[-1] + 1))
            feet = own.xy_px - (own.xy_px @ normal + lines[number, 2])[:, None] * normal
            outward = np.broadcast_to(normal, feet.shape)
            mean = profiles(bgr, feet, outward, OFFSETS_MM * px_per_mm).mean(axis=0)
            bright = float(own.bright_inside.mean())
            features = np.concatenate([_shape(mean), [walls_mm[number], max(0.0, walls_mm[number]), bright]])
            sides.append(Side(own, normal, px_per_mm, np.append(features, np.log(px_per_mm))))
    return sides


def _shape(profile: FloatArray) -> FloatArray:
    """Return how steep a profile (M, 3) is, of its peak: in brightness with its sign, in all colours without."""
    light = log_slope(profile @ LIGHT, axis=0)
    steep = np.sqrt((log_slope(profile, axis=0) ** 2).mean(axis=1))
    peak = float(steep[beside(OFFSETS_MM, BESIDE_MM)].max()) + LEAST_PEAK
    return np.concatenate([light / peak, np.log(steep / peak + LEAST_SLOPE), [np.log(peak)]])


def _reading(side: Side, shift_px: float, doubt_px: float) -> EdgeSamples:
    """Return one reading in the middle of a side or of a part of it, moved outward."""
    samples = side.samples
    middle = samples.xy_px.mean(axis=0, keepdims=True) + shift_px * side.normal_px
    std_px = np.array([np.hypot(doubt_px, samples.std_px.mean() / np.sqrt(len(samples)))])
    return edge_samples(middle, np.zeros(1), std_px, samples.side[:1].astype(np.intp))


def _walls_px(floor: Floor, fit: SidesFit, figure: Figure, normals_px: FloatArray) -> FloatArray:
    """Return how wide (S,) the wall under each side shows, px; negative where the side hides it."""
    middles_mm = figure.sides[:, :2] * figure.sides[:, 2:]
    middles_px = to_pixels(fit.homography, middles_mm)
    on_floor = floor.to_plane(middles_px)
    nominal = np.linalg.norm(on_floor[0] - on_floor[2]) / np.linalg.norm(middles_mm[0] - middles_mm[2])
    walls: FloatArray = (floor.sunk(on_floor, figure.thickness_mm * float(nominal)) * normals_px).sum(axis=1)
    return walls


def _px_per_mm(homography: FloatArray) -> float:
    left, right = to_pixels(homography, np.array([[-0.5, 0.0], [0.5, 0.0]]))
    return float(np.linalg.norm(right - left))
