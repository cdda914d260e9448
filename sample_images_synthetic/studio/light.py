"""Light: what surrounds the rotor (sky, walls, windows, lamps) and the phone's flash."""

import math
from collections.abc import Callable
from dataclasses import dataclass, field

import cv2
import numpy as np
from numpy.typing import NDArray

from sample_images_synthetic.studio.noise import FloatImage, octaves, rgb

ROWS, COLUMNS = 512, 1024


@dataclass(frozen=True)
class Lamp:
    """A small glowing disc near the rotor.

    Attributes
    ----------
    position_mm : (3,) ndarray
        Centre, in a frame whose z axis points up.
    radius_mm : float
        Its size: small ones throw hard shadows.
    radiance : (3,) ndarray
        Linear RGB.
    """

    position_mm: NDArray[np.float64]
    radius_mm: float
    radiance: NDArray[np.float64]


@dataclass(frozen=True)
class Light:
    """All light of a scene.

    Attributes
    ----------
    kind : str
        A key of ``LIGHTS``.
    surround : (H, W, 3) ndarray
        Radiance from each direction, latitude by longitude, the zenith in the first row.
    turn_deg : float
        Turn of the surround round the vertical.
    lamps : tuple of Lamp
        Lamps near by.
    flash : float
        Strength of the phone's flash, relative to the surround's mean light; 0 is off.
    """

    kind: str
    surround: FloatImage
    turn_deg: float
    lamps: tuple[Lamp, ...] = field(default=())
    flash: float = 0.0


def warmth(kelvin: float) -> NDArray[np.float64]:
    """Linear RGB of a black body, green at 1 (a fit that is good to a few per cent)."""
    t = kelvin / 6500.0
    return np.array([t**-0.75, 1.0, t**0.95]) if t < 1 else np.array([t**-0.4, 1.0, t**0.6])


def _elevations() -> FloatImage:
    """Elevation of each row's direction, radians, as a column."""
    return np.linspace(math.pi / 2, -math.pi / 2, ROWS, dtype=np.float32)[:, None]


def _patch(elevation_deg: tuple[float, float], azimuth_deg: tuple[float, float], soft: float) -> FloatImage:
    """Mark a rectangle in directions, with edges ``soft`` pixels wide."""
    field_ = np.zeros((ROWS, COLUMNS), np.float32)
    top, bottom = (round((90 - e) / 180 * ROWS) for e in (elevation_deg[1], elevation_deg[0]))
    left, right = (round((a % 360) / 360 * COLUMNS) for a in azimuth_deg)
    field_[top : bottom + 1, left : max(right, left + 1) + 1] = 1
    return cv2.GaussianBlur(field_, (0, 0), soft).astype(np.float32) if soft else field_


def _horizon(rng: np.random.Generator, ground_level: float) -> FloatImage:
    """Dim things all round: the lower half is ground, the skyline is ragged."""
    skyline = octaves(rng, (16, COLUMNS), 8, 0.6)[0] * rng.uniform(0.1, 0.5)
    below = _elevations() < skyline[None, :] - 0.05
    tone = 0.6 + 0.8 * octaves(rng, (ROWS, COLUMNS), 8)
    return np.where(below, ground_level * tone, 0).astype(np.float32)


def _sky(rng: np.random.Generator, overcast: float) -> FloatImage:
    """Sky above, surroundings below; ``overcast`` 0 is blue, 1 is grey."""
    height = np.clip(np.sin(_elevations()), 0, 1)
    blue = rgb([0.35, 0.55, 1.0]) * (0.5 + 0.5 * (1 - height[..., None]))
    grey = rgb([0.9, 0.95, 1.0]) * (0.5 + 0.6 * height[..., None])
    sky = np.broadcast_to(blue * (1 - overcast) + grey * overcast, (ROWS, COLUMNS, 3)).copy()
    clouds = np.clip(octaves(rng, (ROWS, COLUMNS), 4) - 0.5, 0, 1) * 2 * (1 - overcast)
    sky = sky * (1 - clouds[..., None]) + clouds[..., None]
    things = _horizon(rng, rng.uniform(0.12, 0.3))
    return np.where(things[..., None] > 0, things[..., None] * rgb([1.0, 0.95, 0.85]), sky).astype(np.float32)


