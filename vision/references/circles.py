"""A small circle among its neighbours: every edge along rays from its middle, the rings they fall into, one fitted.

Everything struck or turned into a flat round thing is concentric: its rim, the rim's inside, a core of another metal.
The foot of its wall and its shadow are not. So the middle is where most edges fall into few rings.
"""

from dataclasses import dataclass, field

import cv2
import numpy as np
import numpy.typing as npt

from vision.edges import Image, offsets_px, profiles, slopes
from vision.measurement import FloatArray
from vision.references.floor import Floor
from vision.references.outline import LIGHT
from vision.references.sides import to_pixels

RAYS = 120
# How far from the guessed radius edges are read, as a share of it, and in how fine steps at most.
REACH = 0.5
STEP_PX, STEPS = 0.5, 200
BLUR_PX, BLUR = 0.8, 0.02
NEIGHBOURS = 5
# Colour, which shadows hardly change, counts so many times as much as brightness.
COLOUR = 2.0
OPPONENTS = np.array([[0.0, -1.0, 1.0], [-1.0, 0.5, 0.5]])
# Edges weaker than this, in levels per pixel or against the strongest on their ray, don't count; the same for colour.
LEAST_SLOPE, LEAST_SHARE = 1.6, 0.12
LEAST_COLOUR, LEAST_COLOUR_SHARE = 0.5, 0.25
# How far the middle is tried from its guess and how finely, first and then about the best, as shares of the radius.
MIDDLES, MIDDLES_TRIED = ((0.34, 0.03), (0.04, 0.01)), 3
GRID_PX = 0.5
# Rings count by what they show beyond chance.
CHANCE = 0.25
# Logarithms of the radii, over the guessed one, at which a ring is told.
LOG_STEP = 0.01
LOG_RATIOS = np.arange(-68, 41) * LOG_STEP
# Edges this near a circle, as a share of its radius or in pixels, are its own.
NEAR, NEAR_PX = 0.008, 0.45
FIT_STEPS = 4
# How far from the rings' middle a circle's own may be, and how oval it may look on a plane whose tilt is taken a little
# wrongly, as shares of its radius.
OFF, ODD = 0.008, 0.01


@dataclass(frozen=True)
class Edges:
    """Edges on rays.

    Attributes
    ----------
    ray : (E,) ndarray of int
        The ray of each edge.
    at_mm : (E,) ndarray
        Where on its ray each edge is, to a fraction of a step, nominal mm from the guessed circle.
    fall : (E,) ndarray
        Brightness lost there going outward, levels per pixel.
    """

    ray: npt.NDArray[np.intp]
    at_mm: FloatArray
    fall: FloatArray


@dataclass(frozen=True)
class Profiles:
    """Edges along rays from a guessed middle.

    Attributes
    ----------
    angle_rad : (N,) ndarray
        Of the rays, on the plane.
    along_mm : (M,) ndarray
        Offsets from the guessed circle, outward, nominal mm on the plane.
    xy_px : (N, M, 2) ndarray
        Where these are in the photo.
    edges, colours : Edges
        All edges, and those of colour alone.
    radius_mm : float
        The guess.
    """

    angle_rad: FloatArray
    along_mm: FloatArray
    xy_px: FloatArray
    edges: Edges
    colours: Edges
    radius_mm: float

    @property
    def px_per_mm(self) -> float:
        """Scale along the rays."""
        run = np.linalg.norm(self.xy_px[:, -1] - self.xy_px[:, 0], axis=1)
        return float(run.mean() / (self.along_mm[-1] - self.along_mm[0]))

    @property
    def near_mm(self) -> float:
        """How near an edge is to a circle that it belongs to."""
        return max(NEAR * self.radius_mm, NEAR_PX / self.px_per_mm)


@dataclass(frozen=True)
class Rings:
    """How much of every ring about one middle shows an edge.

    Attributes
    ----------
    shift_mm : (2,) ndarray
        The middle, from the guessed one.
    shown, coloured : (G,) ndarray
        Shares of the rays with an edge, and with one of colour, on the ring that is ``exp(LOG_RATIOS)`` times as large
        as the guessed circle.
    """

    shift_mm: FloatArray
    shown: FloatArray
    coloured: FloatArray


@dataclass(frozen=True)
class Round:
    """A circle: the guess's centre shifted and its radius grown, on the plane.

    Attributes
    ----------
    shift_mm : (2,) ndarray
    growth_mm : float
    support : float
        Share of the rays with an edge on it.
    spread_px : float
        Robust standard deviation of its edges.
    oval_mm : (2,) ndarray
        How oval it is: cosine and sine of twice the angle. The plane's tilt is known only so well.
    """

    shift_mm: FloatArray
    growth_mm: float
    support: float
    spread_px: float = np.inf
    oval_mm: FloatArray = field(default_factory=lambda: np.zeros(2))

    def offset_mm(self, angle_rad: FloatArray) -> FloatArray:
        """Return where the circle crosses each ray, as an offset from the guessed one."""
        x, y = self.shift_mm
        along, across = self.oval_mm
        offset: FloatArray = self.growth_mm + x * np.cos(angle_rad) + y * np.sin(angle_rad)
        offset += along * np.cos(2 * angle_rad) + across * np.sin(2 * angle_rad)
        return offset


