"""A rectangle of known size lying on the rotor or beside it: searched for, then measured along its sides."""

from collections.abc import Sequence

import numpy as np

from vision.edges import Image
from vision.figure import Figure, Sighting, rectangle
from vision.measurement import FloatArray
from vision.references.card_sides import at_upper_edge
from vision.references.floor import Floor
from vision.references.outline import outline_feet, refine_outline, settled
from vision.references.parse import Reference
from vision.references.search import HIDDEN, Found, corners_mm, find_outlines
from vision.references.sides import Stretch, fit_sides, to_pixels

# Outlines that are measured, and how much of their sides must be found again at full size.
MEASURED, LEAST_GOOD = 3, 0.4
RIVAL_SHARE = 0.5
# How far from what the net sees its edges may be, over half the root of its area, then nearer.
REACHES = (0.03, 0.02, 0.015)
LEAST_REACH_PX = 2.5
GOOD_PX = 0.8
# Walls and shadows of thinner things don't show.
THIN_MM = 0.3


def find_rectangles(
    bgr: Image, floors: Sequence[Floor], reference: Reference, *, inside: bool, corner_mm: float
) -> list[Sighting]:
    """Find rectangles of a reference's size.

    Parameters
    ----------
    bgr : (H, W, 3) ndarray of uint8
    floors : sequence of Floor
        Where the rotor's face may be: both tilts of its rim, for the likeliest lens first.
    reference : Reference
    inside : bool
        On the rotor, or beside it and perhaps partly under it.
    corner_mm : float
        How much of each side's ends to leave out.

    Returns
    -------
    list of Sighting
        Best first.
    """
    found = find_outlines(bgr, floors, reference, inside=inside)
    odds = np.exp([one.odds for one in found])
    sightings: list[Sighting] = []
    for one, share in zip(found[:MEASURED], odds / (1 + odds.sum()), strict=False):
        measured = _measure(bgr, one, reference, float(share), inside=inside, corner_mm=corner_mm)
        sightings += [] if measured is None else [measured]
    return rivals(sightings)


def rivals(sightings: Sequence[Sighting]) -> list[Sighting]:
    """Return the sightings that may be the right one, best first: those nearly as good as the best."""
    best = max((sighting.score for sighting in sightings), default=0.0)
    kept = [sighting for sighting in sightings if sighting.score >= RIVAL_SHARE * best]
    return sorted(kept, key=lambda sighting: sighting.score, reverse=True)


def _measure(
    bgr: Image, found: Found, reference: Reference, score: float, *, inside: bool, corner_mm: float
) -> Sighting | None:
    sides, corners = rectangle(*reference.size_mm), corners_mm(*reference.size_mm)
    start = found.homography(reference.size_mm)
    stretch = outline_feet(corners, _feet_count(reference), corner_mm)
    if not inside:
        stretch = _uncovered(stretch, start, found.floor)
    reaches = tuple(max(LEAST_REACH_PX, share * found.outline.size_px) for share in REACHES)
    refined = refine_outline(bgr, start, stretch, sides, reaches)
    if refined is None:
        return None
    fit, samples = refined
    good = settled(fit, samples, max(GOOD_PX, 3 * fit.spread_px))
    if len(good) < LEAST_GOOD * max(1, len(stretch.side)) or len(np.unique(good.side)) < 3:
        return None
    figure = Figure(reference.kind, sides, None, reference.size_std, reference.thickness_mm, reference.thickness_std_mm)
    if reference.thickness_mm > THIN_MM:
        good = at_upper_edge(bgr, found.floor, fit, good, figure)
        fit = fit_sides(good, sides, fit.homography)
    return Sighting(figure, good, to_pixels(fit.homography, corners), fit.homography, score)


def _feet_count(reference: Reference) -> int:
    """One foot to about every 1.5 mm of a card, every 3 mm of a sheet."""
    return int(np.clip(reference.size_mm[0] / 1.4, 40, 100))


def _uncovered(stretch: Stretch, homography: FloatArray, floor: Floor) -> Stretch:
    on_plane = floor.to_plane(to_pixels(homography, stretch.xy_mm))
    seen = np.hypot(*on_plane.T) > HIDDEN * floor.rim_radius_mm
    return Stretch(stretch.xy_mm[seen], stretch.side[seen], stretch.bright_inside[seen])
