"""What the rotor lies on: concrete, asphalt, wood, steel, cardboard, rubber, cloth, a painted floor."""

from collections.abc import Callable

import cv2
import numpy as np

from sample_images_synthetic.studio.material import RUSTS, SIDE, Colour, Surface, tinted
from sample_images_synthetic.studio.noise import FloatImage, blobs, mixed, octaves, rgb, speckle, streaks


def _dielectric(
    colour: FloatImage, roughness: float, bump: FloatImage | None, tile_mm: float, clearcoat: float = 0.0
) -> Surface:
    shape = colour.shape[:2]
    return Surface(
        np.clip(colour, 0.005, 0.95),
        np.full(shape, roughness, np.float32),
        np.zeros(shape, np.float32),
        bump,
        tile_mm=tile_mm,
        clearcoat=clearcoat,
    )


def concrete(rng: np.random.Generator) -> Surface:
    """Garage floor: patches, pores, oil stains."""
    shape = (SIDE * 2, SIDE * 2)
    grain = 0.5 + 0.12 * speckle(rng, shape, 0.8) + 0.1 * speckle(rng, shape, 2.5)
    tone = 0.55 * octaves(rng, shape, 3) + 0.45 * np.clip(grain, 0, 1)
    level = rng.uniform(0.12, 0.5)
    warm = rng.uniform(0.9, 1.0)
    colour = tinted(np.asarray(tone, np.float32), (0.5 * level,) * 3, (1.3 * level, 1.28 * level, 1.25 * level * warm))
    pores = blobs(rng, shape, 0.012, 128)
    stain = blobs(rng, shape, rng.choice([0.0, 0.05, 0.12]), 4)
    colour = mixed(colour, colour * 0.35, pores) * (1 - 0.55 * stain[..., None])
    bump = 0.25 * grain - 0.8 * pores
    return _dielectric(colour, rng.uniform(0.55, 0.9), bump.astype(np.float32), rng.uniform(700, 1000))


def asphalt(rng: np.random.Generator) -> Surface:
    """Make a driveway: dark binder, grey stones."""
    shape = (SIDE * 2, SIDE * 2)
    stones = speckle(rng, shape, 3.0)
    field = np.clip(0.45 + 0.25 * stones + 0.08 * speckle(rng, shape, 0.7), 0, 1)
    level = rng.uniform(0.06, 0.16)
    colour = tinted(field, (0.25 * level,) * 3, (2.2 * level, 2.1 * level, 2.0 * level))
    return _dielectric(colour, 0.85, (1.2 * field).astype(np.float32), rng.uniform(600, 800))


def wood(rng: np.random.Generator) -> Surface:
    """Make a bench or boards: grain, joints, dents."""
    shape = (SIDE * 2, SIDE * 2)
    grain = 0.6 * streaks(rng, shape, 40, 16) + 0.4 * streaks(rng, shape, 12, 6)
    warp = octaves(rng, shape, 3) * 30
    rows, columns = np.mgrid[: shape[0], : shape[1]].astype(np.float32)
    grain = cv2.remap(grain, columns, rows + warp, cv2.INTER_LINEAR, borderMode=cv2.BORDER_WRAP)
    dark, light = _WOODS[rng.integers(len(_WOODS))]
    boards = int(rng.choice([0, 4, 6, 8]))
    tone, joint = grain, np.zeros(shape, np.float32)
    if boards:
        board = (rows * boards / shape[0]).astype(int)
        tone = np.clip(grain + rng.normal(0, 0.13, boards).astype(np.float32)[board], 0, 1)
        joint = ((rows * boards / shape[0]) % 1 < 0.012).astype(np.float32)
    colour = mixed(tinted(np.asarray(tone, np.float32), dark, light), np.full((*shape, 3), 0.01, np.float32), joint)
    colour *= 1 - 0.5 * blobs(rng, shape, rng.choice([0.0, 0.03, 0.08]), 8)[..., None]
    bump = 0.15 * grain - 1.5 * joint
    lacquer = float(rng.choice([0.0, 0.0, 0.6]))
    return _dielectric(colour, rng.uniform(0.4, 0.8), bump.astype(np.float32), rng.uniform(700, 1100), lacquer)


_WOODS: tuple[tuple[Colour, Colour], ...] = (
    ((0.16, 0.08, 0.035), (0.42, 0.26, 0.13)),
    ((0.35, 0.22, 0.11), (0.62, 0.45, 0.27)),
    ((0.05, 0.03, 0.02), (0.16, 0.09, 0.05)),
    ((0.18, 0.17, 0.15), (0.38, 0.36, 0.33)),
)


