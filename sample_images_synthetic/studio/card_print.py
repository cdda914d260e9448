"""What is printed on references: invented card designs, face tags and ruled paper, as RGB textures.

Row 0 is the print's upper edge and lies at v = 0, as the renderer reads textures.
"""

from __future__ import annotations

import colorsys

import cv2
import numpy as np
from numpy.typing import NDArray

from sample_images_synthetic.studio.reference import Card, Sheet, Tag

Texture = NDArray[np.uint8]
FloatArray = NDArray[np.float64]

CARD_PX = (1080, 1712)  # rows, columns: 0.05 mm each
TAG_CELL_PX = 80  # ten cells of 5 mm across the paper, one of them white on each side
SHEET_PX_PER_MM = 5

Colour = tuple[float, float, float]


def card_texture(card: Card) -> Texture:
    """Print a card, (1080, 1712, 3): no words, no marks of anyone, only shapes."""
    rng = np.random.default_rng(card.print_seed)
    ground = ground_colour(rng, card.design)
    picture = np.empty((*CARD_PX, 3))
    picture[:] = ground
    ink = 0.12 if sum(ground) > 1.5 else 0.92
    if card.design == "two-tone":
        two_tone(rng, picture)
    elif card.design == "stripe":
        picture[110:360] = rng.uniform(0.02, 0.1)
    elif card.design == "bands":
        bands(rng, picture)
    elif card.design == "blend":
        blend(rng, picture, ground)
    if card.design in ("chip", "light", "dark", "two-tone", "blend"):
        chip(rng, picture)
    if card.design not in ("white", "black"):
        printed_lines(rng, picture, ink)
    return to_texture(picture)


def ground_colour(rng: np.random.Generator, design: str) -> Colour:
    """Draw the card's colour: pale, deep or any, by design."""
    fixed = {"white": (0.9, 0.9, 0.88), "black": (0.04, 0.04, 0.045)}
    if design in fixed:
        return fixed[design]
    if design in ("light", "stripe"):
        return colorsys.hsv_to_rgb(rng.random(), rng.uniform(0.0, 0.25), rng.uniform(0.75, 0.95))
    if design == "dark":
        return colorsys.hsv_to_rgb(rng.random(), rng.uniform(0.2, 0.9), rng.uniform(0.08, 0.3))
    return colorsys.hsv_to_rgb(rng.random(), rng.uniform(0.3, 0.9), rng.uniform(0.3, 0.9))


def two_tone(rng: np.random.Generator, picture: FloatArray) -> None:
    """Colour one side of a slanting line differently."""
    rows, columns = CARD_PX
    x = int(rng.uniform(0.25, 0.75) * columns)
    slant = int(rng.uniform(-0.3, 0.3) * columns)
    corners = np.array([[x + slant, 0], [columns, 0], [columns, rows], [x - slant, rows]])
    cv2.fillPoly(picture, [corners], ground_colour(rng, "light" if rng.random() < 0.5 else "any"))


def bands(rng: np.random.Generator, picture: FloatArray) -> None:
    """Lay broad curved bands over the ground."""
    rows, columns = CARD_PX
    centre = (int(rng.uniform(-0.2, 1.2) * columns), int(rng.choice([-0.3, 1.3]) * rows))
    for i in range(3):
        radius = int(rows * (0.6 + 0.35 * i + rng.uniform(0, 0.1)))
        cv2.circle(picture, centre, radius, ground_colour(rng, "any"), int(rng.uniform(40, 130)), cv2.LINE_AA)


def blend(rng: np.random.Generator, picture: FloatArray, ground: Colour) -> None:
    """Fade the ground into a second colour."""
    rows, columns = CARD_PX
    angle = rng.uniform(0, np.pi)
    y, x = np.mgrid[0:rows, 0:columns]
    along = np.cos(angle) * x / columns + np.sin(angle) * y / rows
    share = ((along - along.min()) / np.ptp(along))[..., None]
    picture[:] = (1 - share) * ground + share * np.array(ground_colour(rng, "any"))


def chip(rng: np.random.Generator, picture: FloatArray) -> None:
    """Draw a contact patch at its usual place."""
    gold = np.array([0.75, 0.62, 0.32]) if rng.random() < 0.6 else np.array([0.7, 0.7, 0.7])
    top, left, height, width = 375, 200, 220, 250
    picture[top : top + height, left : left + width] = gold
    for part in (0.33, 0.66):
        row, column = top + int(part * height), left + int(part * width)
        picture[row - 3 : row + 3, left : left + width] = gold * 0.4
        picture[top : top + height, column - 3 : column + 3] = gold * 0.4


def printed_lines(rng: np.random.Generator, picture: FloatArray, ink: float) -> None:
    """Print rows of short bars where a card has its lettering."""
    for top, height, groups in ((650, 60, 4), (800, 40, 3), (900, 40, 2)):
        column = 200
        for _ in range(groups):
            for _ in range(int(rng.integers(3, 6))):
                width = int(rng.uniform(18, 42))
                picture[top : top + height, column : column + width] = ink
                column += width + 14
            column += 60


def tag_texture(tag: Tag) -> Texture:
    """Print a face tag's 50 mm of paper, (800, 800, 3); cell borders lie on pixel borders.

    Source: the marker's cells are OpenCV's ``DICT_APRILTAG_36h11``.
    """
    dictionary = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_APRILTAG_36H11)
    cells = np.asarray(dictionary.generateImageMarker(tag.marker_id, 8, borderBits=1))
    printed = np.pad(cells, 1, constant_values=255).repeat(TAG_CELL_PX, 0).repeat(TAG_CELL_PX, 1)
    # Toner is not quite black, paper not quite white.
    return to_texture(np.where(printed[..., None] > 127, [0.88, 0.88, 0.87], [0.035, 0.035, 0.04]))


def sheet_texture(sheet: Sheet) -> Texture:
    """Print a sheet, 5 pixels a millimetre: blank, or with ruled lines and a few marks of a pen."""
    rng = np.random.default_rng(sheet.print_seed)
    rows, columns = (round(side * SHEET_PX_PER_MM) for side in (sheet.height_mm, sheet.width_mm))
    picture = np.full((rows, columns, 3), rng.uniform(0.82, 0.9)) * [1.0, 1.0, rng.uniform(0.95, 1.0)]
    if sheet.ruled:
        step = int(rng.choice([35, 40, 50]))
        picture[20 * SHEET_PX_PER_MM :: step] = picture[:1, :1] * [0.55, 0.62, 0.75]
        picture[21 * SHEET_PX_PER_MM - 4 :: step] = picture[:1, :1] * [0.55, 0.62, 0.75]
    return to_texture(picture)


def to_texture(picture: FloatArray) -> Texture:
    """Encode displayed values 0 to 1 as 8-bit sRGB values."""
    return np.asarray(np.clip(np.round(np.asarray(picture) * 255), 0, 255), dtype=np.uint8)
