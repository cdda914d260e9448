"""A rectangle of known size lying on the rotor or beside it: searched for, then measured along its sides."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from vision.edges import Image
from vision.figure import Figure, Sighting, rectangle
from vision.measurement import FloatArray
from vision.references.card_sides import at_upper_edge
from vision.references.floor import TILTS, Floor
from vision.references.outline import outline_feet, refine_outline, settled
from vision.references.parse import Reference
from vision.references.patches import patch_corners
from vision.references.pieces import Contrast, pieces_on
from vision.references.rectangle import Rectangles, Shape, from_patches, judge, propose, reduced, side_pieces
from vision.references.sides import Stretch, fit_sides, to_pixels

# A thing on the bench is farther away and looks smaller.
BENCH_SHRINK = 0.93
# Guesses that are measured at full size, and the score under which a guess is a pattern, not a thing.
MEASURED = 3
LEAST_SCORE = 0.55
# Nothing else on a bench is a plain sheet's: the likest thing on 35 benches without one reached 0.36. A faint one
# counts where its sides are found again at full size, all but this share of them.
LEAST_SHEET, LEAST_WHOLE = 0.4, 0.9
# Under this, a plane half-way between the two tilts is tried as well, beside the rotor those of other lenses too.
SURE_SCORE = 0.7
LEAST_GOOD, LEAST_MEASURED = 0.5, 0.45
RIVAL_SHARE = 0.85
# How far from a guess its edges may be, as shares of the shorter side, then nearer.
REACHES = (0.03, 0.015, 0.008)
LEAST_REACH_PX = 2.5
GOOD_PX = 0.8
# Walls and shadows of thinner things don't show.
THIN_MM = 0.3
# The rim's wall hides what is under the rotor a little beyond the rim itself.
HIDDEN = 1.03
# Root of a patch's area over a sheet's shorter side: tilted sheets look smaller.
LEAST_PATCH = 0.5


@dataclass(frozen=True)
class _Guess:
    floor: Floor
    guesses: Rectangles
    number: int

    @property
    def score(self) -> float:
        return float(self.guesses.score[self.number])

    @property
    def homography(self) -> FloatArray:
        """From the figure's frame, mm, to pixels."""
        return self.floor.homography @ self.guesses.to_plane(self.number)


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
    guesses = _search(bgr, floors, reference, inside=inside)
    measured = [_measure(bgr, guess, reference, inside=inside, corner_mm=corner_mm) for guess in guesses[:MEASURED]]
    return rivals([s for s in measured if s is not None])


def rivals(sightings: Sequence[Sighting]) -> list[Sighting]:
    """Return the sightings that may be the right one, best first: those nearly as good as the best."""
    best = max((sighting.score for sighting in sightings), default=0.0)
    kept = [sighting for sighting in sightings if sighting.score >= RIVAL_SHARE * best]
    return sorted(kept, key=lambda sighting: sighting.score, reverse=True)