def steel(rng: np.random.Generator) -> Surface:
    """Make a steel bench: rolled sheet, scratches, stains."""
    shape = (SIDE, SIDE)
    brushed = streaks(rng, shape, 30, 64)
    patches = octaves(rng, shape, 4)
    level = rng.uniform(0.3, 0.6)
    colour = tinted(0.5 * brushed + 0.5 * patches, (0.7 * level,) * 3, (level, level, 1.02 * level))
    rough = np.clip(rng.uniform(0.25, 0.45) + 0.15 * patches + 0.06 * brushed, 0.1, 0.9)
    rust = blobs(rng, shape, rng.choice([0.0, 0.04, 0.15]), 8)
    colour = mixed(colour, tinted(octaves(rng, shape, 16), RUSTS[1], RUSTS[0]), rust)
    return Surface(
        colour,
        mixed(rough.astype(np.float32), np.full(shape, 0.85, np.float32), rust),
        (0.9 * (1 - rust)).astype(np.float32),
        (0.01 * brushed).astype(np.float32),
        anisotropic=0.3,
        tile_mm=rng.uniform(500, 800),
    )


def cardboard(rng: np.random.Generator) -> Surface:
    """Make a flattened box: fibres, flutes showing through."""
    shape = (SIDE, SIDE)
    rows = np.mgrid[: shape[0], : shape[1]][0]
    flutes = 0.5 + 0.5 * np.sin(2 * np.pi * rows * 64 / shape[0]).astype(np.float32)
    tone = 0.5 * octaves(rng, shape, 4) + 0.3 * octaves(rng, shape, 64) + 0.2 * flutes
    colour = tinted(tone.astype(np.float32), (0.27, 0.17, 0.09), (0.46, 0.32, 0.19))
    colour *= 1 - 0.5 * blobs(rng, shape, rng.choice([0.0, 0.04]), 6)[..., None]
    return _dielectric(colour, 0.85, (0.12 * flutes).astype(np.float32), rng.uniform(420, 560))


def rubber(rng: np.random.Generator) -> Surface:
    """Make a ribbed or pebbled mat."""
    shape = (SIDE, SIDE)
    rows = np.mgrid[: shape[0], : shape[1]][0]
    ribs = np.clip(2 * np.sin(2 * np.pi * rows * 80 / shape[0]) + 0.5, 0, 1).astype(np.float32)
    pebbles = np.clip(0.5 + 0.4 * speckle(rng, shape, 3), 0, 1)
    relief = ribs if rng.random() < 0.5 else pebbles
    level = rng.uniform(0.012, 0.05)
    dust = octaves(rng, shape, 6)
    colour = tinted(0.6 * dust + 0.4 * relief, (0.7 * level,) * 3, (2.2 * level,) * 3)
    return _dielectric(colour, rng.uniform(0.45, 0.8), (0.6 * relief).astype(np.float32), rng.uniform(380, 520))


def cloth(rng: np.random.Generator) -> Surface:
    """Make a towel or a blanket: weave and folds."""
    shape = (SIDE, SIDE)
    rows, columns = np.mgrid[: shape[0], : shape[1]].astype(np.float32)
    weave = 0.5 + 0.25 * (np.sin(rows * np.pi * 256 / SIDE) + np.sin(columns * np.pi * 256 / SIDE))
    folds = octaves(rng, shape, 3, 0.35)
    hue = rgb(_CLOTHS[rng.integers(len(_CLOTHS))])
    colour = hue * (0.65 + 0.35 * weave * (0.8 + 0.4 * speckle(rng, shape, 1.0) * 0.2))[..., None]
    if rng.random() < 0.35:
        stripes = (np.sin(columns * np.pi * 2 * 6 / SIDE) > 0.5).astype(np.float32)
        colour = mixed(colour.astype(np.float32), colour.astype(np.float32) * 0.4, stripes)
    bump = 0.2 * weave + 14 * folds
    return _dielectric(colour.astype(np.float32), 0.95, bump.astype(np.float32), rng.uniform(380, 520))


_CLOTHS: tuple[Colour, ...] = (
    (0.05, 0.08, 0.20),
    (0.45, 0.43, 0.40),
    (0.30, 0.05, 0.05),
    (0.06, 0.06, 0.06),
    (0.12, 0.25, 0.15),
    (0.6, 0.58, 0.5),
)


def painted_floor(rng: np.random.Generator) -> Surface:
    """Epoxy floor or a laminate worktop: light, semi-gloss."""
    shape = (SIDE, SIDE)
    level = rng.uniform(0.15, 0.65)
    flakes = np.clip(0.5 + 0.2 * speckle(rng, shape, 1.5), 0, 1)
    colour = tinted(
        0.5 * flakes + 0.5 * octaves(rng, shape, 3), (0.8 * level,) * 3, (1.1 * level, 1.1 * level, 1.12 * level)
    )
    return _dielectric(colour, rng.uniform(0.25, 0.5), (0.03 * flakes).astype(np.float32), 800.0)


GROUNDS: dict[str, Callable[[np.random.Generator], Surface]] = {
    "concrete": concrete,
    "asphalt": asphalt,
    "wood": wood,
    "steel": steel,
    "cardboard": cardboard,
    "rubber": rubber,
    "cloth": cloth,
    "painted": painted_floor,
}