@dataclass(frozen=True)
class RoundEdge:
    """Sub-pixel points on a circle's edge, and which side is the brighter (+1 inside)."""

    xy_px: FloatArray
    bright_inside: FloatArray


def read_profiles(bgr: Image, floor: Floor, centre_mm: FloatArray, radius_mm: float) -> Profiles:
    """Read the photo along rays from a guessed centre on the plane, and find the edges on them."""
    angle = np.linspace(0.0, 2 * np.pi, RAYS, endpoint=False)
    outward = np.stack([np.cos(angle), np.sin(angle)], axis=-1)
    reach_mm = REACH * radius_mm
    ends = [to_pixels(floor.homography, centre_mm + (radius_mm + side * reach_mm) * outward) for side in (-1, 1)]
    foot, ray = (ends[0] + ends[1]) / 2, ends[1] - ends[0]
    per_mm = np.linalg.norm(ray, axis=1) / (2 * reach_mm)
    reach_px = reach_mm * float(per_mm.mean())
    along_px = offsets_px(reach_px, max(STEP_PX, 2 * reach_px / STEPS))
    # Every ray has its own scale: equal offsets on the plane, not in the picture.
    stretch: FloatArray = ray / (2 * reach_px)
    colours = profiles(bgr, foot, stretch, along_px)
    blur_px = max(BLUR_PX, BLUR * reach_px / REACH)
    slope = _with_neighbours(np.stack([slopes(colours[..., c], along_px, blur_px) for c in range(3)], axis=-1))
    tint = ((slope @ OPPONENTS.T) ** 2).mean(axis=2)
    along_mm: FloatArray = along_px / float(per_mm.mean())
    xy_px: FloatArray = foot[:, None] + along_px[None, :, None] * stretch[:, None]
    edges = _edges(np.sqrt((slope**2).mean(axis=2) + COLOUR**2 * tint), slope, along_mm, (LEAST_SLOPE, LEAST_SHARE))
    tints = _edges(np.sqrt(tint), slope, along_mm, (LEAST_COLOUR, LEAST_COLOUR_SHARE))
    return Profiles(angle, along_mm, xy_px, edges, tints, radius_mm)


def _with_neighbours(slope: FloatArray) -> FloatArray:
    """Average over neighbouring rays: noise and relief go, what runs round stays."""
    reach = NEIGHBOURS // 2
    lags = [np.roll(slope, lag, axis=0) for lag in range(-reach, reach + 1)]
    average: FloatArray = np.mean(lags, axis=0)
    return average


def _edges(strength: FloatArray, slope: FloatArray, along_mm: FloatArray, least: tuple[float, float]) -> Edges:
    """Return the peaks that are strong enough, absolutely and against the strongest on their ray, by a parabola."""
    left, mid, right = strength[:, :-2], strength[:, 1:-1], strength[:, 2:]
    enough = np.maximum(least[0], least[1] * strength.max(axis=1, keepdims=True))
    ray, step = np.nonzero((mid >= left) & (mid > right) & (mid > enough))
    left, mid, right = left[ray, step], mid[ray, step], right[ray, step]
    place = 0.5 * (left - right) / (left - 2 * mid + right)
    at_mm: FloatArray = along_mm[step + 1] + place * (along_mm[1] - along_mm[0])
    return Edges(ray, at_mm, -(slope[ray, step + 1] @ LIGHT))


def find_rings(read: Profiles) -> list[Rings]:
    """Find the middles about which the edges fall into the clearest rings, and these; a shadow may have its own."""
    (wide, coarse), (near, fine) = MIDDLES
    found = []
    for middle in _middles(read, np.zeros(2), wide, coarse)[:MIDDLES_TRIED]:
        shift_mm = _middles(read, middle, near, fine)[0]
        bin_mm = _bin_mm(read, fine)
        told = [_at_ratios(read, edges, shift_mm, bin_mm) for edges in (read.edges, read.colours)]
        found.append(Rings(shift_mm, told[0], told[1]))
    return found


def _bin_mm(read: Profiles, share: float) -> float:
    return max(share * read.radius_mm, GRID_PX / read.px_per_mm)


def _middles(read: Profiles, about_mm: FloatArray, reach: float, fine: float) -> FloatArray:
    """Return the middles (K, 2) on a grid about one that are better than those beside them, best first."""
    bin_mm = _bin_mm(read, fine)
    count = int(np.ceil(reach * read.radius_mm / bin_mm))
    steps = np.arange(-count, count + 1) * bin_mm
    trials = about_mm + np.stack(np.meshgrid(steps, steps), axis=-1).reshape(-1, 2)
    shown, _ = _shown(read, read.edges, trials, bin_mm)
    clear = (np.maximum(shown - CHANCE, 0.0) ** 2).sum(axis=1).reshape(len(steps), len(steps))
    high = (cv2.dilate(clear, np.ones((5, 5))) == clear).ravel()
    order = np.argsort(-clear.ravel()[high])
    best: FloatArray = trials[high][order]
    return best


