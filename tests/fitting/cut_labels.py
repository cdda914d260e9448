"""What lies in every cell of an unwrapped ring: hole, dimple, slot or neither, from the drawing of its rotor."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt
from scipy.spatial import cKDTree

from sample_images_synthetic.studio.draw import draw_scene
from sample_images_synthetic.studio.pattern import Pattern
from sample_images_synthetic.studio.rotor import Rotor
from vision.cuts import CELL
from vision.measurement import FloatArray
from vision.ring import Ring

Labels = npt.NDArray[np.uint8]

NOTHING, HOLE, DIMPLE, SLOT = range(4)
# Inside the ring bolts, rivets and bores may look like anything but slots.
NO_SLOT = 4
# A feature narrower than a cell still marks the cells it lies in, as shares of a cell.
LEAST_SPOT, LEAST_SLOT = 0.7, 0.55
PATH_STEP_MM = 0.4


@dataclass(frozen=True)
class Drawn:
    """A rotor's features in the frame that its photo's truth counts in.

    Attributes
    ----------
    rotor : Rotor
    turn_rad : float
        How far it was turned about its axis.
    turned_over : bool
        Whether its hat stands away from the camera.
    """

    rotor: Rotor
    turn_rad: float = 0.0
    turned_over: bool = False

    @classmethod
    def of(cls, row: Mapping[str, Any]) -> "Drawn":
        """Draw the rotor of a row of ``truth.json`` again."""
        scene = draw_scene(row["made"]["set"], int(row["id"][1:]))
        if scene.rotor is None:
            raise ValueError(f"{row['id']} shows no rotor: leave it out")
        return cls(scene.rotor, scene.spin_rad, not scene.hat_up)

    def labels(self, xy_mm: FloatArray, cell_mm: float) -> Labels:
        """Label points on the face.

        Parameters
        ----------
        xy_mm : (..., 2) ndarray
        cell_mm : float
            Size of the cells that the points are the middles of.
        """
        cos, sin = np.cos(self.turn_rad), np.sin(self.turn_rad)
        own = xy_mm.reshape(-1, 2) @ np.array([[cos, -sin], [sin, cos]])
        if self.turned_over:
            own = own * np.array([1.0, -1.0])
        reach = np.hypot(*own.T)
        labels = np.where(reach < self.rotor.ring_inner_mm / 2, NO_SLOT, NOTHING).astype(np.uint8)
        for kind, (near, radius_mm) in _features(self.rotor.pattern, cell_mm).items():
            labels[cKDTree(near).query(own, distance_upper_bound=radius_mm)[0] < radius_mm] = kind
        return labels.reshape(xy_mm.shape[:-1])


def _features(pattern: Pattern, cell_mm: float) -> dict[int, tuple[FloatArray, float]]:
    """Return points (N, 2) that each kind's features lie round, and how far round."""
    features = {}
    if pattern.holes:
        hole = pattern.holes[0]
        radius_mm = max(hole.diameter_mm / 2 + hole.countersink_mm, LEAST_SPOT * cell_mm)
        features[HOLE] = (np.array([hole.xy_mm for hole in pattern.holes]), radius_mm)
    if pattern.dimples:
        radius_mm = pattern.dimples[0].diameter_mm / 2
        features[DIMPLE] = (
            np.array([dimple.xy_mm for dimple in pattern.dimples]),
            max(radius_mm, LEAST_SPOT * cell_mm),
        )
    if pattern.slots:
        dense = np.concatenate([_dense(np.array(slot.path_mm)) for slot in pattern.slots])
        features[SLOT] = (dense, max(pattern.slots[0].width_mm / 2, LEAST_SLOT * cell_mm))
    return features


def _dense(path_mm: FloatArray) -> FloatArray:
    """Points along a path, ``PATH_STEP_MM`` apart."""
    run = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(path_mm, axis=0).T))])
    steps = np.arange(0, run[-1], PATH_STEP_MM)
    return np.stack([np.interp(steps, run, path_mm[:, axis]) for axis in range(2)], axis=-1)


def cells_mm(ring: Ring) -> FloatArray:
    """Middles of a ring's cells on its plane, (R, C, 2)."""
    rows, columns = (size // CELL for size in ring.depth.shape)
    middles = np.meshgrid(CELL * np.arange(columns) + 0.5, CELL * np.arange(rows) + 0.5)
    return ring.to_face(np.stack(middles, axis=-1).reshape(-1, 2)).reshape(rows, columns, 2)


def cell_mm(ring: Ring) -> float:
    """Size of a cell at the rim."""
    return CELL * ring.step_rad * ring.outer_mm
