"""References put into the scene: where they lie, how high, and from where the fit starts."""

from dataclasses import dataclass, replace
from typing import Literal

import numpy as np

from vision.camera import Camera, Pose
from vision.figure import Sighting
from vision.measurement import FloatArray
from vision.request import Request
from vision.scene import Scene
from vision.terms import FigureTerm, Height, curl_name
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

    def height_mm(self, scene: Scene, request: Request) -> float:
        """Return how high over the face its upper side lies in a scene."""
        return sum(share * scene.values[name] for name, share in self.height(request).items())

    def on_plane(self, scene: Scene, xy_mm: FloatArray) -> FloatArray:
        """Carry points of the figure (N, 2) to the rotor's axes."""
        values = scene.values
        cos, sin = np.cos(values[f"{self.name}_turn"]), np.sin(values[f"{self.name}_turn"])
        more_x = values[f"{self.name}_size_x"]
        x, y = (xy_mm * (1.0 + np.array([more_x, values.get(f"{self.name}_size_y", more_x)]))).T
        at = np.array([values[f"{self.name}_x"], values[f"{self.name}_y"]])
        return np.asarray(np.stack([cos * x - sin * y, sin * x + cos * y], axis=1) + at)

    def lifted(self, scene: Scene, request: Request, xy_mm: FloatArray) -> FloatArray:
        """Return points of the plane that its upper side lies on, (N, 3)."""
        return np.column_stack([xy_mm, np.full(len(xy_mm), self.height_mm(scene, request))])

    def term(self, request: Request) -> FigureTerm:
        """Return what the fit compares with the photo."""
        seen, height = self.sighting, self.height(request)
        return FigureTerm(seen.samples, seen.figure, self.name, height, f"{self.name}_offset", seen.curl_shares)

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
        for corner in range(len(self.sighting.curl_shares)):
            unknowns.add(curl_name(self.name, corner), figure.curl_mm, 0.5, std=figure.curl_std_mm)

    def scale(self, camera: Camera, pose: Pose) -> float:
        """Return how many times too large the figure looks on the face of a rotor of nominal size."""
        marks = np.array([[-10.0, 0.0, 1.0], [10.0, 0.0, 1.0], [0.0, -10.0, 1.0], [0.0, 10.0, 1.0]])
        pixels = marks @ self.sighting.pose.T
        x, y = pose.on_plane(*camera.rays(pixels[:, :2] / pixels[:, 2:]), 0.0)
        return float(np.sqrt(np.hypot(x[1] - x[0], y[1] - y[0]) * np.hypot(x[3] - x[2], y[3] - y[2])) / 20.0)
