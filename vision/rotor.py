"""Which of a photo's circles is the rotor: large, its rim unbroken, other circles round the same axis."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np

from vision.edges import Image
from vision.ellipse import Ellipse
from vision.figure import Sighting
from vision.rim import Rim, trace_rim
from vision.sketch import sketched_ellipses

LEAST_SHARE = 0.07
# Families that are tried, and the evidence from which a rim is taken for one without a look at the next.
TRIED, SURE_EVIDENCE = 6, 3.0
# Diameters of car rotors, and their spread as a share: a prior for telling circles apart, nothing more.
USUAL_DIAMETER_MM, USUAL_SPREAD = 320.0, 0.16
# Where a thing on the friction ring lies, as a share of the rim's radius.
RING_SHARE, RING_SPREAD, OFF_RING_WEIGHT = 0.8, 0.12, 0.002
# A circle that suits what lies on the face less is no reason to leave the others untried.
LEAST_SUITED = 0.02
MOST_INNER = 4
MOST_OFF_CENTRE, SAME = 0.5, 0.012
# The rim is looked for around this many circles, so many times as large: the net sees a seventh to either side.
GROWN, SIZES = 2, (1.2, 1.45, 1.75, 2.1)
# A rim has more evidence: a black rotor's before black 0.7. Other round things have too; `face` tells them by the rest.
LEAST_EVIDENCE = 0.5


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
    ranked = sorted(
        families(sketched_ellipses(grey), min(grey.shape)), key=lambda family: -_promise(family, family.outer, on_face)
    )[:TRIED]
    found: list[Rim] = []
    for family in _with_larger(ranked):
        rim = trace_rim(photo, family.outer)
        if rim is not None and rim.evidence > LEAST_EVIDENCE:
            rating = _promise(family, rim.ellipse, on_face) * float(np.exp(rim.evidence)) * rim.in_frame**2
            found.append(replace(rim, rating=rating))
            if rim.evidence > SURE_EVIDENCE and _suits(rim.ellipse, on_face) > LEAST_SUITED:
                break
    return _distinct(sorted(found, key=lambda rim: -rim.rating))


def _with_larger(ranked: Sequence[Family]) -> Iterator[Family]:
    """Go through families; then, where the rim itself was not seen as an ellipse, larger ones round the likeliest."""
    yield from ranked
    for family in ranked[:GROWN]:
        yield from (Family(family.outer.grown(size), family.inner_count + 1) for size in SIZES)


def _distinct(rims: list[Rim]) -> list[Rim]:
    kept: list[Rim] = []
    for rim in rims:
        if not any(_same_ring(rim.ellipse, other.ellipse) for other in kept):
            kept.append(rim)
    return kept


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


def _promise(family: Family, ellipse: Ellipse, on_face: Sequence[Sighting]) -> float:
    """Rate a family: large, with many circles inside, of a usual size, around what lies on its face."""
    return ellipse.radius_px * (1.0 + min(family.inner_count, MOST_INNER)) * _suits(ellipse, on_face)


def _suits(ellipse: Ellipse, on_face: Sequence[Sighting]) -> float:
    """Weigh an ellipse by the size it would have, and by where in it what lies on the ring would lie."""
    if not on_face:
        return 1.0
    diameter_mm = 2 * ellipse.radius_px / float(np.median([sighting.px_per_mm for sighting in on_face]))
    off = np.log(diameter_mm / USUAL_DIAMETER_MM) / USUAL_SPREAD
    shares = np.array([ellipse.share(sighting.corners_px.mean(axis=0)) for sighting in on_face])
    on_ring = np.exp(-0.5 * ((shares - RING_SHARE) / RING_SPREAD) ** 2)
    return float(np.exp(-0.5 * off**2) * np.maximum(on_ring, OFF_RING_WEIGHT).prod())


def _same_ring(one: Ellipse, other: Ellipse) -> bool:
    """Whether two ellipses are so near each other that following either leads to the same rim."""
    away = float(np.linalg.norm(one.centre_px - other.centre_px))
    return away < SAME * other.radius_px and abs(one.radius_px / other.radius_px - 1) < SAME


def _inside(ellipse: Ellipse, outer: Ellipse) -> bool:
    """Whether an ellipse may be a circle round the same axis: the hat's stand off the rim's centre in a tilted view."""
    share = ellipse.radius_px / outer.radius_px
    roundness = ellipse.half_axes_px.min() / ellipse.radius_px - outer.half_axes_px.min() / outer.radius_px
    contained = outer.share(ellipse.centre_px) < min(MOST_OFF_CENTRE, 1.05 - share)
    return 0.1 < share < 0.95 and contained and abs(roundness) < 0.15
