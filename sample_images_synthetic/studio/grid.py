"""Triangles over a grid of points, closed to a solid: sheets and cloths."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray


def grid_faces(columns: int, rows: int) -> NDArray[np.int64]:
    """Triangles of two stacked grids of points, the lower first, joined along their border."""
    index = np.arange(columns * rows).reshape(rows, columns)
    a, b, c, d = (q.ravel() for q in (index[:-1, :-1], index[:-1, 1:], index[1:, 1:], index[1:, :-1]))
    upper = np.concatenate([np.column_stack([a, b, c]), np.column_stack([a, c, d])]) + columns * rows
    lower = (upper - columns * rows)[:, ::-1]
    border = np.concatenate([index[0, :-1], index[:-1, -1], index[-1, :0:-1], index[:0:-1, 0]])
    following, up = np.roll(border, -1), columns * rows
    sides = [
        np.column_stack([border, following, following + up]),
        np.column_stack([border, following + up, border + up]),
    ]
    return np.concatenate([lower, upper, *sides])
