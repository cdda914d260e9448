"""Sides of a thing that has thickness: from the foot of its wall and its shadow to the edge of its face."""

from dataclasses import dataclass, fields, replace

import numpy as np

from vision.edges import Image
from vision.figure import EdgeSamples, Figure
from vision.measurement import FloatArray
from vision.references.floor import Floor
from vision.references.sides import SidesFit, chosen, edge_samples, to_pixels
from vision.references.strip import SideEdge, side_edge

# Walls and shadows of thinner things don't show.
THIN_MM = 0.3
READINGS = 3
WIDEST_STRIP_MM = 1.8
LEAST_SHIFT_PX = -0.6
STRIP_DOUBT_PX, STRIP_DOUBT = 0.5, 0.4
# Where the edge that is seen runs, outward of the upper edge: mean and deviation in mm, and as shares of the width that
# the wall has in the photo (some of it melts into the face). A bright thing's bevel darkens inside its edge; a dark
# thing's foot is taken for it together with some shadow. Read off 220 sides of the cards of the ``fitting`` set.
BRIGHT_MM, BRIGHT_WALL = (-0.05, 0.05), (0.3, 0.4)
DARK_MM, DARK_WALL = (0.14, 0.06), (0.5, 0.3)


@dataclass(frozen=True)
class _Side:
    """A side's samples, its outward normal, what its mean profile shows and how wide its wall can look, px."""

    samples: EdgeSamples
    normal_px: FloatArray
    edge: SideEdge | None
    wall_px: float

    @property
    def has_strip(self) -> bool:
        """Whether a strip of wall or shadow seems to lie between the side's samples and its edge."""
        return self.edge is not None and self.edge.strip_px > 0 and self.edge.shift_px < LEAST_SHIFT_PX


def without_walls(bgr: Image, floor: Floor, fit: SidesFit, samples: EdgeSamples, figure: Figure) -> EdgeSamples:
    """Move the samples of a thick figure's sides in from the foot of its wall and shadow to its upper edge.

    Parameters
    ----------
    bgr : (H, W, 3) ndarray of uint8
    floor : Floor
    fit : SidesFit
    samples : EdgeSamples
    figure : Figure
        A rectangle.

    Returns
    -------
    EdgeSamples
        A side in doubt as a whole is stated by a few readings, which weigh together as much as one of that doubt:
        a row of samples would pass for as many tellings of the same thing.
    """
    scale = _px_per_mm(fit.homography)
    sides = _sides(bgr, floor, fit, (samples, figure))
    parts = []
    for number, side in sides.items():
        # Light comes from one side and the camera sees one wall of two: a strip on both is a blurred or sharpened edge.
        opposite = sides.get((number + 2) % 4)
        ringing = opposite is not None and opposite.has_strip
        parts.append(_upper(side, scale, strip=side.has_strip and not ringing))
    joined = {f.name: np.concatenate([getattr(part, f.name) for part in parts]) for f in fields(EdgeSamples)}
    return EdgeSamples(**joined)


def _sides(bgr: Image, floor: Floor, fit: SidesFit, sight: tuple[EdgeSamples, Figure]) -> dict[int, _Side]:
    samples, figure = sight
    line = samples.side.astype(np.intp)
    lines = fit.lines_px / np.hypot(*fit.lines_px[:, :2].T)[:, None]
    walls = _walls_px(floor, fit, figure, lines[:, :2])
    widest_px = WIDEST_STRIP_MM * _px_per_mm(fit.homography)
    sides = {}
    for number in np.unique(line):
        own, normal = chosen(samples, line == number), lines[number, :2]
        feet = own.xy_px - (own.xy_px @ normal + lines[number, 2])[:, None] * normal
        edge = side_edge(bgr, feet, np.broadcast_to(normal, feet.shape), widest_px)
        sides[int(number)] = _Side(own, normal, edge, max(0.0, float(walls[number])))
    return sides


def _upper(side: _Side, px_per_mm: float, *, strip: bool) -> EdgeSamples:
    """Return a side's samples at its upper edge."""
    samples, edge = side.samples, side.edge
    if strip and edge is not None:
        samples = replace(samples, bright_inside=np.full(len(samples), edge.bright_inside))
        shift, doubt = edge.shift_px, max(STRIP_DOUBT_PX, STRIP_DOUBT * abs(edge.shift_px))
    else:
        (seen_mm, doubt_mm), (melted, melted_doubt) = (
            (DARK_MM, DARK_WALL) if samples.bright_inside.mean() < 0 else (BRIGHT_MM, BRIGHT_WALL)
        )
        shift = -seen_mm * px_per_mm - melted * side.wall_px
        doubt = float(np.hypot(doubt_mm * px_per_mm, melted_doubt * side.wall_px))
    moved = replace(samples, xy_px=samples.xy_px + shift * side.normal_px)
    return _few(moved, doubt)


def _few(samples: EdgeSamples, doubt_px: float) -> EdgeSamples:
    """Return one reading for each third of a side, so that all of them together have the side's doubt."""
    thirds = [third for third in np.array_split(np.arange(len(samples)), READINGS) if len(third)]
    middles = np.array([samples.xy_px[third].mean(axis=0) for third in thirds])
    bright = np.array([float(np.sign(samples.bright_inside[third].sum())) for third in thirds])
    count = len(thirds)
    std_px = np.full(count, np.sqrt(count) * np.hypot(doubt_px, samples.std_px.mean() / np.sqrt(len(samples))))
    return edge_samples(middles, bright, std_px, np.full(count, int(samples.side[0]), np.intp))


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
