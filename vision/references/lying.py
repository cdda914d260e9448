"""A rectangle of known size lying on the rotor or beside it: searched for, then measured along its sides."""

from collections.abc import Sequence

import numpy as np

from vision.edges import Image
from vision.figure import EdgeSamples, Figure, Sighting, rectangle
from vision.measurement import FloatArray
from vision.references.floor import Floor
from vision.references.outline import outline_feet, refine_outline, settled
from vision.references.parse import Reference
from vision.references.search import HIDDEN, Found, corners_mm, find_outlines
from vision.references.sides import Stretch, edge_samples, fit_sides, px_per_mm, to_pixels

# Outlines that are measured, and how much of their sides must be found again at full size.
MEASURED, LEAST_GOOD = 4, 0.4
RIVAL_SHARE = 0.25
# How far from what the net sees its edges may be, over half the root of its area, then nearer.
REACHES = (0.03, 0.02, 0.015)
LEAST_REACH_PX = 2.5
GOOD_PX = 0.8
# Walls and shadows of thinner things don't show: their edges are told by themselves.
THIN_MM = 0.3
# Where on a side it is read, from corner to corner. How far off a side is seen: of 288 sides that the net doesn't know
# half are within 0.056 mm, 19 in 20 within 0.24.
READINGS = (0.2, 0.5, 0.8)
SIDE_STD_MM, SIDE_STD_PX = 0.1, 0.1
LEAST_SIDES = 3


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


def rectangle_figure(reference: Reference, sides: FloatArray) -> Figure:
    """Return the figure of a card, a sheet or a tag with these sides."""
    thickness, curl = (reference.thickness_mm, reference.thickness_std_mm), (reference.curl_mm, reference.curl_std_mm)
    return Figure(reference.kind, sides, None, reference.size_std, *thickness, *curl)


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
    stretch = stretch if inside else _uncovered(stretch, start, found.floor)
    is_clear = reference.thickness_mm < THIN_MM or found.floor.upright is None
    samples = _along_edges(bgr, found, start, sides, stretch) if is_clear else _as_seen(found, start)
    if samples is None or len(np.unique(samples.side)) < LEAST_SIDES:
        return None
    figure = rectangle_figure(reference, sides)
    fit = fit_sides(samples, sides, start)
    return Sighting(figure, samples, to_pixels(fit.homography, corners), fit.homography, score)


def _as_seen(found: Found, homography: FloatArray) -> EdgeSamples:
    """Return a few readings of each side that shows where the net sees it.

    The readings weigh together as much as one of a side's doubt: more would pass for as many tellings of the same
    thing. Bloom has had its say in the net.
    """
    corners = found.outline.corners_px
    along = np.array(READINGS)[:, None]
    shown = np.flatnonzero(found.seen.shows)
    xy_px = np.concatenate([(1 - along) * corners[n] + along * corners[(n + 1) % len(corners)] for n in shown])
    doubt_px = np.hypot(SIDE_STD_MM * px_per_mm(homography), SIDE_STD_PX)
    std_px = np.full(len(xy_px), float(np.sqrt(len(READINGS)) * doubt_px))
    return edge_samples(xy_px, np.zeros(len(xy_px)), std_px, np.repeat(shown, len(READINGS)))


def _along_edges(
    bgr: Image, found: Found, homography: FloatArray, sides: FloatArray, stretch: Stretch
) -> EdgeSamples | None:
    """Sample the edges beside what the net sees; None where too few are found."""
    reaches = tuple(max(LEAST_REACH_PX, share * found.outline.size_px) for share in REACHES)
    refined = refine_outline(bgr, homography, stretch, sides, reaches)
    if refined is None:
        return None
    fit, samples = refined
    good = settled(fit, samples, max(GOOD_PX, 3 * fit.spread_px))
    return good if len(good) >= LEAST_GOOD * max(1, len(stretch.side)) else None


def _feet_count(reference: Reference) -> int:
    """One foot to about every 1.5 mm of a card, every 3 mm of a sheet."""
    return int(np.clip(reference.size_mm[0] / 1.4, 40, 100))


def _uncovered(stretch: Stretch, homography: FloatArray, floor: Floor) -> Stretch:
    on_plane = floor.to_plane(to_pixels(homography, stretch.xy_mm))
    seen = np.hypot(*on_plane.T) > HIDDEN * floor.rim_radius_mm
    return Stretch(stretch.xy_mm[seen], stretch.side[seen], stretch.bright_inside[seen])
