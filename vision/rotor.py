"""Which of a photo's circles is the rotor: large, its rim unbroken, other circles round the same axis."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from vision.edges import Image
from vision.ellipse import Ellipse, find_ellipses
from vision.figure import Sighting
from vision.measurement import FloatArray
from vision.rim import Rim, trace_rim

LEAST_SHARE = 0.07
TRIED = 6
# Diameters of car rotors, and their spread as a share: a prior for telling circles apart, nothing more.
USUAL_DIAMETER_MM, USUAL_SPREAD = 320.0, 0.16
OUTSIDE_WEIGHT = 0.02


@dataclass(frozen=True)
class Family:
    """Ellipses that may be circles round one axis: the largest and those inside it.

    Attributes
    ----------
    outer : Ellipse
    inner_count : int
        Distinct circles inside it.
    """

    outer: Ellipse
    inner_count: int


def find_rotor(photo: Image, grey: Image, on_face: Sequence[Sighting] = ()) -> list[Rim]:
    """Find what may be the rotor's rim, likeliest first.

    Parameters
    ----------
    photo : (H, W, 3) ndarray of uint8
    grey : (H, W) ndarray of uint8
    on_face : sequence of Sighting
        What is known to lie on the friction ring: it tells the rim from a wheel's and from the hat's.
    """
    groups = families(find_ellipses(grey), min(grey.shape))
    groups = sorted(groups, key=lambda f: -_promise(f) * _suits(f.outer, on_face))[:TRIED]
    found = [
        (_promise(family) * _suits(rim.ellipse, on_face) * rim.tightness**2 * rim.in_frame, rim)
        for family in groups
        if (rim := trace_rim(photo, family.outer)) is not None
    ]
    return [rim for score, rim in sorted(found, key=lambda pair: -pair[0])]


def families(ellipses: list[Ellipse], size_px: int) -> list[Family]:
    """Group ellipses by axis, those with many circles and a large outer one first."""
    large = [ellipse for ellipse in ellipses if ellipse.radius_px > LEAST_SHARE * size_px]
    chosen: list[Family] = []
    for outer in large:
        if any(_same_ring(outer, family.outer) for family in chosen):
            continue
        inner = [e for e in ellipses if e is not outer and _inside(e, outer)]
        radii = np.sort([e.radius_px / outer.radius_px for e in inner])
        distinct = int((np.diff(radii, prepend=0.0) > 0.03).sum()) if len(radii) else 0
        chosen.append(Family(outer, distinct))
    return chosen


def _promise(family: Family) -> float:
    return family.outer.radius_px * (1.0 + min(family.inner_count, 4))


def _suits(ellipse: Ellipse, on_face: Sequence[Sighting]) -> float:
    """Weigh an ellipse by the size it would have, and by whether what lies on the ring lies inside it."""
    weight = 1.0
    for sighting in on_face:
        diameter_mm = 2 * ellipse.radius_px / sighting.px_per_mm
        off = np.log(diameter_mm / USUAL_DIAMETER_MM) / USUAL_SPREAD
        inside = ellipse.holds(sighting.corners_px.mean(axis=0))
        weight *= float(np.exp(-0.5 * off**2)) * (1.0 if inside else OUTSIDE_WEIGHT)
    return weight


def _same_ring(one: Ellipse, other: Ellipse) -> bool:
    """Whether two ellipses are so near each other that following either leads to the same rim."""
    away = float(np.linalg.norm(one.centre_px - other.centre_px))
    return away < 0.012 * other.radius_px and abs(one.radius_px / other.radius_px - 1) < 0.012


def _inside(ellipse: Ellipse, outer: Ellipse) -> bool:
    away: FloatArray = ellipse.centre_px - outer.centre_px
    share = ellipse.radius_px / outer.radius_px
    roundness = ellipse.half_axes_px.min() / ellipse.radius_px - outer.half_axes_px.min() / outer.radius_px
    # The hat stands nearer to the camera, so its circles are seen off the rim's centre when the camera tilts.
    return 0.1 < share < 0.95 and float(np.linalg.norm(away)) < 0.2 * outer.radius_px and abs(roundness) < 0.15
