"""A stage: everything that the renderer needs of one scene, and nothing else."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from sample_images_synthetic.studio.camera import Camera
from sample_images_synthetic.studio.light import Light
from sample_images_synthetic.studio.piece import Piece


@dataclass(frozen=True)
class Stage:
    """Parts under a light, before a camera.

    Attributes
    ----------
    pieces : list of Piece
        All meshes, in the rotor's frame.
    light : Light
        Surround, lamps, flash.
    up : (3,) ndarray
        Against gravity, in the rotor's frame: +z for a rotor lying on a bench.
    camera : Camera
        Where the phone is.
    """

    pieces: list[Piece]
    light: Light
    up: NDArray[np.float64]
    camera: Camera

    @property
    def distance_mm(self) -> float:
        """From the camera to the rotor's middle."""
        return float(np.linalg.norm(self.camera.pose.position_mm))
