"""Round outlines by the votes of their edges: a hole may be darker than its rim, brighter, or half and half."""

from dataclasses import dataclass

import cv2
import numpy as np

from vision.edges import Image
from vision.ring import Map

LEAST_EDGE, MOST_EDGE = 0.03, 0.2
SOFT, SPREAD = 1.0, 1.2


@dataclass(frozen=True, eq=False)
class Ballots:
    """The edges of a picture and what they vote with.

    Votes that all come from one direction and its opposite are those of a long line, however strong it is: what
    counts is the part that comes from all round. (The voting of G. Loy, A. Zelinsky, "Fast radial symmetry for
    detecting points of interest", 2003, without the sign, and with their directions' second moment taken off.)

    Attributes
    ----------
    row, column : (K,) ndarray
    unit : (2, K) ndarray
        Direction ``(x, y)`` of each edge's slope.
    weight : (3, K) ndarray
        Strength; strength times the cosine and the sine of twice the direction.
    shape : (int, int)
        Of the picture.
    """

    row: Image
    column: Image
    unit: Image
    weight: Image
    shape: tuple[int, int]

    @classmethod
    def of(cls, level: Map) -> "Ballots":
        """Find the edges of a picture (R, C) of the logarithm of brightness."""
        soft = cv2.GaussianBlur(level, (0, 0), SOFT)
        x = cv2.Sobel(soft, cv2.CV_32F, 1, 0, ksize=3, scale=0.125)
        y = cv2.Sobel(soft, cv2.CV_32F, 0, 1, ksize=3, scale=0.125)
        size = cv2.magnitude(x, y)
        row, column = np.nonzero(size > max(LEAST_EDGE, 1.5 * float(np.median(size))))
        strength = size[row, column]
        unit = np.stack([x[row, column], y[row, column]]) / strength
        weight = np.minimum(strength, MOST_EDGE)
        both = np.stack([weight, weight * (unit[0] ** 2 - unit[1] ** 2), weight * 2 * unit[0] * unit[1]])
        return cls(row.astype(np.float32), column.astype(np.float32), unit, both, (level.shape[0], level.shape[1]))

    def for_discs(self, radius: float) -> Map:
        """Let every edge vote for the middle of the disc it may bound, on either side of it.

        Parameters
        ----------
        radius : float
            Of the discs, in pixels of the picture.

        Returns
        -------
        (R, C) ndarray of float32
            Votes over the radius.
        """
        rows, columns = self.shape
        where = np.concatenate([self._place(-radius), self._place(radius)])
        votes = [
            cv2.GaussianBlur(
                np.bincount(where, np.tile(part, 2), rows * columns).reshape(self.shape).astype(np.float32),
                (0, 0),
                SPREAD,
            )
            for part in self.weight
        ]
        return np.asarray((votes[0] - cv2.magnitude(votes[1], votes[2])) / radius, np.float32)

    def _place(self, step: float) -> Image:
        rows, columns = self.shape
        to_row = np.clip(np.rint(self.row + step * self.unit[1]), 0, rows - 1).astype(np.int32)
        to_column = np.clip(np.rint(self.column + step * self.unit[0]), 0, columns - 1).astype(np.int32)
        return np.asarray(to_row * columns + to_column)
