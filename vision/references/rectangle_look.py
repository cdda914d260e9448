"""A rectangle's outline as a net sees it: where its sides run beside those that were guessed, and how surely."""

from dataclasses import dataclass

import numpy as np

from vision.band import BoolArray, Curve
from vision.edges import Image
from vision.measurement import FloatArray
from vision.outline_look import COLUMNS, FINER, Look, drawn, shipped_net

SIDES = 4
# A side of which less than this share shows stays where it was guessed.
LEAST_SHOWN = 0.3


@dataclass(frozen=True)
class Outline:
    """A rectangle's picture.

    Attributes
    ----------
    corners_px : (4, 2) ndarray
        In order round it.
    """

    corners_px: FloatArray

    @property
    def size_px(self) -> float:
        """Half the root of its area."""
        x, y = (self.corners_px - self.corners_px.mean(axis=0)).T
        area = 0.5 * float(np.abs((x * np.roll(y, -1) - y * np.roll(x, -1)).sum()))
        return 0.5 * float(np.sqrt(area))

    @property
    def curve(self) -> Curve:
        """Points round it, as many on each side, and outward normals, pixels."""
        count = COLUMNS * FINER // SIDES
        share = (np.arange(count) + 0.5) / count
        run = np.roll(self.corners_px, -1, axis=0) - self.corners_px
        points = self.corners_px[:, None] + share[:, None] * run[:, None]
        normal = np.stack([run[:, 1], -run[:, 0]], axis=1) / np.maximum(np.linalg.norm(run, axis=1), 1e-9)[:, None]
        outward = self.corners_px + run / 2 - self.corners_px.mean(axis=0)
        normal *= np.sign((normal * outward).sum(axis=1))[:, None]
        return points.reshape(-1, 2), np.repeat(normal, count, axis=0)

    def off(self, other: "Outline") -> float:
        """Return how far the farthest corner lies off the other's, in whatever order, pixels."""
        ways = [np.roll(other.corners_px[::way], turn, axis=0) for way in (1, -1) for turn in range(SIDES)]
        return min(float(np.linalg.norm(self.corners_px - way, axis=1).max()) for way in ways)

    def moved(self, offset_px: FloatArray) -> "Outline":
        """Move both ends of each side outward, (4, 2) pixels; the corners are where the sides meet then."""
        points, normal = (part.reshape(SIDES, -1, 2)[:, [0, -1]] for part in self.curve)
        ends = points + offset_px[..., None] * normal
        lines = np.cross(_lifted(ends[:, 0]), _lifted(ends[:, 1]))
        # Side ``i`` runs from corner ``i``: there it meets the one before.
        corners = np.cross(np.roll(lines, 1, axis=0), lines)
        return Outline(corners[:, :2] / corners[:, 2:])


def _lifted(points: FloatArray) -> FloatArray:
    return np.column_stack([points, np.ones(len(points))])


@dataclass(frozen=True)
class Beside:
    """What the net sees beside a guess.

    Attributes
    ----------
    outline : Outline
        Sides that don't show are left as they were.
    evidence : float
        Mean over all that is not covered of the logarithm of how much likelier than even the outline runs there.
    shows : (4,) ndarray of bool
        Which sides do.
    """

    outline: Outline
    evidence: float
    shows: BoolArray


def outline_beside(bgr: Image, guess: Outline, covered: BoolArray) -> Beside:
    """Find a card's or a sheet's outline beside a guess.

    Parameters
    ----------
    bgr : (H, W, 3) ndarray of uint8
    guess : Outline
    covered : (COLUMNS,) ndarray of bool
        Where something lies over it.
    """
    look = shipped_net("rectangle").look(bgr, guess.curve, guess.size_px)
    sides = [_side(look, number, covered) for number in range(SIDES)]
    lines_px = np.stack([np.zeros(2) if line is None else line for line in sides])
    long = COLUMNS // SIDES
    share = (np.arange(long) + 0.5) / long
    offset_px = (lines_px[:, :1] + share * (lines_px[:, 1:] - lines_px[:, :1])).ravel()
    told = look.of(offset_px)[~covered]
    evidence = float(told.mean()) if len(told) else -np.inf
    return Beside(guess.moved(lines_px), evidence, np.array([line is not None for line in sides]))


def _side(look: Look, number: int, covered: BoolArray) -> FloatArray | None:
    """Draw a line to one side; return how far outward its ends lie, (2,) pixels, None where too little of it shows."""
    long = COLUMNS // SIDES
    own = slice(number * long, (number + 1) * long)
    share = np.exp(look.log_share[:-1, own].astype(np.float64)) * ~covered[own]
    if share.sum() < LEAST_SHOWN * long:
        return None
    along = np.linspace(-1, 1, long)
    level, slope = drawn(share, np.stack([np.ones(long), along], axis=1))
    return np.array([level - slope, level + slope]) * look.step_px
