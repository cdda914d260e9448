"""Where a rectangle of known size may lie, on the rotor or beside it: guesses, best first."""

from collections.abc import Sequence
from dataclasses import dataclass

import cv2
import numpy as np

from vision.band import BoolArray
from vision.edges import Image
from vision.measurement import FloatArray
from vision.outline_look import COLUMNS, FINER
from vision.references.floor import TILTS, Floor
from vision.references.parse import Reference
from vision.references.patches import patch_corners
from vision.references.pieces import Contrast, pieces_on
from vision.references.rectangle import Rectangles, Shape, from_patches, judge, propose, reduced, side_pieces
from vision.references.rectangle_look import Beside, Outline, outline_beside
from vision.references.sides import to_pixels

# A thing on the bench is farther away and looks smaller.
BENCH_SHRINK = 0.93
# A guess whose sides stand out less is not looked at; how many of a plane's are.
LEAST_EDGES, LOOKED_AT = 0.25, 9
# What the net's evidence counts for, and where it leaves open whether there is such a thing; under which a second look
# is in vain; odds from which one is likely, and from which no other plane is tried.
WEIGHT, EVEN_EVIDENCE, HOPELESS_EVIDENCE = 5.0, 2.6, 0.0
LEAST_ODDS, SURE_ODDS = 1.0, 4.5
# How well the plane's tilt is known tells how well a thing's shape on it is.
SHAPE_STD = 0.08
# Outlines nearer to each other are one: the farthest corner, over half the root of the area.
APART = 0.05
# The rim's wall hides what is under the rotor a little beyond the rim itself.
HIDDEN = 1.03
# Root of a patch's area over a sheet's shorter side: tilted sheets look smaller.
LEAST_PATCH = 0.5


@dataclass(frozen=True)
class Guess:
    """One of the rectangles that were guessed on a plane, and how likely it is the one."""

    floor: Floor
    guesses: Rectangles
    number: int
    score: float

    @property
    def homography(self) -> FloatArray:
        """From the figure's frame, mm, to pixels."""
        return self.floor.homography @ self.guesses.to_plane(self.number)

    def corners_px(self, size_mm: tuple[float, float]) -> FloatArray:
        """Return the corners (4, 2) of a figure of this size."""
        return to_pixels(self.homography, corners_mm(*size_mm))


@dataclass(frozen=True)
class Found:
    """A thing as a net sees it, and the natural logarithm of the odds that it is one.

    ``floor`` is the plane that it was guessed on.
    """

    floor: Floor
    seen: Beside
    odds: float

    @property
    def outline(self) -> Outline:
        """Its outline."""
        return self.seen.outline

    @property
    def hides_a_side(self) -> bool:
        """Whether all sides show but one."""
        return int(self.seen.shows.sum()) == len(self.seen.shows) - 1

    def other_way(self, size_mm: tuple[float, float]) -> Outline:
        """Return the outline with length and width exchanged, where one side is hidden: the side opposite stays."""
        corners = self.floor.to_plane(self.outline.corners_px)
        # Side ``i`` runs from corner ``i``: right, top, left, bottom; the first and third are the short ones.
        near = (int(np.argmin(self.seen.shows)) + 2) % len(corners)
        near_mm, far_mm = size_mm if near % 2 == 0 else size_mm[::-1]
        ends = np.roll(corners, -near, axis=0)
        run = float(np.linalg.norm(ends[1] - ends[0])) * far_mm / near_mm
        for end, other in ((0, 3), (1, 2)):
            away = ends[other] - ends[end]
            ends[other] = ends[end] + run * away / np.linalg.norm(away)
        return Outline(np.roll(to_pixels(self.floor.homography, ends), near + 1, axis=0))

    def homography(self, size_mm: tuple[float, float]) -> FloatArray:
        """From the figure's frame, mm, to pixels."""
        corners = corners_mm(*size_mm).astype(np.float32)
        return np.asarray(cv2.getPerspectiveTransform(corners, self.outline.corners_px.astype(np.float32)), np.float64)


