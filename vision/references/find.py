"""Find the reference that a person named, or any that is there."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from vision.figure import Sighting
from vision.photo import Photo
from vision.references.card import find_cards
from vision.references.coin import find_coins
from vision.references.floor import Floor
from vision.references.parse import CARD, SHEETS, TAG, Lies, Reference
from vision.references.points import place_points
from vision.references.sheet import find_sheets
from vision.references.sides import to_pixels
from vision.references.tag import find_tags

# What lies nearer to the axis than this share of the rim's radius lies on the hat.
HAT_SHARE = 0.4
FOUR_SIDES = 4
# Patterns on a rotor or bench reach 0.5 where there is no card at all.
SURE_SCORE = 0.6


@dataclass(frozen=True)
class Find:
    """A reference and where it lies."""

    sighting: Sighting
    lies: Lies


def find_references(
    photo: Photo, reference: Reference, floors: Sequence[Floor], lies: Lies | None = None
) -> list[Find]:
    """Find references in a photo.

    Parameters
    ----------
    photo : Photo
    reference : Reference
        As `parse_kind` gives it. ``auto`` looks for tags, a card and sheets, in order of how surely they are told,
        and stops at the first kind found; a coin is taken for no coin in particular unless it is named.
    floors : sequence of Floor
        Where the rotor's face may be: both tilts of its rim, for the likeliest lens first; without one, only tags and
        marked points are found.
    lies : {"face", "bench", "hat"}, optional
        Where it lies, if told.

    Returns
    -------
    list of Find
        Every tag; of other kinds the candidates, best first. Empty for ``bolt-circle``, which is the rotor's own.
    """
    if reference.family == "auto":
        return _anything(photo, floors, lies)
    if reference.family == "tag":
        return _placed(find_tags(photo.grey, reference), lies or reference.lies)
    if reference.family == "points":
        return _placed([place_points(reference)], lies or reference.lies)
    if not floors or reference.family == "bolt-circle":
        return []
    return _placed(_lying(photo, reference, floors, lies or reference.lies), lies or reference.lies)


def _lying(photo: Photo, reference: Reference, floors: Sequence[Floor], lies: Lies) -> list[Sighting]:
    inside = lies != "bench"
    if reference.family == "card":
        return find_cards(photo.bgr, floors, reference, inside=inside)
    if reference.family == "coin":
        return find_coins(photo.bgr, floors, reference, lies=lies)
    return find_sheets(photo.bgr, floors, reference)


def _anything(photo: Photo, floors: Sequence[Floor], lies: Lies | None) -> list[Find]:
    tags = [Find(tag, lies or _place(tag, floors)) for tag in find_tags(photo.grey, TAG, thorough=False)]
    if tags or not floors:
        return tags
    cards = [
        Find(card, lies or _place(card, floors))
        for inside in _sides_of_rim(lies)
        for card in find_cards(photo.bgr, floors, CARD, inside=inside)
        if _is_sure(card)
    ]
    if cards or lies in ("face", "hat"):
        return sorted(cards, key=lambda find: find.sighting.score, reverse=True)
    sheets = [sheet for kind in SHEETS.values() for sheet in find_sheets(photo.bgr, floors, kind)]
    return _placed(sorted(filter(_is_sure, sheets), key=lambda sheet: sheet.score, reverse=True), "bench")


def _is_sure(sighting: Sighting) -> bool:
    """Whether a thing that nobody named is surely what it looks like: three sides are a sheet's of any format."""
    return sighting.score >= SURE_SCORE and len(np.unique(sighting.samples.side)) == FOUR_SIDES


def _sides_of_rim(lies: Lies | None) -> tuple[bool, ...]:
    return (True, False) if lies is None else (lies != "bench",)


def _place(sighting: Sighting, floors: Sequence[Floor]) -> Lies:
    """Tell from its distance to the axis where a thing lies; on the face where the rim is unknown."""
    if not floors:
        return "face"
    centre = floors[0].to_plane(to_pixels(sighting.pose, np.zeros((1, 2))))[0]
    share = float(np.hypot(*centre)) / floors[0].rim_radius_mm
    return "hat" if share < HAT_SHARE else "face" if share < 1.0 else "bench"


def _placed(sightings: Sequence[Sighting], lies: Lies) -> list[Find]:
    return [Find(sighting, lies) for sighting in sightings]
