"""What a small convolutional net sees in a rotor's middle: bolt holes, nuts and studs, rivets, the centre bore.

A hole may be darker than its rim, brighter, or half and half; a stud or a nut may stand in it; a locating hole, a
rivet or a letter may look as round. In the whole of the middle they tell each other apart, and tell too whether the
hat stands toward the camera.
"""

import json
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from importlib import resources
from typing import Any

import numpy as np

from vision.layer import Stack, folded
from vision.ring import Map, Pixels

TABLE = "hub_net.json"
# What the net tells, in this order.
BOLT_UP, BOLT_DOWN, RIVET, BORE = range(4)
# Brightness is looked at as its logarithm, this much lifted; least spread of that that is taken for 1.
LIFT, LEAST_SPREAD = 8.0, 0.1
# Radius round the middle of a bolt or a rivet within which a cell tells of it, cells.
BOLT_CELLS = 2.2
# The logarithm of odds that is still believed.
MOST_ODDS = 8.0


@dataclass(frozen=True, eq=False)
class HubLook:
    """Logarithms of the odds, cell by cell of a view from above, each (S, S) ndarray of float32.

    Attributes
    ----------
    bolts : pair of ndarray
        That the middle of a bolt's place is within `BOLT_CELLS`, of a hat that stands toward the camera, and away.
    rivet : ndarray
        The same of a rivet, a pin or a bolt that holds a two-piece rotor together.
    bore : ndarray
        That the cell is inside the centre bore, or of what fills it.
    """

    bolts: tuple[Map, Map]
    rivet: Map
    bore: Map


@dataclass(frozen=True, eq=False)
class HubNet:
    """A net for views from above."""

    stack: Stack

    @classmethod
    def of(cls, plain: Mapping[str, Any]) -> "HubNet":
        """Build the net from its JSON form."""
        return cls(Stack.of(plain["layers"], is_round=False))

    def look(self, grey: Pixels) -> HubLook:
        """Look at a view's brightness, (2 S, 2 S) of uint8."""
        odds = np.clip(self.stack.over(made_ready(grey)), -MOST_ODDS, MOST_ODDS)
        return HubLook((odds[BOLT_UP], odds[BOLT_DOWN]), odds[RIVET], odds[BORE])


@cache
def shipped_hub_net() -> HubNet:
    """Read the net that was trained on sample photos; its provenance stands in the file."""
    return HubNet.of(json.loads(resources.files("vision").joinpath(TABLE).read_text("utf-8")))


def made_ready(grey: Pixels) -> Map:
    """Lay the four steps of each cell over one another, (4, S, S)."""
    level = np.log(grey.astype(np.float32) + LIFT)
    level -= level.mean()
    level /= max(LEAST_SPREAD, float(level.std()))
    return folded(level[None])
