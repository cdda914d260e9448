"""Round outlines by the votes of their edges: a hole may be darker than its rim, brighter, or half and half."""

from collections.abc import Sequence

import cv2
import numpy as np

from vision.edges import Image
from vision.ring import Map

LEAST_EDGE, MOST_EDGE = 0.03, 0.2
SOFT, SPREAD = 1.0, 1.2


def round_votes(level: Map, radii: Sequence[float]) -> Map:
    """Let every edge vote for the middles of the discs it may bound, on either side of it.

    Votes that all come from one direction and its opposite are those of a long line, however strong it is: what
    counts is the part that comes from all round. (The voting of G. Loy, A. Zelinsky, "Fast radial symmetry for
    detecting points of interest", 2003, without the sign, and with their directions' second moment taken off.)

    Parameters
    ----------
    level : (R, C) ndarray of float32
        Logarithm of brightness.
    radii : sequence of float
        Of the discs, in pixels of ``level``.

    Returns
    -------
    (R, C) ndarray of float32
        Votes over the radius, the best of all radii.
    """
    soft = cv2.GaussianBlur(level, (0, 0), SOFT)
    x = cv2.Sobel(soft, cv2.CV_32F, 1, 0, ksize=3, scale=0.125)
    y = cv2.Sobel(soft, cv2.CV_32F, 0, 1, ksize=3, scale=0.125)
    size = cv2.magnitude(x, y)
    row, column = np.nonzero(size > max(LEAST_EDGE, 1.5 * float(np.median(size))))
    strength = size[row, column]
    unit = np.stack([x[row, column], y[row, column]]) / strength
    weight = np.minimum(strength, MOST_EDGE)
    # The weight itself, and the weight times the cosine and sine of twice the direction.
    ballots = np.stack([weight, weight * (unit[0] ** 2 - unit[1] ** 2), weight * 2 * unit[0] * unit[1]])
    total = np.zeros(size.shape, np.float32)
    for radius in radii:
        votes = _cast((row, column), unit * radius, ballots, size.shape)
        total = np.maximum(total, (votes[0] - np.hypot(votes[1], votes[2])) / radius)
    return total


def _cast(at: tuple[Image, Image], step: Image, ballots: Image, shape: tuple[int, ...]) -> Map:
    """Sum each of the ballots a step to either side of where it was given, (3, R, C), smoothed."""
    rows, columns = shape
    votes = np.zeros((len(ballots), rows * columns))
    for side in (-1.0, 1.0):
        to_row = np.clip(np.rint(at[0] + side * step[1]), 0, rows - 1)
        to_column = np.clip(np.rint(at[1] + side * step[0]), 0, columns - 1)
        where = (to_row * columns + to_column).astype(np.intp)
        for total, ballot in zip(votes, ballots, strict=True):
            total += np.bincount(where, ballot, rows * columns)
    smooth = [cv2.GaussianBlur(v.reshape(rows, columns).astype(np.float32), (0, 0), SPREAD) for v in votes]
    return np.asarray(smooth, np.float32)