def _search(bgr: Image, floors: Sequence[Floor], reference: Reference, *, inside: bool) -> list[_Guess]:
    shape = Shape(*reference.size_mm, _scales(floors[0], inside=inside), inside)
    corner, part = around_rim(bgr, floors[0]) if inside else ((0, 0), bgr)
    small, shrink = reduced(part, floors[0])
    contrast, is_sheet = Contrast.of(small), reference.family == "sheet"
    ends_px = contrast.straight_ends()
    least = LEAST_SHEET if is_sheet else LEAST_SCORE

    def rated(floor: Floor, near: Floor, guesses: Rectangles) -> list[_Guess]:
        best = judge(guesses, shape, contrast, near, paper=small if is_sheet else None)
        return [_Guess(floor, best, number) for number in range(len(best)) if best.score[number] >= least]

    def on(floor: Floor) -> list[_Guess]:
        near = floor.moved(corner).reduced(shrink)
        return rated(floor, near, propose(side_pieces(pieces_on(near, ends_px), shape, near), shape))

    def patched() -> list[_Guess]:
        """Guess at a plain sheet by its shade, where its sides are too faint or too ragged to be lines."""
        least_px = LEAST_PATCH * reference.size_mm[1] * floors[0].px_per_mm / shrink * shape.scale[0]
        patches = patch_corners(small, least_px)
        planes = [(floor, floor.moved(corner).reduced(shrink)) for floor in floors]
        return [g for floor, near in planes for g in rated(floor, near, from_patches(patches, shape, near))]

    found = [guess for floor in floors[:TILTS] for guess in on(floor)]
    # The lens may be longer than it was taken for; what lies beside the rotor is moved most by that.
    between = [floors[0].between(floors[1])] if len(floors) >= TILTS else []
    for floor in [*between, *(() if inside else floors[TILTS:])]:
        if max((guess.score for guess in found), default=0.0) < SURE_SCORE:
            found += on(floor)
    if is_sheet and max((guess.score for guess in found), default=0.0) < SURE_SCORE:
        found += patched()
    return sorted(found, key=lambda guess: guess.score, reverse=True)


def around_rim(bgr: Image, floor: Floor) -> tuple[tuple[int, int], Image]:
    """Cut the photo down to the rim; return the part's top left pixel and the part."""
    angle = np.linspace(0, 2 * np.pi, 48)
    rim = 1.06 * floor.rim_radius_mm * np.stack([np.cos(angle), np.sin(angle)], axis=-1)
    seen = to_pixels(floor.homography, rim)
    height, width = bgr.shape[:2]
    left, top = np.clip(np.floor(seen.min(axis=0)), 0, [width - 8, height - 8]).astype(int)
    right, bottom = np.clip(np.ceil(seen.max(axis=0)), [left + 8, top + 8], [width, height]).astype(int)
    return (int(left), int(top)), bgr[top:bottom, left:right]


def _scales(floor: Floor, *, inside: bool) -> tuple[float, float]:
    """Return how many nominal millimetres a true one may span, least and most."""
    nominal, (least, most) = 2 * floor.rim_radius_mm, floor.diameters_mm
    return nominal / most * (1.0 if inside else BENCH_SHRINK), nominal / least


def _measure(bgr: Image, guess: _Guess, reference: Reference, *, inside: bool, corner_mm: float) -> Sighting | None:
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
    is_clear = guess.score >= LEAST_SCORE and guess.score * share >= LEAST_MEASURED
    if share < (LEAST_GOOD if is_clear else LEAST_WHOLE) or len(np.unique(good.side)) < 3:
        return None
    figure = Figure(reference.kind, sides, None, reference.size_std, reference.thickness_mm, reference.thickness_std_mm)
    if reference.thickness_mm > THIN_MM:
        good = at_upper_edge(bgr, guess.floor, fit, good, figure)
        fit = fit_sides(good, sides, fit.homography)
    return Sighting(figure, good, to_pixels(fit.homography, corners), fit.homography, guess.score * share)


def _feet_count(reference: Reference) -> int:
    """One foot to about every 1.5 mm of a card, every 3 mm of a sheet."""
    return int(np.clip(reference.size_mm[0] / 1.4, 40, 100))


def corners_mm(width_mm: float, height_mm: float) -> FloatArray:
    """Return a rectangle's corners (4, 2) so that its side ``i`` runs from corner ``i``: right, top, left, bottom."""
    x, y = width_mm / 2, height_mm / 2
    return np.array([[x, -y], [x, y], [-x, y], [-x, -y]])


def _uncovered(stretch: Stretch, guess: _Guess) -> Stretch:
    on_plane = to_pixels(guess.guesses.to_plane(guess.number), stretch.xy_mm)
    seen = np.hypot(*on_plane.T) > HIDDEN * guess.floor.rim_radius_mm
    return Stretch(stretch.xy_mm[seen], stretch.side[seen], stretch.bright_inside[seen])