def _at_ratios(read: Profiles, edges: Edges, shift_mm: FloatArray, bin_mm: float) -> FloatArray:
    shown, growth_mm = _shown(read, edges, shift_mm[None], bin_mm)
    grown = np.exp(LOG_RATIOS) - 1
    told: FloatArray = np.interp(grown, growth_mm / read.radius_mm, shown[0])
    return np.where(np.abs(grown) < REACH, told, 0.0)


def _shown(read: Profiles, edges: Edges, shift_mm: FloatArray, bin_mm: float) -> tuple[FloatArray, FloatArray]:
    """Return the share of the rays with an edge on each ring (K, G) about shifted middles (K, 2), and its growth."""
    outward = np.stack([np.cos(read.angle_rad), np.sin(read.angle_rad)], axis=-1)[edges.ray]
    wander = (shift_mm @ outward.T).astype(np.float32)
    count = int(2 * (REACH + MIDDLES[0][0]) * read.radius_mm / bin_mm) + 3
    at = ((edges.at_mm.astype(np.float32) - wander) / np.float32(bin_mm) + (count // 2 + 0.5)).astype(np.int32)
    at = np.clip(at, 0, count - 1) + (np.arange(len(shift_mm), dtype=np.int32) * count)[:, None]
    counts = np.bincount(at.ravel(), minlength=len(shift_mm) * count).reshape(len(shift_mm), count) / RAYS
    shown: FloatArray = counts.copy()
    grown: FloatArray = np.asarray((np.arange(count) - count // 2) * bin_mm, np.float64)
    shown[:, 1:] += 0.5 * counts[:, :-1]
    shown[:, :-1] += 0.5 * counts[:, 1:]
    return shown, grown


def fit_round(read: Profiles, start: Round) -> tuple[Round, RoundEdge] | None:
    """Fit a circle to the nearest edge on each ray, robustly, to a fraction of a pixel.

    Returns
    -------
    Round, RoundEdge
        Its support counts only edges within a fraction of a pixel; None where too few are.
    """
    angle = read.angle_rad[read.edges.ray]
    basis = np.stack([np.ones(len(angle)), *(wave(k * angle) for k in (1, 2) for wave in (np.cos, np.sin))], axis=-1)
    found, limit = start, 3.0 * read.near_mm
    for _ in range(FIT_STEPS):
        own = _nearest(read, found, limit)
        if len(own) < RAYS // 4:
            return None
        held = read.radius_mm * np.array([np.inf, OFF, OFF, ODD, ODD])
        solution = _robust(basis[own], read.edges.at_mm[own], 2.0 * read.near_mm, held)
        residual = np.abs(read.edges.at_mm[own] - basis[own] @ solution)
        spread = 1.4826 * float(np.median(residual))
        share = float((residual < read.near_mm).sum()) / RAYS
        found = Round(solution[1:3], float(solution[0]), share, spread * read.px_per_mm, solution[3:])
        limit = 2.0 * read.near_mm
    return found, _edge(read, own[residual < read.near_mm])


def _nearest(read: Profiles, circle: Round, limit_mm: float) -> npt.NDArray[np.intp]:
    """Return, of each ray that has one within the limit, the edge nearest to a circle."""
    ray = read.edges.ray
    gap = np.abs(read.edges.at_mm - circle.offset_mm(read.angle_rad)[ray])
    order = np.lexsort((gap, ray))
    first = order[np.unique(ray[order], return_index=True)[1]]
    return np.asarray(first[gap[first] < limit_mm], np.intp)


def _edge(read: Profiles, own: npt.NDArray[np.intp]) -> RoundEdge:
    ray = read.edges.ray[own]
    share = (read.edges.at_mm[own] - read.along_mm[0]) / (read.along_mm[-1] - read.along_mm[0])
    first, last = read.xy_px[ray, 0], read.xy_px[ray, -1]
    return RoundEdge(first + share[:, None] * (last - first), np.sign(read.edges.fall[own]))


def _robust(basis: FloatArray, value: FloatArray, core: float, held_std: FloatArray) -> FloatArray:
    """Fit harmonics with Geman and McClure's weights, each held near nothing."""
    weight = np.ones(len(value))
    solution: FloatArray = np.zeros(basis.shape[1])
    hold = np.diag((0.25 * core / held_std) ** 2) * len(value) / RAYS
    for _ in range(6):
        heavy = basis * weight[:, None]
        solution = np.asarray(np.linalg.solve(heavy.T @ heavy + hold, heavy.T @ (value * weight)), np.float64)
        gap = value - basis @ solution
        weight = 1.0 / (1.0 + (gap / (0.5 * core)) ** 2)
    return solution
