"""A ring seen along its plane, cast ray by ray with plain NumPy: exact truth, and nothing of `vision` in it."""

from dataclasses import dataclass

import cv2
import numpy as np
import numpy.typing as npt

Grid = npt.NDArray[np.float64]

WIDTH, HEIGHT, F35 = 1600, 1200, 26.0
# 36 x 24 mm has a diagonal of 43.27 mm; the lens is stated for the diagonal.
FOCAL_PX = F35 / np.hypot(36.0, 24.0) * np.hypot(WIDTH, HEIGHT)
FAR = 1e9
HAT_SHARE, HAT_HEIGHT_MM, CHEEK_SHARE, VANE_MM = 0.58, 40.0, 0.30, 5.0
TAG_MM, PAPER_MM = 40.0, 50.0


@dataclass(frozen=True)
class Drawing:
    """A rotor on a bench before a camera.

    Lengths in mm: the rotor's axis is z, its upper face z = 0, the bench z = -thickness. The camera stands at
    ``(far_mm, 0, above_mm)`` and looks along -x, rolled by ``roll_deg``. A tag stands in the plane that touches the
    nearest edge, its middle ``tag_across_mm`` to the right; None for no tag.
    """

    thickness_mm: float
    diameter_mm: float = 330.0
    chamfer_mm: float = 1.0
    vanes: int = 0
    far_mm: float = 400.0
    above_mm: float = 5.0
    roll_deg: float = 1.0
    tag_across_mm: float | None = None
    seed: int = 1

    def draw(self) -> npt.NDArray[np.uint8]:
        """Cast the picture, (H, W, 3) BGR, with blur and noise; its roll dithers what pixels' middles decide."""
        level = cv2.GaussianBlur(self._cast(), (0, 0), 0.8)
        noise = np.random.default_rng(self.seed).normal(0, 2.5, level.shape)
        grey = np.clip(level + noise, 0, 255).astype(np.uint8)
        return np.repeat(grey[..., None], 3, axis=2)

    def _cast(self) -> npt.NDArray[np.float32]:
        x, y = np.meshgrid(np.arange(WIDTH), np.arange(HEIGHT))
        right, down = (x - (WIDTH - 1) / 2) / FOCAL_PX, (y - (HEIGHT - 1) / 2) / FOCAL_PX
        cos, sin = np.cos(np.radians(self.roll_deg)), np.sin(np.radians(self.roll_deg))
        eye = np.array([self.far_mm, 0.0, self.above_mm])
        ray = np.stack([-np.ones_like(right), cos * right + sin * down, sin * right - cos * down], axis=-1)
        nearest, level = np.full(right.shape, FAR), np.where(ray[..., 2] > -0.004, 150.0, 120.0)
        for reach, shade in self._surfaces(eye, ray):
            front = (reach > 1.0) & (reach < nearest)
            nearest, level = np.where(front, reach, nearest), np.where(front, shade, level)
        return level.astype(np.float32)

    def _surfaces(self, eye: Grid, ray: Grid) -> list[tuple[Grid, Grid]]:
        """Distance along each ray and shade there, of every surface."""
        radius, thick, c = self.diameter_mm / 2, self.thickness_mm, self.chamfer_mm
        wall, where = cone(eye, ray, (radius, 0.0), (c - thick, -c))
        hat, _ = cone(eye, ray, (HAT_SHARE * radius, 0.0), (0.0, HAT_HEIGHT_MM))
        surfaces = [
            (wall, self._wall(where)),
            (cone(eye, ray, (radius - c, -1.0), (-c, 0.0))[0], np.full(wall.shape, 205.0)),
            (cone(eye, ray, (radius - c + thick, 1.0), (-thick, c - thick))[0], np.full(wall.shape, 35.0)),
            (disc(eye, ray, 0.0, radius - c)[0], np.full(wall.shape, 175.0)),
            (hat, np.full(wall.shape, 80.0)),
            (disc(eye, ray, HAT_HEIGHT_MM, HAT_SHARE * radius)[0], np.full(wall.shape, 130.0)),
            (disc(eye, ray, -thick, 3000.0)[0], np.full(wall.shape, 165.0)),
        ]
        return surfaces if self.tag_across_mm is None else [*surfaces, self._tag(eye, ray)]

    def _wall(self, where: Grid) -> Grid:
        """Shade of the wall: cheeks, and between vanes the dark of the openings."""
        angle, z = np.arctan2(where[..., 1], where[..., 0]), where[..., 2]
        shade = 110.0 + 20.0 * np.cos(angle - 0.4)
        if not self.vanes:
            return shade
        cheek = CHEEK_SHARE * self.thickness_mm
        pitch = 2 * np.pi / self.vanes
        vane = np.abs((angle / pitch) % 1.0 - 0.5) * pitch * self.diameter_mm / 2 < VANE_MM / 2
        between = (z < -cheek) & (z > cheek - self.thickness_mm)
        return np.where(between & ~vane, 25.0, shade)

    def _tag(self, eye: Grid, ray: Grid) -> tuple[Grid, Grid]:
        """A tag of the family 36h11 (OpenCV draws it), upright and square to the camera."""
        assert self.tag_across_mm is not None
        reach = (self.diameter_mm / 2 - eye[0]) / ray[..., 0]
        across = eye[1] + reach * ray[..., 1] - self.tag_across_mm
        up = eye[2] + reach * ray[..., 2] - (PAPER_MM / 2 - self.thickness_mm + 1.0)
        cells = cv2.aruco.generateImageMarker(cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_APRILTAG_36h11), 7, 8)
        column = np.clip(((across / TAG_MM + 0.5) * 8).astype(int), 0, 7)
        row = np.clip(((0.5 - up / TAG_MM) * 8).astype(int), 0, 7)
        black = (np.abs(across) < TAG_MM / 2) & (np.abs(up) < TAG_MM / 2)
        shade = np.where(black, np.where(cells[row, column] > 0, 225.0, 30.0), 225.0)
        paper = (np.abs(across) < PAPER_MM / 2) & (np.abs(up) < PAPER_MM / 2)
        return np.where(paper, reach, FAR), shade


def cone(eye: Grid, ray: Grid, shape: tuple[float, float], span_mm: tuple[float, float]) -> tuple[Grid, Grid]:
    """Meet rays with the outside of ``radius = a + b z`` between two heights: distance (FAR for none) and place."""
    a, b = shape
    at_eye = a + b * eye[2]
    square = ray[..., 0] ** 2 + ray[..., 1] ** 2 - (b * ray[..., 2]) ** 2
    half = eye[0] * ray[..., 0] + eye[1] * ray[..., 1] - at_eye * b * ray[..., 2]
    rest = eye[0] ** 2 + eye[1] ** 2 - at_eye**2
    inside = half**2 - square * rest
    reach = np.where(inside > 0, (-half - np.sqrt(np.maximum(inside, 0))) / square, FAR)
    where = eye + reach[..., None] * ray
    met = (reach > 0) & (where[..., 2] > span_mm[0]) & (where[..., 2] < span_mm[1])
    return np.where(met, reach, FAR), where


def disc(eye: Grid, ray: Grid, height_mm: float, radius_mm: float) -> tuple[Grid, Grid]:
    """Meet rays with a level disc round the axis: distance (FAR for none) and place."""
    fall = np.where(np.abs(ray[..., 2]) < 1e-12, 1e-12, ray[..., 2])
    reach = (height_mm - eye[2]) / fall
    where = eye + reach[..., None] * ray
    met = (reach > 0) & (np.hypot(where[..., 0], where[..., 1]) < radius_mm)
    return np.where(met, reach, FAR), where
