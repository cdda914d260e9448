"""What things are made of: one kind of surface, fed by procedural maps.

Every material is the same physically based model (metal and non-metal mixed by a map), so that the
renderer compiles one kernel for all of them. Colours are linear reflectances.
"""

from dataclasses import dataclass, replace

import numpy as np

from sample_images_synthetic.studio.noise import FloatImage, blobs, mixed, octaves, rgb

SIDE = 1024


@dataclass(frozen=True)
class Surface:
    """A material.

    Attributes
    ----------
    colour : (H, W, 3) ndarray
        Linear reflectance, or specular colour where it is metal.
    roughness, metallic : (H, W) ndarray
        0 to 1.
    bump_mm : (H, W) ndarray or None
        Height of the relief.
    anisotropic : float
        0 to 1: how much smoother along the marks (the texture's second axis) than across.
    tile_mm : float
        Side of the square that the maps cover where a mesh is mapped in millimetres.
    clearcoat : float
        A film of lacquer, oil or water.
    crisp : bool
        Nearest-neighbour lookup: printed edges stay where they are.
    """

    colour: FloatImage
    roughness: FloatImage
    metallic: FloatImage
    bump_mm: FloatImage | None = None
    anisotropic: float = 0.0
    tile_mm: float = 400.0
    clearcoat: float = 0.0
    crisp: bool = False


Colour = tuple[float, float, float]
RUSTS: tuple[Colour, ...] = ((0.17, 0.075, 0.035), (0.11, 0.06, 0.04), (0.22, 0.10, 0.045), (0.075, 0.05, 0.04))


def flat(colour: Colour, roughness: float = 0.6, metallic: float = 0.0, clearcoat: float = 0.0) -> Surface:
    """One colour without any texture."""
    one = np.ones((2, 2), np.float32)
    return Surface(
        np.broadcast_to(rgb(colour), (2, 2, 3)).copy(),
        one * np.float32(roughness),
        one * np.float32(metallic),
        clearcoat=clearcoat,
    )


def tinted(field: FloatImage, dark: Colour, light: Colour) -> FloatImage:
    """Give a colour to each value of the field, from ``dark`` at 0 to ``light`` at 1."""
    return (rgb(dark) + field[..., None] * (rgb(light) - rgb(dark))).astype(np.float32)


def scaled(colour: Colour, by: float) -> Colour:
    """Lighten or darken a colour."""
    r, g, b = colour
    return (by * r, by * g, by * b)


def rusty(rng: np.random.Generator, amount: float) -> Surface:
    """Cast iron, ``amount`` of it brown: the wall, the hat, the vanes."""
    shape = (SIDE // 2, SIDE // 2)
    cast = octaves(rng, shape, 16, 0.7)
    level = rng.uniform(0.18, 0.38)
    iron = tinted(cast, (0.75 * level,) * 3, (1.1 * level,) * 3)
    dark, light = RUSTS[rng.integers(len(RUSTS))], RUSTS[rng.integers(len(RUSTS))]
    cover = 0.75 * octaves(rng, shape, 4, 0.65) + 0.25 * octaves(rng, shape, 48, 0.8)
    soft = rng.uniform(0.15, 0.5)
    rust = np.clip((cover - np.float32(np.quantile(cover, 1 - amount))) / soft + 0.5, 0, 1).astype(np.float32)
    return Surface(
        mixed(iron, tinted(octaves(rng, shape, 8, 0.75), dark, light), rust),
        mixed(np.full(shape, 0.45, np.float32), np.full(shape, 0.85, np.float32), rust),
        (0.85 * (1 - rust)).astype(np.float32),
        (0.08 * cast + 0.06 * rust).astype(np.float32),
        tile_mm=150.0,
    )


def coated(rng: np.random.Generator) -> Surface:
    """Make a hat in black or silver paint, or in grey zinc flake, a little chipped."""
    shape = (SIDE // 2, SIDE // 2)
    colour, metallic, rough = _COATS[rng.integers(len(_COATS))]
    field = octaves(rng, shape, 24, 0.7)
    paint = tinted(field, scaled(colour, 0.85), scaled(colour, 1.1))
    chips = blobs(rng, shape, rng.choice([0.0, 0.02, 0.06]), 24)
    return Surface(
        mixed(paint, tinted(field, RUSTS[1], RUSTS[0]), chips),
        np.clip(rough + 0.1 * field + 0.3 * chips, 0, 1).astype(np.float32),
        (metallic * (1 - chips)).astype(np.float32),
        (0.03 * field).astype(np.float32),
        tile_mm=150.0,
    )


_COATS: tuple[tuple[Colour, float, float], ...] = (
    ((0.015, 0.015, 0.016), 0.0, 0.4),
    ((0.03, 0.03, 0.032), 0.0, 0.6),
    ((0.42, 0.42, 0.43), 0.6, 0.5),
    ((0.30, 0.30, 0.31), 0.5, 0.55),
    ((0.55, 0.55, 0.56), 0.8, 0.4),
)


def aluminium(rng: np.random.Generator) -> Surface:
    """Machined or anodised aluminium: the bell of a two-piece rotor."""
    shape = (SIDE // 2, SIDE // 2)
    field = octaves(rng, shape, 16, 0.7)
    colours: tuple[Colour, ...] = ((0.85, 0.86, 0.88), (0.035, 0.035, 0.04), (0.45, 0.45, 0.47), (0.6, 0.42, 0.18))
    colour = colours[rng.choice(4, p=[0.4, 0.35, 0.2, 0.05])]
    return Surface(
        tinted(field, scaled(colour, 0.9), colour),
        (rng.uniform(0.25, 0.45) + 0.1 * field).astype(np.float32),
        np.full(shape, 0.95 if min(colour) > 0.1 else 0.2, np.float32),
        (0.01 * field).astype(np.float32),
        tile_mm=120.0,
    )


def soiled(surface: Surface, rng: np.random.Generator, amount: float) -> Surface:
    """Lay dust and grime over a surface."""
    shape = surface.colour.shape[:2]
    if min(shape) < 8 or amount <= 0:
        return surface
    weight = np.clip(amount * (0.4 + 0.9 * octaves(rng, shape, 4)), 0, 1).astype(np.float32)
    dust = np.broadcast_to(rgb((0.12, 0.10, 0.08)), surface.colour.shape)
    return replace(
        surface,
        colour=mixed(surface.colour, dust, weight),
        roughness=mixed(surface.roughness, np.full(shape, 0.9, np.float32), weight),
        metallic=(surface.metallic * (1 - weight)).astype(np.float32),
    )
