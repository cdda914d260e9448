"""The rotor's middle: ring's inner edge, hat, centre bore and bolt circle, as edge samples that a fit can take in."""

import json
from dataclasses import dataclass, replace
from functools import cache
from importlib import resources

import numpy as np

from vision.bolts import Bolts, find_bolts
from vision.circle_pose import circle
from vision.concentric import Circle, sampled
from vision.ellipse import Ellipse
from vision.figure import EdgeSamples
from vision.holes import bolt_holes, settled, stud_tops
from vision.measurement import FloatArray
from vision.outline_look import shipped_net
from vision.ring import Face, Pixels
from vision.steps import TURN_RAD, Steps, Strip, find_steps
from vision.top_view import TopView

TABLE = "circles_table.json"
# Radii over the rim's between which the ring's inner edge lies.
INNER_SHARE = (0.40, 0.86)
# The hat's edge lies outside the bolt holes.
HAT_OVER_BOLTS, HAT_SHARE = 1.1, 0.86
# The hat's edge is rounded: its silhouette lies under the mounting face by so much at a rim of 330 mm.
FILLET_MM = 2.0
# What a hat hides of the face, a little more than its silhouette; a ring's edge is seen so far from it at least.
HIDDEN_SHARE, CLEAR_MM = 1.006, 0.5
# Least logarithm of the odds under which a step is nobody's edge.
LEAST_HAT, LEAST_INNER = -1.5, -2.5
HOLE_STD_PX = 0.3
# A bolt circle is measured where the count of its holes is so sure, and they stand out so clearly.
SURE_BOLTS, CLEAR_BOLTS = 0.9, 10.0
# Unlike an edge, the holes' middles have no side to be on.
CENTRES_STD_MM = 0.05
# How well the net tells a hole's place, at a rim of 330 mm; a millimetre across the face.
SPOT_STD_MM = 1.2
_ACROSS = np.array([[-0.5, 0.0, 0.0], [0.5, 0.0, 0.0]])
EDGE_STD_MM = 0.4
# Which of the edges that lie so near each other is the ring's, a look from near will tell; others that are less likely
# than this an interval for nineteen in twenty need not hold.
NEAR_MM, LIKELY = 5.0, 0.05
# A bore's outline is an ellipse that is known as a whole: points on it, and what each is known by, were it alone;
# evidence from which it is one, the least radius that is looked at.
BORE_POINTS, BORE_STD_PX, BORE_STD_MM, LEAST_BORE, LEAST_BORE_PX = 48, 1.1, 0.15, 1.0, 12.0


@dataclass(frozen=True, eq=False)
class Middle:
    """What is seen inside the friction ring.

    Attributes
    ----------
    bolts : Bolts or None
    circles : mapping of str to Circle
        ``ring_inner``, ``hat`` (hat up only), ``centre_bore``, ``bolt_circle`` where found.
    inner_edges_mm : tuple of float
        Radius of the ring's inner edge, if found; how doubtful it is says its circle's ``edge_std_mm``.
    inner_odds : float
        Logarithm of the odds that it is the ring's; -inf where none was found.
    """

    bolts: Bolts | None
    circles: dict[str, Circle]
    inner_edges_mm: tuple[float, ...] = ()
    inner_odds: float = -np.inf

    @property
    def hat_up(self) -> bool | None:
        """Whether the hat stands toward the camera; None where no bolt circle was seen."""
        return None if self.bolts is None else self.bolts.height_mm > 0

    def hat_outline_mm(self, face: Face) -> list[FloatArray]:
        """Outline on the friction face of what the hat hides, (K, 2) mm."""
        if "hat" not in self.circles:
            return []
        hat = self.circles["hat"]
        silhouette = face.to_pixels(circle(HIDDEN_SHARE * hat.radius_mm, 90, hat.height_mm))
        return [face.to_plane(silhouette, 0.0)]


def look_inside(bgr: Pixels, grey: Pixels, view: TopView, *, hat_up: bool | None = None) -> Middle:
    """Find the rotor's inner circles.

    Parameters
    ----------
    bgr : (H, W, 3) ndarray of uint8
    grey : (H, W) ndarray of uint8
        The same photo's brightness.
    view : TopView
    hat_up : bool, optional
        As for `find_bolts`.

    Returns
    -------
    Middle
        Empty where nothing was found.
    """
    bolts = find_bolts(view, hat_up=hat_up)
    circles: dict[str, Circle] = {}
    if bolts is not None:
        bolts, holes = place_bolts(bgr, view, bolts)
        circles = _hub_circles(bgr, view.face, bolts)
        if holes is not None and bolts.probability > SURE_BOLTS and bolts.score > CLEAR_BOLTS:
            circles[holes.name] = holes
        if bolts.height_mm > 0 and (hat := _hat(bgr, grey, view, bolts)) is not None:
            circles["hat"] = hat
    middle = Middle(bolts, circles)
    strip, steps = inner_steps(bgr, view, middle)
    return _with_inner(grey, view.face, middle, (strip, steps))


def _mm(face: Face, at_330_mm: float) -> float:
    """Scale a length of a 330 mm rotor to the one at hand, whose size may be nominal."""
    return at_330_mm * face.rim_radius_mm / 165.0


