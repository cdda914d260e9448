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
from vision.references.search import Guess, corners_mm, find_guesses
from vision.references.sides import Stretch, fit_sides, to_pixels

# Guesses that are measured at full size, and how much of its sides must be found again there: of a sheet's the more,
# the fainter it is, all but a tenth being enough.
MEASURED = 3
LEAST_GOOD, LEAST_MEASURED, LEAST_WHOLE = 0.5, 0.45, 0.9
RIVAL_SHARE = 0.85
# How far from a guess its edges may be, as shares of the shorter side, then nearer.
REACHES = (0.03, 0.015, 0.008)
LEAST_REACH_PX = 2.5
GOOD_PX = 0.8
# Walls and shadows of thinner things don't show.
THIN_MM = 0.3
# The rim's wall hides what is under the rotor a little beyond the rim itself.
HIDDEN = 1.03


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
    guesses = find_guesses(bgr, floors, reference, inside=inside)
    measured = [_measure(bgr, guess, reference, inside=inside, corner_mm=corner_mm) for guess in guesses[:MEASURED]]
    return rivals([s for s in measured if s is not None])


def rivals(sightings: Sequence[Sighting]) -> list[Sighting]:
    """Return the sightings that may be the right one, best first: those nearly as good as the best."""
    best = max((sighting.score for sighting in sightings), default=0.0)
    kept = [sighting for sighting in sightings if sighting.score >= RIVAL_SHARE * best]
    return sorted(kept, key=lambda sighting: sighting.score, reverse=True)


def _measure(bgr: Image, guess: Guess, reference: Reference, *, inside: bool, corner_mm: float) -> Sighting | None:
    width_mm, height_mm = reference.size_mm
    sides, corners = rectangle(width_mm, height_mm), corners_mm(width_mm, height_mm)
    stretch = outline_feet(corners, _feet_count(reference), corner_mm)
    if not inside:
        stretch = _uncovered(stretch, guess)
    short_px = height_mm * guess.floor.px_per_mm * float(guess.guesses.scale[guess.number])
    reaches = tuple(max(LEAST_REACH_PX, share * short_px) for share in REACHES)
    found = refine_outline(bgr, guess.homography, stretch, sides, reaches)
    if found is None:
        return None
    fit, samples = found
    good = settled(fit, samples, max(GOOD_PX, 3 * fit.spread_px))
    share = len(good) / max(1, len(stretch.side))
    is_sure = reference.family == "card" or guess.score * share >= LEAST_MEASURED or share >= LEAST_WHOLE
    if share < LEAST_GOOD or not is_sure or len(np.unique(good.side)) < 3:
        return None
    figure = Figure(reference.kind, sides, None, reference.size_std, reference.thickness_mm, reference.thickness_std_mm)
    if reference.thickness_mm > THIN_MM:
        good = at_upper_edge(bgr, guess.floor, fit, good, figure)
        fit = fit_sides(good, sides, fit.homography)
    return Sighting(figure, good, to_pixels(fit.homography, corners), fit.homography, guess.score * share)


def _feet_count(reference: Reference) -> int:
    """One foot to about every 1.5 mm of a card, every 3 mm of a sheet."""
    return int(np.clip(reference.size_mm[0] / 1.4, 40, 100))


def _uncovered(stretch: Stretch, guess: Guess) -> Stretch:
    on_plane = to_pixels(guess.guesses.to_plane(guess.number), stretch.xy_mm)
    seen = np.hypot(*on_plane.T) > HIDDEN * guess.floor.rim_radius_mm
    return Stretch(stretch.xy_mm[seen], stretch.side[seen], stretch.bright_inside[seen])
