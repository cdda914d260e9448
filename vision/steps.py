"""Circles round the axis in one plane: where brightness or colour steps alike along rays all the way round."""

from dataclasses import dataclass

import cv2
import numpy as np
import numpy.typing as npt

from vision.measurement import FloatArray
from vision.ring import Face, Map, Mask, Pixels, read_at
from vision.top_view import TopView

RAYS, GROUP = 120, 4
TURN_RAD = (np.arange(RAYS) + 0.5) * (2 * np.pi / RAYS)
_OUT = np.stack([np.cos(TURN_RAD), np.sin(TURN_RAD)], axis=-1)
# At a rim of 330 mm: a step along the rays, and how many of them are compared on either side of an edge.
STEP_MM, WINDOW = 0.5, 3
NODES = 9
# How alike steps are told to be that are all the same, in units of the logarithm of brightness.
USUAL_SPREAD, LEAST_STEP = 0.04, 0.03
LEAST_SHARE, LEAST_CLEARNESS = 0.08, 0.3
# A worn ring shows two edges, its own and that of the band that the pads sweep, so far apart at a rim of 330 mm.
BESIDE_MM = (1.2, 6.5)
USUAL_SHARE, SHARE_SPREAD, WORST_SHARE = 0.65, 0.06, 11.0
# Gaps to the hat's edge, mm at a rim of 330: an undercut's, a joint's.
GAPS_MM = (1.0, 3.0, 7.0, 11.0, 25.0)
# Numbers that tell of a circle's looks and of its neighbours.
LOOKS = 15


@dataclass(frozen=True, eq=False)
class Strip:
    """Rays in one plane.

    Attributes
    ----------
    radii_mm : (N,) ndarray
    level : (RAYS, N, 2) ndarray of float32
        Logarithm of brightness, and of blue over red.
    seen : (RAYS, N) ndarray of bool
    unit_mm : float
        A millimetre of a rotor of 330 mm.
    """

    radii_mm: FloatArray
    level: Map
    seen: Mask
    unit_mm: float

    @classmethod
    def read(
        cls, bgr: Pixels, view: TopView, span_mm: tuple[float, float], z_mm: float, step_mm: float = STEP_MM
    ) -> "Strip":
        """Read rays between two radii of the plane ``z = z_mm``."""
        unit_mm = view.face.rim_radius_mm / 165.0
        radii = np.arange(span_mm[0], span_mm[1], step_mm * unit_mm)
        where = _pixels_along(view.face, radii, z_mm)
        level = np.log(read_at(bgr, where).astype(np.float32) + 8.0)
        both = np.stack([level.mean(axis=-1), level[..., 0] - level[..., 2]], axis=-1)
        flat = (radii[None, :, None] * _OUT[:, None, :]).reshape(1, -1, 2)
        on_view = cv2.perspectiveTransform(flat, view.on_view(np.array([z_mm]))[0])
        seen = read_at(view.seen, on_view.reshape(RAYS, -1, 2))
        return cls(radii, both, seen, unit_mm)

    def beyond(self, radius_mm: FloatArray) -> "Strip":
        """Hide what lies within a radius (RAYS,) of each ray."""
        return Strip(self.radii_mm, self.level, self.seen & (self.radii_mm > radius_mm[:, None]), self.unit_mm)


def _pixels_along(face: Face, radii_mm: FloatArray, z_mm: float) -> Map:
    """Pixels (RAYS, N, 2): exact at a few nodes of each ray, straight lines between."""
    node = np.linspace(0, len(radii_mm) - 1, NODES)
    at_mm = np.interp(node, np.arange(len(radii_mm)), radii_mm)
    points = np.concatenate(
        [at_mm[None, :, None] * _OUT[:, None, :], np.full((RAYS, NODES, 1), z_mm)], axis=-1, dtype=np.float64
    )
    pixels = face.to_pixels(points.reshape(-1, 3)).reshape(RAYS, NODES, 2)
    share = np.arange(len(radii_mm)) * ((NODES - 1) / (len(radii_mm) - 1))
    left = np.minimum(share.astype(int), NODES - 2)
    over = (share - left)[:, None]
    return np.asarray((1 - over) * pixels[:, left] + over * pixels[:, left + 1], np.float32)


@dataclass(frozen=True, eq=False)
class Steps:
    """Circles that may be an edge, the innermost first.

    Attributes
    ----------
    radii_mm : (K,) ndarray
    features : (K, F) ndarray
        What a table weighs.
    """

    radii_mm: FloatArray
    features: FloatArray

    def odds(self, weights: FloatArray) -> FloatArray:
        """Logarithm of each one's odds to be the edge that ``weights`` (1 + F,) were fitted on."""
        odds: FloatArray = weights[0] + self.features @ weights[1:]
        return odds