@dataclass(frozen=True)
class Search:
    """A photo made ready for the search.

    Attributes
    ----------
    bgr : (H, W, 3) ndarray of uint8
    floors : sequence of Floor
        Where the rotor's face may be: both tilts of its rim, for the likeliest lens first.
    reference : Reference
    shape : Shape
    small : (H, W, 3) ndarray of uint8
        The part that is searched, reduced.
    corner : (int, int)
        Its first pixel in the photo.
    shrink : float
        How much smaller it is.
    contrast : Contrast
        Its edges.
    ends_px : (N, 4) ndarray
        Ends of the straight ones.
    """

    bgr: Image
    floors: Sequence[Floor]
    reference: Reference
    shape: Shape
    small: Image
    corner: tuple[int, int]
    shrink: float
    contrast: Contrast
    ends_px: FloatArray

    @classmethod
    def of(cls, bgr: Image, floors: Sequence[Floor], reference: Reference, *, inside: bool) -> "Search":
        """Cut the photo down to where the reference may lie, and find its straight edges."""
        shape = Shape(*reference.size_mm, _scales(floors[0], inside=inside), inside)
        corner, part = around_rim(bgr, floors[0]) if inside else ((0, 0), bgr)
        small, shrink = reduced(part, floors[0])
        contrast = Contrast.of(small)
        return cls(bgr, floors, reference, shape, small, corner, shrink, contrast, contrast.straight_ends())

    @property
    def is_sheet(self) -> bool:
        """Whether it is plain paper."""
        return self.reference.family == "sheet"

    def on(self, floor: Floor) -> list[Guess]:
        """Put rectangles together from straight edges."""
        near = self._reduced(floor)
        pieces = side_pieces(pieces_on(near, self.ends_px), self.shape, near)
        return self._judged(floor, propose(pieces, self.shape))

    def patched(self) -> list[Guess]:
        """Guess at a plain sheet by its shade, where its sides are too faint or too ragged to be lines."""
        least_px = LEAST_PATCH * self.reference.size_mm[1] * self.floors[0].px_per_mm / self.shrink
        patches = patch_corners(self.small, least_px * self.shape.scale[0])
        return [
            guess
            for floor in self.floors
            for guess in self._judged(floor, from_patches(patches, self.shape, self._reduced(floor)))
        ]

    def seen(self, guesses: Sequence[Guess]) -> list[Found]:
        """Let the net look at the best guesses, twice, and keep the likely ones."""
        outlines = [(guess.floor, Outline(guess.corners_px(self.reference.size_mm))) for guess in guesses[:LOOKED_AT]]
        return self._likely(outlines)

    def other_way(self, found: Sequence[Found]) -> list[Found]:
        """Let the net look at sheets of which one side is hidden the other way round, and keep the likely ones.

        Nothing but its far side tells whether a sheet lies lengthwise or across under the rotor.
        """
        return self._likely([(one.floor, one.other_way(self.reference.size_mm)) for one in found if one.hides_a_side])

    def _likely(self, outlines: Sequence[tuple[Floor, Outline]]) -> list[Found]:
        found = [self._settled(floor, outline) for floor, outline in outlines]
        return [one for one in found if one.odds > LEAST_ODDS]

    def _settled(self, floor: Floor, outline: Outline) -> Found:
        seen = self._seen(outline, floor)
        if seen.evidence > HOPELESS_EVIDENCE:
            seen = self._seen(seen.outline, floor)
        odd = self._oddness(seen.outline, floor)
        return Found(floor, seen, WEIGHT * (seen.evidence - EVEN_EVIDENCE) - 0.5 * odd**2)

    def _seen(self, outline: Outline, floor: Floor) -> Beside:
        return outline_beside(self.bgr, outline, self._covered(outline, floor))

    def _oddness(self, outline: Outline, floor: Floor) -> float:
        """Return by how many deviations an outline's shape on a plane differs from the reference's."""
        corners = floor.to_plane(outline.corners_px)
        run = np.linalg.norm(np.roll(corners, -1, axis=0) - corners, axis=1)
        # Side ``i`` runs from corner ``i``: right, top, left, bottom.
        shape = (run[1] + run[3]) * self.shape.height_mm / ((run[0] + run[2]) * self.shape.width_mm)
        return float(np.log(shape)) / SHAPE_STD

    def _covered(self, outline: Outline, floor: Floor) -> BoolArray:
        """Where the rotor lies over an outline, (COLUMNS,)."""
        if self.shape.inside:
            return np.zeros(COLUMNS, np.bool_)
        on_plane = floor.to_plane(outline.curve[0][FINER // 2 :: FINER])
        return np.asarray(np.hypot(*on_plane.T) < HIDDEN * floor.rim_radius_mm)

    def _reduced(self, floor: Floor) -> Floor:
        return floor.moved(self.corner).reduced(self.shrink)

    def _judged(self, floor: Floor, guesses: Rectangles) -> list[Guess]:
        paper = self.small if self.is_sheet else None
        best = judge(guesses, self.shape, self.contrast, self._reduced(floor), paper=paper)
        return [Guess(floor, best, n, float(score)) for n, score in enumerate(best.score) if score >= LEAST_EDGES]


def corners_mm(width_mm: float, height_mm: float) -> FloatArray:
    """Return a rectangle's corners (4, 2) so that its side ``i`` runs from corner ``i``: right, top, left, bottom."""
    x, y = width_mm / 2, height_mm / 2
    return np.array([[x, -y], [x, y], [-x, y], [-x, -y]])


def find_outlines(bgr: Image, floors: Sequence[Floor], reference: Reference, *, inside: bool) -> list[Found]:
    """Find where a reference may lie, likeliest first.

    Parameters
    ----------
    bgr : (H, W, 3) ndarray of uint8
    floors : sequence of Floor
        Where the rotor's face may be: both tilts of its rim, for the likeliest lens first.
    reference : Reference
    inside : bool
        On the rotor, or beside it and perhaps partly under it.
    """
    search = Search.of(bgr, floors, reference, inside=inside)
    found: list[Found] = []
    for floor in [*floors[:TILTS], *other_planes(floors, inside=inside)]:
        if max((one.odds for one in found), default=0.0) < SURE_ODDS:
            found += search.seen(search.on(floor))
    if search.is_sheet and max((one.odds for one in found), default=0.0) < SURE_ODDS:
        found += search.seen(search.patched())
    found = _apart(found)
    return _apart([*found, *search.other_way(found)]) if search.is_sheet else found


def _apart(found: Sequence[Found]) -> list[Found]:
    """Return the likeliest of those that are one outline, likeliest first."""
    kept: list[Found] = []
    for one in sorted(found, key=lambda one: one.odds, reverse=True):
        if all(one.outline.off(other.outline) > APART * other.outline.size_px for other in kept):
            kept.append(one)
    return kept


def other_planes(floors: Sequence[Floor], *, inside: bool) -> list[Floor]:
    """Planes for where both tilts show nothing sure.

    The lens may be longer than it was taken for; what lies beside the rotor is moved most by that.
    """
    between = [floors[0].between(floors[1])] if len(floors) >= TILTS else []
    return [*between, *(() if inside else floors[TILTS:])]


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