def place_bolts(bgr: Pixels, view: TopView, bolts: Bolts) -> tuple[Bolts, Circle | None]:
    """Settle the bolts' plane, and return their circle: by the holes' outlines, where those fail by their places."""
    spot_std_px = SPOT_STD_MM * float(np.linalg.norm(np.ptp(view.face.to_pixels(_ACROSS), axis=0)))
    spots_px = stud_tops(view, bolts)
    for centres_px, std_px in (
        (bolt_holes(bgr, view.face, bolts, spots_px), HOLE_STD_PX),
        (spots_px, _mm(view.face, spot_std_px)),
    ):
        placed, kept_px = settled(view.face, bolts, centres_px)
        count = len(kept_px)
        if count:
            samples = EdgeSamples(kept_px, np.zeros(count), np.full(count, std_px), np.zeros(count))
            near = Circle("bolt_circle", placed.circle_mm, placed.height_mm, edge_std_mm=CENTRES_STD_MM)
            return placed, replace(near, samples=samples, support=count / bolts.count)
    return bolts, None


def _hub_circles(bgr: Pixels, face: Face, bolts: Bolts) -> dict[str, Circle]:
    start = Ellipse.through(face.to_pixels(circle(bolts.bore_mm, BORE_POINTS, bolts.height_mm)))
    if start.radius_px < LEAST_BORE_PX:
        return {}
    ellipse, evidence = shipped_net("bore").ellipse_beside(bgr, start, looks=1)
    if evidence < LEAST_BORE:
        return {}
    outline = ellipse.points(BORE_POINTS)[0]
    radius_mm = float(np.linalg.norm(face.to_plane(outline, bolts.height_mm), axis=1).mean())
    samples = EdgeSamples(outline, np.zeros(BORE_POINTS), np.full(BORE_POINTS, BORE_STD_PX), np.zeros(BORE_POINTS))
    near = Circle("centre_bore", radius_mm, bolts.height_mm, edge_std_mm=BORE_STD_MM)
    return {near.name: replace(near, samples=samples, support=1.0)}


def _hat(bgr: Pixels, grey: Pixels, view: TopView, bolts: Bolts) -> Circle | None:
    steps, top_mm = hat_steps(bgr, view, bolts)
    if not len(steps.radii_mm):
        return None
    odds = steps.odds(_weights("hat"))
    best = int(odds.argmax())
    if odds[best] < LEAST_HAT:
        return None
    return sampled(grey, view.face, Circle("hat", float(steps.radii_mm[best]), top_mm), reach_mm=_mm(view.face, 2.0))


def hat_steps(bgr: Pixels, view: TopView, bolts: Bolts) -> tuple[Steps, float]:
    """Return what may be the hat's edge, in the plane just under its mounting face, and that plane's height."""
    top_mm = bolts.height_mm - _mm(view.face, FILLET_MM)
    span = (HAT_OVER_BOLTS * bolts.circle_mm, HAT_SHARE * view.face.rim_radius_mm)
    return find_steps(Strip.read(bgr, view, span, top_mm)), top_mm


def inner_steps(bgr: Pixels, view: TopView, middle: Middle) -> tuple[Strip, Steps]:
    """Return the friction face as rays, without what the hat hides, and what may be the ring's inner edge."""
    face, hat = view.face, middle.circles.get("hat")
    low, high = (share * face.rim_radius_mm for share in INNER_SHARE)
    if hat is None:
        strip = Strip.read(bgr, view, (low, high), 0.0)
        return strip, find_steps(strip)
    silhouette = middle.hat_outline_mm(face)[0]
    turn = np.arctan2(silhouette[:, 1], silhouette[:, 0])
    hidden = np.interp(TURN_RAD, *_ordered(turn % (2 * np.pi), np.hypot(*silhouette.T)), period=2 * np.pi)
    low = min(max(low, hat.radius_mm + _mm(face, CLEAR_MM)), 0.9 * high)
    strip = Strip.read(bgr, view, (low, high), 0.0).beyond(hidden)
    return strip, find_steps(strip, hat.radius_mm)


def _ordered(keys: FloatArray, values: FloatArray) -> tuple[FloatArray, FloatArray]:
    order = np.argsort(keys)
    return keys[order], values[order]


def _with_inner(grey: Pixels, face: Face, middle: Middle, seen: tuple[Strip, Steps]) -> Middle:
    """Choose the likeliest inner edge, as doubtful as the others are likely."""
    strip, steps = seen
    if not len(steps.radii_mm):
        return middle
    odds = steps.odds(_weights("ring_inner"))
    best = int(odds.argmax())
    if odds[best] < LEAST_INNER:
        return middle
    radius_mm = float(steps.radii_mm[best])
    share = np.exp(odds - odds[best])
    off_mm, share = steps.radii_mm - radius_mm, share / share.sum()
    edge_mm = float(np.hypot(np.sqrt(share @ off_mm**2), _mm(face, EDGE_STD_MM)))
    others = (np.abs(off_mm) > _mm(face, NEAR_MM)) & (share > LIKELY)
    other_mm = float(np.sqrt(share[others] @ off_mm[others] ** 2))
    shown = strip.seen[:, min(int(np.searchsorted(strip.radii_mm, radius_mm)), strip.seen.shape[1] - 1)]
    near = Circle("ring_inner", radius_mm, 0.0, edge_std_mm=edge_mm, other_std_mm=other_mm)
    found = sampled(grey, face, near, reach_mm=_mm(face, 1.2), shown=shown)
    circles = middle.circles | ({"ring_inner": found} if found is not None else {})
    chosen_mm = radius_mm if found is None else found.radius_mm
    return replace(middle, circles=circles, inner_edges_mm=(chosen_mm,), inner_odds=float(odds[best]))


@cache
def _weights(name: str) -> FloatArray:
    text = resources.files("vision").joinpath(TABLE).read_text(encoding="utf-8")
    return np.array(json.loads(text)[name], float)
