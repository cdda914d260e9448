"""The reference of an edge view: a tag or a card that stands upright in the plane of the nearest edge."""

from collections.abc import Sequence

import cv2
import numpy as np

from vision.figure import Sighting
from vision.frame import bars
from vision.lens import lenses, usual_focal_px
from vision.photo import Photo
from vision.references.card import find_cards
from vision.references.floor import Floor
from vision.references.parse import CARD, TAG, Reference
from vision.references.tag import find_tags
from vision.request import Request
from vision.ring import Mask
from vision.start import NOMINAL_RADIUS_MM

# How much of the picture the outline may fill.
FILLED = (0.85, 0.55)
# A card that nobody named must be surely one.
SURE_SCORE = 0.6
# How far from a card's a shape may be, as a share: of 31 cards in photos the right ones look 0.04 longer or shorter at
# most, and one whose side was lost to the rotor's edge behind it 0.06.
MOST_ODD_SHAPE = 0.05
# A tag's paper is wider than its black square; cards throw a shadow.
GROWN = {"tag": 1.4, "card": 1.04}
# How far beyond a screenshot's bars nothing is looked for; thinner ones are none.
BAR_PX = 3


def upright_references(photo: Photo, reference: Reference, request: Request) -> list[Sighting]:
    """Find tags, else a card that stands square to the camera beside the rim.

    Parameters
    ----------
    photo : Photo
    reference : Reference
        As `parse_kind` gives it.
    request : Request
        A told diameter spares the search for a card that nobody named.

    Returns
    -------
    list of Sighting
        The best first.
    """
    named = reference.family != "auto"
    if reference.family in ("tag", "auto"):
        tags = find_tags(photo.grey, reference if named else TAG)
        if tags:
            return tags
    if reference.family != "card" and (named or request.diameter_mm is not None):
        return []
    cards = find_cards(photo.bgr, upright_planes(photo), reference if named else CARD, inside=True)
    return [card for card in cards if _odd_shape(card) < MOST_ODD_SHAPE and (named or card.score >= SURE_SCORE)]


def _odd_shape(card: Sighting) -> float:
    """Return by how much a card is longer or shorter than it is wide, as a share of what it should be."""
    sides_px = np.linalg.norm(np.roll(card.corners_px, -1, axis=0) - card.corners_px, axis=1)
    right, top = sides_px[:2] + sides_px[2:]
    width_mm, depth_mm = CARD.size_mm
    return float(abs(top / right * depth_mm / width_mm - 1))


def upright_planes(photo: Photo) -> list[Floor]:
    """Return where a card may stand: square to the camera, against rims that fill much of the picture."""
    return [_upright(photo, filled) for filled in FILLED]


def _upright(photo: Photo, filled: float) -> Floor:
    """Return the plane square to the camera that touches a rim which fills so much of the picture."""
    width, focal = max(photo.width, photo.height), usual_focal_px(photo, lenses(photo)[0].f35_mm)
    half_angle = np.arctan(filled * width / 2 / focal)
    px_per_mm = focal / (NOMINAL_RADIUS_MM * (1.0 / np.sin(half_angle) - 1.0))
    upright = np.array([[px_per_mm, 0, photo.width / 2], [0, -px_per_mm, photo.height / 2], [0, 0, 1.0]])
    return Floor(upright, NOMINAL_RADIUS_MM)


def in_sight(photo: Photo, sightings: Sequence[Sighting]) -> Mask:
    """Pixels (H, W) that neither a reference, its paper and shadow, nor a screenshot's bars cover."""
    cover = np.zeros(photo.grey.shape, np.uint8)
    for sighting in sightings:
        corners = sighting.corners_px
        grown = GROWN["tag" if sighting.figure.kind.startswith("tag") else "card"]
        outline = corners.mean(axis=0) + grown * (corners - corners.mean(axis=0))
        cv2.fillPoly(cover, [outline.round().astype(np.int32)], 1)
    for rows, grey in ((cover, photo.grey), (cover.T, photo.grey.T)):
        first, last = (count + BAR_PX if count > BAR_PX else 0 for count in bars(grey))
        rows[:first] = 1
        rows[len(rows) - last :] = 1
    return np.asarray(cover == 0)
