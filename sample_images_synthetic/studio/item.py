"""A thing in a scene, as parts that are ready to be given a material."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
import trimesh
from numpy.typing import NDArray

Finish = Literal["plastic", "paper", "rubber", "metal", "paint", "cloth", "skin", "wood"]


Colour = tuple[float, float, float]


@dataclass(frozen=True)
class Part:
    """A shell with what it is made of.

    ``texture`` is an RGB picture, (H, W, 3) uint8 in sRGB, row 0 at v = 0; it lies by the mesh's ``visual.uv``,
    which stays within 0 to 1. ``colour`` is linear reflectance (for ``metal`` the specular colour), used where there is
    no texture. ``crisp`` asks for nearest-neighbour lookup, so that printed edges stay where they are.
    """

    mesh: trimesh.Trimesh
    finish: Finish
    colour: Colour = (0.5, 0.5, 0.5)
    texture: NDArray[np.uint8] | None = None
    crisp: bool = False


Item = dict[str, Part]
