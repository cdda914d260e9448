"""The rotor's middle: ring's inner edge, hat, centre bore and bolt circle, as edge samples that a fit can take in."""

from collections.abc import Sequence
from dataclasses import dataclass

import cv2
import numpy as np

from vision.bolts import Bolts, bolt_holes, find_bolts, settled
from vision.circle_pose import circle
from vision.concentric import Circle, edges_in, sampled
from vision.figure import EdgeSamples
from vision.measurement import FloatArray
from vision.ring import Face, Pixels

# Radii over the rim's between which the ring's inner edge lies.
INNER_SHARE = (0.43, 0.86)
# The hat's edge lies outside the bolt holes.
HAT_OVER_BOLTS = 1.16
HAT_SHARE = 0.8
# The hat's edge is rounded: its silhouette lies under the mounting face by so much at a rim of 330 mm.
FILLET_MM = 2.0
AS_CLEAR = 0.5
# Two-piece rings end well outside the hat, but no further than this; the swept band's edge lies this near the ring's.
RING_OVER_HAT, BESIDE = 1.22, 1.07
HOLE_STD_PX = 0.5


@dataclass(frozen=True, eq=False)
class Middle:
    """What is seen inside the friction ring.

    Attributes
    ----------
    bolts : Bolts or None
    circles : mapping of str to Circle
        ``ring_inner``, ``hat`` (hat up only), ``centre_bore``, ``bolt_circle`` where found.
    inner_edges_mm : tuple of float
        Radii of everything that may be the ring's inner edge, the chosen one first.
    """

    bolts: Bolts | None
    circles: dict[str, Circle]
    inner_edges_mm: tuple[float, ...]

    @property
    def hat_up(self) -> bool | None:
        """Whether the hat stands toward the camera; None where no bolt circle was seen."""
        return None if self.bolts is None else self.bolts.height_mm > 0

    def hat_outline_mm(self, face: Face) -> list[FloatArray]:
        """Outline on the friction face of what the hat hides, (K, 2) mm."""
        if "hat" not in self.circles:
            return []
        hat = self.circles["hat"]
        silhouette = face.to_pixels(circle(1.005 * hat.radius_mm, 90, hat.height_mm))
        return [face.to_plane(silhouette, 0.0)]


def look_inside(bgr: Pixels, face: Face, *, hat_up: bool | None = None, hidden_mm: Sequence[FloatArray] = ()) -> Middle:
    """Find the rotor's inner circles.

    Parameters
    ----------
    bgr : (H, W, 3) ndarray of uint8
    face : Face
    hat_up : bool, optional
        As for `find_bolts`.
    hidden_mm : sequence of (K, 2) ndarray
        Outlines on the face of what lies on it.

    Returns
    -------
    Middle
        Empty where nothing was found.
    """
    grey = np.asarray(cv2.cvtColor(bgr, cv2.COLOR_BGR2GRAY), np.uint8)
    bolts = find_bolts(bgr, face, hat_up=hat_up)
    circles: dict[str, Circle] = {}
    if bolts is not None:
        centres_px = bolt_holes(grey, face, bolts)
        bolts = settled(face, bolts, centres_px)
        circles = _hub_circles(grey, face, bolts, centres_px)
    middle = Middle(bolts, circles, ())
    inner = _inner_edges(grey, face, [*hidden_mm, *middle.hat_outline_mm(face)], circles.get("hat"))
    if inner and (ring_inner := sampled(grey, face, "ring_inner", (inner[0], 0.0), reach_mm=_mm(face, 3.0))):
        circles["ring_inner"] = ring_inner
    return Middle(bolts, circles, tuple(inner))


def _mm(face: Face, at_330_mm: float) -> float:
    """Scale a length of a 330 mm rotor to the one at hand, whose size may be nominal."""
    return at_330_mm * face.rim_radius_mm / 165.0


def _hub_circles(grey: Pixels, face: Face, bolts: Bolts, centres_px: FloatArray) -> dict[str, Circle]:
    found: list[Circle | None] = []
    near = (bolts.bore_mm, bolts.height_mm)
    found.append(sampled(grey, face, "centre_bore", near, reach_mm=_mm(face, 2.5)))
    if len(centres_px) >= 3:
        count = len(centres_px)
        samples = EdgeSamples(centres_px, np.zeros(count), np.full(count, HOLE_STD_PX), np.zeros(count))
        found.append(Circle("bolt_circle", bolts.circle_mm, bolts.height_mm, samples, count / bolts.count))
    if bolts.height_mm > 0:
        top_mm = bolts.height_mm - _mm(face, FILLET_MM)
        span = (HAT_OVER_BOLTS * bolts.circle_mm, HAT_SHARE * face.rim_radius_mm)
        edges = edges_in(grey, face, span, z_mm=top_mm)
        if edges:
            found.append(sampled(grey, face, "hat", (edges[0].radius_mm, top_mm), reach_mm=_mm(face, 3.0)))
    return {seen.name: seen for seen in found if seen is not None}


def _inner_edges(grey: Pixels, face: Face, hidden_mm: Sequence[FloatArray], hat: Circle | None) -> list[float]:
    """Radii of circles on the face, the likeliest inner edge of the ring first."""
    low, high = INNER_SHARE[0] * face.rim_radius_mm, INNER_SHARE[1] * face.rim_radius_mm
    if hat is not None:
        low = max(low, hat.radius_mm + _mm(face, 0.8))
        high = min(high, RING_OVER_HAT * hat.radius_mm)
    if low >= 0.97 * high:
        return []
    edges = edges_in(grey, face, (low, high), z_mm=0.0, hidden_mm=hidden_mm)
    clear = sorted(e.radius_mm for e in edges if e.clearness > AS_CLEAR * edges[0].clearness)
    if not clear:
        return []
    # The outermost is the ring's, not the hat's foot; but next to it lies the edge of the band that the pads swept.
    chosen = len(clear) - 1
    while chosen and clear[chosen] < BESIDE * clear[chosen - 1]:
        chosen -= 1
    return [clear[chosen], *clear[:chosen], *clear[chosen + 1 :]]
