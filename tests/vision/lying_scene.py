"""A rotor with things lying on it, drawn with plain NumPy and seen through a homography: no renderer's quirks."""

from dataclasses import dataclass

import cv2
import numpy as np
import numpy.typing as npt

from tests.vision.flat import looking
from vision.measurement import FloatArray
from vision.references.floor import Floor
from vision.references.sides import to_pixels

PLANE_PX_PER_MM = 2.5
HALF_MM = 260.0
RIM_MM = 165.0
SIZE_PX = (1200, 960)
PX_PER_MM = 1.85


@dataclass(frozen=True)
class Thing:
    """A rectangle or disc on the plane.

    Attributes
    ----------
    size_mm : (float, float)
        Width and height; a disc's diameter twice.
    corner_mm : float
        Radius of the corners.
    xy_mm : (float, float)
    turn_deg : float
    colour : (float, float, float)
        Linear blue, green and red.
    """

    size_mm: tuple[float, float]
    corner_mm: float
    xy_mm: tuple[float, float]
    turn_deg: float = 0.0
    colour: tuple[float, float, float] = (0.5, 0.5, 0.5)

    def outside_mm(self, x: FloatArray, y: FloatArray) -> FloatArray:
        """Return the distance outside the outline, negative inside."""
        turn = np.radians(self.turn_deg)
        u = np.abs((x - self.xy_mm[0]) * np.cos(turn) + (y - self.xy_mm[1]) * np.sin(turn))
        v = np.abs((y - self.xy_mm[1]) * np.cos(turn) - (x - self.xy_mm[0]) * np.sin(turn))
        du = u - self.size_mm[0] / 2 + self.corner_mm
        dv = v - self.size_mm[1] / 2 + self.corner_mm
        outside: FloatArray = np.hypot(np.maximum(du, 0), np.maximum(dv, 0)) + np.minimum(np.maximum(du, dv), 0)
        return outside - self.corner_mm

    def figure_to_plane(self) -> FloatArray:
        """Return the map (3, 3) from the thing's frame to the plane."""
        cos, sin = np.cos(np.radians(self.turn_deg)), np.sin(np.radians(self.turn_deg))
        return np.array([[cos, -sin, self.xy_mm[0]], [sin, cos, self.xy_mm[1]], [0.0, 0.0, 1.0]])


def photograph(
    things: list[Thing], *, tilt_deg: float = 18.0, ground: float = 0.2, ring: float = 0.45, under: bool = False
) -> tuple[npt.NDArray[np.uint8], Floor]:
    """Draw a rotor and things on it (or under its edge) and return the photo and the plane as it truly lies."""
    rng = np.random.default_rng(3)
    count = int(2 * HALF_MM * PLANE_PX_PER_MM)
    axis = (np.arange(count) + 0.5) / PLANE_PX_PER_MM - HALF_MM
    x, y = np.meshgrid(axis, -axis)
    radius = np.hypot(x, y)
    texture = cv2.resize(rng.normal(0, 1, (count // 12, count // 12)), (count, count), interpolation=cv2.INTER_CUBIC)
    picture: FloatArray = ground * (1 + 0.15 * texture)[..., None] * np.array([0.9, 1.0, 1.05])
    marks = rng.normal(0, 1, 2000)[(radius * PLANE_PX_PER_MM).astype(int)]
    rotor = ring * (1 + 0.06 * marks) * np.where(radius < 85, 0.35, 1.0) * np.where(radius < 33, 0.2, 1.0)
    layers = [(_cover(RIM_MM - radius), rotor[..., None] * np.ones(3))]
    laid = [(_cover(-thing.outside_mm(x, y)), np.ones((count, count, 3)) * np.array(thing.colour)) for thing in things]
    for cover, colour in (laid + layers) if under else (layers + laid):
        picture = picture * (1 - cover[..., None]) + colour * cover[..., None]
    homography = looking(tilt_deg, 15.0, PX_PER_MM, (596.0, 464.0))
    to_plane = np.array([[1 / PLANE_PX_PER_MM, 0, axis[0]], [0, -1 / PLANE_PX_PER_MM, -axis[0]], [0.0, 0.0, 1.0]])
    seen = cv2.warpPerspective(
        cv2.GaussianBlur(picture, (0, 0), 0.5), homography @ to_plane, SIZE_PX, borderMode=cv2.BORDER_REPLICATE
    )
    seen = 255 * np.clip(cv2.GaussianBlur(seen, (0, 0), 0.8), 0, 1) ** (1 / 1.6) + rng.normal(0, 1.5, seen.shape)
    return np.clip(seen, 0, 255).astype(np.uint8), Floor(homography, RIM_MM)


def _cover(inside_mm: FloatArray) -> FloatArray:
    cover: FloatArray = np.clip(0.5 + inside_mm * PLANE_PX_PER_MM, 0, 1)
    return cover


def corners_px(thing: Thing, floor: Floor) -> FloatArray:
    """Return where the thing's outline (4, 2), before rounding, appears: right low, right high, left high, left low."""
    x, y = thing.size_mm[0] / 2, thing.size_mm[1] / 2
    corners = np.array([[x, -y], [x, y], [-x, y], [-x, -y]])
    return to_pixels(floor.homography @ thing.figure_to_plane(), corners)


def disc(diameter_mm: float, xy_mm: tuple[float, float], colour: tuple[float, float, float]) -> Thing:
    return Thing((diameter_mm, diameter_mm), diameter_mm / 2, xy_mm, 0.0, colour)


def coin_on(xy_mm: tuple[float, float], colour: tuple[float, float, float] = (0.35, 0.55, 0.62)) -> list[Thing]:
    """Draw a coin of two metals with a raised rim."""
    inner = (0.5, 0.52, 0.55)
    edge = (0.2, 0.33, 0.4)
    return [disc(25.75, xy_mm, colour), disc(22.4, xy_mm, edge), disc(22.0, xy_mm, colour), disc(18.0, xy_mm, inner)]