def find_steps(strip: Strip, hat_mm: float | None = None) -> Steps:
    """Find every circle that stands out.

    Parameters
    ----------
    strip : Strip
    hat_mm : float, optional
        Radius of the hat's edge, where it is known.

    Returns
    -------
    Steps
    """
    curve = _Curve.along(strip)
    top = np.nonzero(curve.peaks())[0]
    at = curve.radii_mm[top] / strip.unit_mm
    features = [curve.features(i) + _beside(curve, top, i, strip.unit_mm) for i in top.tolist()]
    gaps = np.zeros((len(top), len(GAPS_MM) + 2))
    gap = (
        np.full(len(top), len(GAPS_MM) + 1) if hat_mm is None else np.searchsorted(GAPS_MM, at - hat_mm / strip.unit_mm)
    )
    gaps[np.arange(len(top)), gap] = 1.0
    return Steps(curve.radii_mm[top], np.column_stack([np.array(features).reshape(len(top), LOOKS), gaps]))


@dataclass(frozen=True, eq=False)
class _Curve:
    """Over the radii (N,): the median step outward of brightness and colour (N, 2), and how alike the rays are."""

    radii_mm: FloatArray
    step: FloatArray
    clear: FloatArray
    same: FloatArray
    share: FloatArray

    @classmethod
    def along(cls, strip: Strip) -> "_Curve":
        step, used = _grouped_steps(strip)
        middle = _median(step, used)
        spread = 1.48 * _median(np.abs(step - middle), used)
        count = used.sum(axis=0)
        like = (np.sign(step) == np.sign(middle)) & (np.abs(step) > LEAST_STEP) & used[..., None]
        share = count / len(used)
        clear = np.abs(middle) / (spread + USUAL_SPREAD) * np.sqrt(np.minimum(2 * share, 1))[:, None]
        edge = strip.radii_mm[WINDOW : len(strip.radii_mm) - WINDOW + 1] - strip.unit_mm * STEP_MM / 2
        return cls(edge, middle, clear, (like.sum(axis=0) / np.maximum(count, 1)[:, None]).max(axis=1), share)

    @property
    def height(self) -> FloatArray:
        return np.where(self.share > LEAST_SHARE, self.clear.max(axis=1), 0)

    def peaks(self) -> Mask:
        height = self.height
        around = cv2.dilate(height[:, None], np.ones((5, 1), np.uint8))[:, 0]
        tops: Mask = (height >= around) & (height > LEAST_CLEARNESS)
        return tops

    def features(self, at: int) -> list[float]:
        bright, tint = self.step[at]
        return [
            float(np.log(self.height[at])),
            *np.log(self.clear[at] + 0.1).tolist(),
            min(abs(bright), 0.6),
            float(np.clip(bright, -0.6, 0.6)),
            min(abs(tint), 0.4),
            float(self.same[at]),
            float(self.share[at]),
        ]


def _beside(curve: _Curve, top: npt.NDArray[np.intp], at: int, unit_mm: float) -> list[float]:
    """Usual size, what else stands out just inside and just outside, and whether this stands out most."""
    height, apart = curve.height, (curve.radii_mm[top] - curve.radii_mm[at]) / unit_mm
    near = [(sign * apart > BESIDE_MM[0]) & (sign * apart < BESIDE_MM[1]) for sign in (-1, 1)]
    inside, outside = (float(height[top][part].max(initial=0.0)) for part in near)
    own = float(np.log(height[at]))
    share = float(curve.radii_mm[at] / unit_mm) / 165.0 - USUAL_SHARE
    return [
        share,
        min((share / SHARE_SPREAD) ** 2, WORST_SHARE),
        *(min(inside, 3.0), min(outside, 3.0)),
        *(own - float(np.log(max(inside, LEAST_CLEARNESS))), own - float(np.log(max(outside, LEAST_CLEARNESS)))),
        float(height[at] >= height[top].max()),
    ]


def _grouped_steps(strip: Strip) -> tuple[FloatArray, Mask]:
    """Step outward at each radius in each group of rays, (RAYS / GROUP, N, 2), and where enough rays show it."""
    seen, count = strip.seen, strip.level.shape[1]
    total = np.zeros((RAYS, count + 1, 2), np.float32)
    np.cumsum(np.where(seen[..., None], strip.level, 0), axis=1, out=total[:, 1:])
    shown = np.zeros((RAYS, count + 1), np.int32)
    np.cumsum(seen, axis=1, out=shown[:, 1:])
    at = np.arange(WINDOW, count - WINDOW + 1)
    step = (total[:, at + WINDOW] - 2 * total[:, at] + total[:, at - WINDOW]) / WINDOW
    full = shown[:, at + WINDOW] - shown[:, at - WINDOW] == 2 * WINDOW
    step = np.where(full[..., None], step, 0).reshape(-1, GROUP, len(at), 2).sum(axis=1)
    known = full.reshape(-1, GROUP, len(at)).sum(axis=1)
    return step / np.maximum(known, 1)[..., None], known > GROUP // 2


def _median(values: FloatArray, used: Mask) -> FloatArray:
    """Median over the groups that are used, (N, 2); 0 where none is."""
    ordered = np.sort(np.where(used[..., None], values, np.inf), axis=0)
    count = used.sum(axis=0)
    columns = np.arange(values.shape[1])
    middle = (
        ordered[np.maximum(count - 1, 0) // 2, columns] + ordered[np.minimum(count // 2, len(ordered) - 1), columns]
    ) / 2
    return np.where((count > 0)[:, None], middle, 0.0)