def sun(rng: np.random.Generator) -> Light:
    """Clear sky and the sun: hard shadows."""
    surround = _sky(rng, rng.uniform(0, 0.3))
    elevation, azimuth = rng.uniform(22, 70), 0.0
    row, column = round((90 - elevation) / 180 * ROWS), COLUMNS // 2 + round(azimuth)
    disc = np.zeros((ROWS, COLUMNS), np.float32)
    cv2.circle(disc, (column, row), int(rng.choice([1, 1, 2])), 1.0, -1)
    share = rng.uniform(2.0, 6.0)  # sunlight over skylight, on a plane that faces the sun
    weight = np.cos(_elevations()) * (math.pi / ROWS) ** 2
    surround += disc[..., None] * rgb(warmth(5200) * share * 1.8 / float((disc * weight).sum()))
    return Light("sun", surround, rng.uniform(0, 360))


def shade(rng: np.random.Generator) -> Light:
    """Open shade or an overcast day, part of the sky hidden by a wall."""
    surround = _sky(rng, rng.uniform(0.3, 1.0))
    if rng.random() < 0.7:
        width = rng.uniform(90, 200)
        wall = _patch((0, rng.uniform(35, 75)), (20, 20 + width), 1.5)[..., None]
        tone = rgb(rng.uniform(0.1, 0.4) * np.array([1, 0.95, 0.88]))
        surround = surround * (1 - wall) + wall * tone
    return Light("shade", surround, rng.uniform(0, 360))


def _room(rng: np.random.Generator) -> FloatImage:
    """Walls, ceiling, floor, things along the walls."""
    tone = (0.04 + 0.25 * octaves(rng, (ROWS, COLUMNS), 8, 0.7) ** 2) * rng.uniform(0.5, 1.5)
    ceiling = np.clip(_elevations() / 0.9, 0, 1) * rng.uniform(0.05, 0.25)
    return np.asarray((tone + ceiling)[..., None] * rgb([1.0, 0.97, 0.92]), np.float32)


def garage(rng: np.random.Generator) -> Light:
    """Tubes under a ceiling."""
    surround, colour = _room(rng), rgb(warmth(rng.uniform(3300, 6500)))
    for _ in range(int(rng.integers(1, 5))):
        low, start = rng.uniform(35, 75), rng.uniform(0, 330)
        tube = _patch((low, low + rng.uniform(2, 6)), (start, start + rng.uniform(12, 50)), 0.7)
        surround += tube[..., None] * colour * rng.uniform(8, 30)
    return Light("garage", surround, rng.uniform(0, 360))


def window(rng: np.random.Generator) -> Light:
    """Make a room with daylight from one side: a window or an open gate."""
    surround = _room(rng)
    start, width = 40.0, rng.uniform(30, 110)
    pane = _patch((rng.uniform(-5, 15), rng.uniform(35, 60)), (start, start + width), 1.0)
    surround += pane[..., None] * rgb(warmth(rng.uniform(5800, 8000))) * rng.uniform(3, 9)
    return Light("window", surround, rng.uniform(0, 360))


def lamp(rng: np.random.Generator) -> Light:
    """One work lamp near by in a dim room: hard shadows, a strong highlight."""
    base = window(rng)
    a, d = rng.uniform(0, 2 * math.pi), rng.uniform(700, 1500)
    position = np.array([d * math.cos(a), d * math.sin(a), rng.uniform(600, 1400)])
    radius = rng.uniform(20, 90)
    strength = rng.uniform(0.5, 1.8) * float(np.dot(position, position)) / radius**2
    one = Lamp(position, radius, warmth(rng.uniform(2700, 5000)) * strength)
    return Light("lamp", base.surround * np.float32(rng.uniform(0.15, 0.6)), base.turn_deg, (one,))


def flash(rng: np.random.Generator) -> Light:
    """Light the phone's own flash in a dark place."""
    base = garage(rng)
    return Light("flash", base.surround * np.float32(0.3), base.turn_deg, flash=rng.uniform(0.6, 2.5))


def mixed_light(rng: np.random.Generator) -> Light:
    """Daylight from a window and warm tubes."""
    day, tubes = window(rng), garage(rng)
    return Light("mixed", day.surround + tubes.surround * np.float32(0.6), day.turn_deg)


LIGHTS: dict[str, Callable[[np.random.Generator], Light]] = {
    "sun": sun,
    "shade": shade,
    "garage": garage,
    "window": window,
    "lamp": lamp,
    "flash": flash,
    "mixed": mixed_light,
}
LIGHT_SHARES = (0.17, 0.22, 0.2, 0.16, 0.1, 0.06, 0.09)
