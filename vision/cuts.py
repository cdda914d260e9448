"""What is cut into the friction face, cell by cell: a small convolutional net tells holes, dimples and slots apart."""

import json
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from importlib import resources
from typing import Any

import numpy as np

from vision.layer import Stack, folded
from vision.ring import Map, Ring

TABLE = "cuts_table.json"
KINDS = ("hole", "dimple", "slot")
# Columns, and rows, of the ring in a cell.
CELL = 2
# So many cells of the bare ring counted as one of a feature when the net was trained: its probabilities are larger so.
COUNTED = 4.0
# What the net takes for 1: a logarithm of brightness, and times the noise.
DEPTH_UNIT, RELIEF_UNIT = 0.5, 4.0


@dataclass(frozen=True, eq=False)
class Cuts:
    """Probabilities that a cell of the ring lies in a hole, a dimple or a slot.

    Attributes
    ----------
    hole, dimple, slot : (R, C) ndarray of float32
        Rows from the rim inward and columns round the ring, ``CELL`` of the ring's in each.
    """

    hole: Map
    dimple: Map
    slot: Map


@dataclass(frozen=True, eq=False)
class Net:
    """A net for rings, whose cells' steps lie over one another."""

    stack: Stack

    @classmethod
    def of(cls, plain: Mapping[str, Any]) -> "Net":
        """Build the net from its JSON form."""
        return cls(Stack.of(plain["layers"], is_round=True))

    def cuts(self, ring: Ring) -> Cuts:
        """Look at a ring."""
        rows = len(ring.depth) // CELL * CELL
        shown = (ring.depth / DEPTH_UNIT, ring.relief / RELIEF_UNIT, ring.seen)
        scores = self.stack.over(folded(np.stack([part[:rows] for part in shown])))
        power = np.exp(scores - scores.max(axis=0))
        return Cuts(*(power[1:] / power.sum(axis=0)))


@cache
def shipped_net() -> Net:
    """Read the net that was trained on sample photos; its provenance stands in the file."""
    return Net.of(json.loads(resources.files("vision").joinpath(TABLE).read_text(encoding="utf-8")))


def find_cuts(ring: Ring) -> Cuts:
    """Tell for each cell of a ring whether it lies in a hole, a dimple or a slot.

    Parameters
    ----------
    ring : Ring
        The friction ring laid flat.

    Returns
    -------
    Cuts
        Near zero where nothing is seen of the ring.
    """
    return shipped_net().cuts(ring)
