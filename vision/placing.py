"""References put into the scene: where they lie, how high, and from where the fit starts."""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np

from vision.camera import Camera, Pose
from vision.figure import Sighting
from vision.measurement import FloatArray
from vision.request import Request
from vision.terms import FigureTerm, Height
from vision.unknowns import Unknowns

Lies = Literal["face", "bench", "hat"]
OFFSET_STD_PX = 0.1


def hat_top(hat: str) -> Height:
    """Return how high over the friction face the hat's flat lies: the mounting face, or hat down its inside."""
    return {"height": -1.0, "hat_metal": 1.0} if hat == "down" else {"height": 1.0, "thickness": -1.0}


@dataclass(frozen=True)
class Placed:
    """A sighting at its place.

    Attributes
    ----------
    sighting : Sighting
    name : str
        Prefix of its unknowns.
    lies : {"face", "bench", "hat"}
    """

    sighting: Sighting
    name: str
    lies: Lies

    def thinned(self, count: int) -> "Placed":
        """Return the same with about ``count`` samples."""
        return replace(self, sighting=replace(self.sighting, samples=self.sighting.samples.thinned(count)))

    def height(self, request: Request) -> Height:
        """Return the reference's upper side as a sum of unknowns."""
        top = {f"{self.name}_rise": 1.0}
        if self.lies == "face":
            return top
        if self.lies == "hat":
            return {**top, **hat_top(request.hat)}
        return top | ({"height": -1.0} if request.hat == "down" else {"thickness": -1.0})

    def on_plane(self, values: Mapping[str, float], xy_mm: FloatArray) -> FloatArray:
        """Carry points of the figure (N, 2) to the rotor's axes, where a scene has it."""
        cos, sin = np.cos(values[f"{self.name}_turn"]), np.sin(values[f"{self.name}_turn"])
        size_x = 1.0 + values[f"{self.name}_size_x"]
        size_y = 1.0 + values.get(f"{self.name}_size_y", size_x - 1.0)
        x, y = xy_mm[:, 0] * size_x, xy_mm[:, 1] * size_y
        at = np.array([values[f"{self.name}_x"], values[f"{self.name}_y"]])
        return np.asarray(np.stack([cos * x - sin * y, sin * x + cos * y], axis=1) + at)

    def term(self, request: Request) -> FigureTerm:
        """Return what the fit compares with the photo."""
        return FigureTerm(
            self.sighting.samples, self.sighting.figure, self.name, self.height(request), f"{self.name}_offset"
        )

    def add_unknowns(self, unknowns: Unknowns, camera: Camera, pose: Pose, request: Request) -> None:
        """Add the reference's place, turn, size and rise."""
        figure = self.sighting.figure
        height = sum(
            share * (figure.thickness_mm if name.endswith("_rise") else unknowns.table[name].start)
            for name, share in self.height(request).items()
        )
        marks = np.array([[0.0, 0.0, 1.0], [10.0, 0.0, 1.0]]) @ self.sighting.pose.T
        x, y = pose.on_plane(*camera.rays(marks[:, :2] / marks[:, 2:]), height)
        unknowns.add(f"{self.name}_x", float(x[0]), 5.0)
        unknowns.add(f"{self.name}_y", float(y[0]), 5.0)
        unknowns.add(f"{self.name}_turn", float(np.arctan2(y[1] - y[0], x[1] - x[0])), 0.05)
        std_x, std_y = figure.size_std
        unknowns.add(f"{self.name}_size_x", 0.0, 0.002, std=max(std_x, 1e-6))
        if std_y > 0:
            unknowns.add(f"{self.name}_size_y", 0.0, 0.002, std=std_y)
        rise = figure.thickness_mm + request.lift_mm
        unknowns.add(f"{self.name}_rise", rise, 0.3, std=max(0.02, figure.thickness_std_mm))
        unknowns.add(f"{self.name}_offset", 0.0, 0.1, std=OFFSET_STD_PX)

    def scale(self, camera: Camera, pose: Pose) -> float:
        """Return how many times too large the figure looks on the face of a rotor of nominal size."""
        marks = np.array([[-10.0, 0.0, 1.0], [10.0, 0.0, 1.0], [0.0, -10.0, 1.0], [0.0, 10.0, 1.0]])
        pixels = marks @ self.sighting.pose.T
        x, y = pose.on_plane(*camera.rays(pixels[:, :2] / pixels[:, 2:]), 0.0)
        return float(np.sqrt(np.hypot(x[1] - x[0], y[1] - y[0]) * np.hypot(x[3] - x[2], y[3] - y[2])) / 20.0)
