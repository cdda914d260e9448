"""A photo of the rotor's edge, measured: the friction ring's thickness, and whether it is vented."""

from collections.abc import Sequence
from dataclasses import replace

import cv2
import numpy as np
from uncertainties import ufloat

from vision.camera import focal_px
from vision.edge_band import Curves
from vision.edge_find import NOMINAL_RADIUS_MM, EdgeOn, find_edge, quarter_turned, turned_back
from vision.figure import Sighting
from vision.measurement import FloatArray, Measurement
from vision.photo import Photo
from vision.references.card import find_cards
from vision.references.floor import Floor
from vision.references.parse import CARD, TAG, Reference, parse_kind
from vision.references.sides import to_pixels
from vision.references.tag import find_tags
from vision.request import Request
from vision.ring import Mask
from vision.start import lenses

# How much of the picture the outline may fill: tried in turn.
FILLED = (0.85, 0.55)
LEAST_WIDTH_PX = 150.0
# Red over blue, as a logarithm, from which a wall counts as brown.
BROWN = 0.35
POSSIBLE_MM = (5.0, 45.0)
# What else widens the thickness: chamfers at both edges, and the outline's ends.
CHAMFER_STD_MM, ENDS_STD, LENS_STD, PLANE_STD, PART_STD = 0.6, 0.008, 0.012, 0.006, 0.25


def measure_edge(photo: Photo, request: Request) -> Measurement:
    """Measure a photo that looks along the rotor's plane at its rim.

    Parameters
    ----------
    photo : Photo
    request : Request
        Without a reference in the photo, ``diameter_mm`` gives the scale.

    Returns
    -------
    Measurement
        Refused, with reasons, where the photo can't support a thickness.

    Raises
    ------
    ValueError
        For a reference KIND that is not one.
    """
    reference = parse_kind(request.reference)
    blank = Measurement(photo.name, "edge")
    sightings = _references(photo, reference, request)
    edge_on = find_edge(photo, _uncovered(photo, sightings))
    if edge_on is None:
        return blank.refuse("no-rotor")
    if edge_on.curves.half_width_px < LEAST_WIDTH_PX:
        return blank.refuse("too-small")
    found = replace(blank, geometry_px=_geometry(photo, edge_on, sightings), thickness_over="lip")
    found = replace(found, ventilation=_ventilation(photo, edge_on)).warn("lip-seen")
    if _rusty(photo, edge_on):
        found = found.warn("rust-on-edge")
    if sightings:
        return _plausible(_with_reference(found, photo, edge_on, sightings[0]))
    if request.diameter_mm is None:
        return found.refuse("no-reference")
    return _plausible(_with_diameter(found, edge_on, request.diameter_mm))


def _plausible(found: Measurement) -> Measurement:
    """Refuse a thickness that no car's rotor has: something else was measured."""
    low_mm, high_mm = POSSIBLE_MM
    return found if low_mm < found.dimensions["thickness_mm"].nominal_value < high_mm else found.refuse("disagreement")


def _wants(reference: Reference, family: str) -> bool:
    return reference.family in (family, "auto")


def _uncovered(photo: Photo, sightings: Sequence[Sighting]) -> Mask:
    """Pixels that no reference covers, with a margin for a tag's paper and for shadows."""
    cover = np.zeros(photo.grey.shape, np.uint8)
    for sighting in sightings:
        corners = sighting.corners_px
        grow = 1.4 if sighting.figure.kind.startswith("tag") else 1.04
        grown = corners.mean(axis=0) + grow * (corners - corners.mean(axis=0))
        cv2.fillPoly(cover, [grown.round().astype(np.int32)], 1)
    return np.asarray(cover == 0)


def _references(photo: Photo, reference: Reference, request: Request) -> list[Sighting]:
    """Find tags, else a card that stands in the plane of the nearest edge, square to the camera."""
    if _wants(reference, "tag"):
        tags = find_tags(photo.grey, TAG if reference.family == "auto" else reference)
        if tags:
            return tags
    if not _wants(reference, "card") or (reference.family == "auto" and request.diameter_mm is not None):
        return []
    # The outline fills most of the picture, so the card's scale is about that of its nearest surface.
    card = CARD if reference.family == "auto" else reference
    for filled in FILLED:
        cards = find_cards(photo.bgr, [_upright(photo, filled)], card, inside=True)
        if cards:
            return cards
    return []


def _upright(photo: Photo, filled: float) -> Floor:
    """Return the plane square to the camera that touches a rim which fills so much of the picture."""
    width, focal = max(photo.width, photo.height), focal_px(lenses(photo)[0][0], photo.width, photo.height)
    guess = Curves(0.0, filled * width / 2, focal, 0.0, 0.0)
    px_per_mm = float(guess.scale(np.zeros(1))[0]) / NOMINAL_RADIUS_MM
    upright = np.array([[px_per_mm, 0, photo.width / 2], [0, -px_per_mm, photo.height / 2], [0, 0, 1.0]])
    return Floor(upright, NOMINAL_RADIUS_MM)


def _with_diameter(found: Measurement, edge_on: EdgeOn, diameter_mm: float) -> Measurement:
    thickness_mm = (edge_on.bottom - edge_on.top) * diameter_mm / 2
    std_mm = _std_mm(edge_on, thickness_mm, float(np.hypot(ENDS_STD, LENS_STD)))
    return replace(found, dimensions={"thickness_mm": ufloat(thickness_mm, std_mm)})


def _std_mm(edge_on: EdgeOn, thickness_mm: float, scale_std: float) -> float:
    """Add up chamfers, scale, and the doubt whether an edge that shows in part is the ring's."""
    doubt = PART_STD * max(0.0, 1.0 - edge_on.support) * thickness_mm
    return float(np.sqrt(CHAMFER_STD_MM**2 + (scale_std * thickness_mm) ** 2 + doubt**2))


def _with_reference(found: Measurement, photo: Photo, edge_on: EdgeOn, sighting: Sighting) -> Measurement:
    """Carry the nearest point of both edges to the reference's plane, which touches the rim there."""
    curves = edge_on.curves
    middle = np.array([curves.middle_px])
    ends = np.array([[middle[0], float(curves.y_px(middle, height)[0])] for height in (edge_on.top, edge_on.bottom)])
    ends = turned_back(photo, ends, edge_on.turned)
    on_plane = to_pixels(np.asarray(np.linalg.inv(sighting.pose), np.float64), ends)
    thickness_mm = float(np.linalg.norm(on_plane[0] - on_plane[1]))
    std_mm = _std_mm(edge_on, thickness_mm, max(sighting.figure.size_std) + PLANE_STD)
    return replace(found, dimensions={"thickness_mm": ufloat(thickness_mm, std_mm)})


def _ventilation(photo: Photo, edge_on: EdgeOn) -> dict[str, float]:
    """Vented where the band's middle is darker than its edges or changes much along the rim."""
    grey = quarter_turned(photo.grey) if edge_on.turned else photo.grey
    curves = edge_on.curves
    columns = curves.middle_px + np.linspace(-0.8, 0.8, 400) * curves.half_width_px
    shares = np.array([0.12, 0.18, 0.35, 0.42, 0.5, 0.58, 0.65, 0.82, 0.88])
    rows = np.stack([curves.y_px(columns, edge_on.top + s * (edge_on.bottom - edge_on.top)) for s in shares])
    x = np.broadcast_to(columns[None, :], rows.shape).astype(np.float32)
    level = np.log(cv2.remap(grey, x, rows.astype(np.float32), cv2.INTER_LINEAR).astype(np.float64) + 8)
    middle, edges = level[2:7], level[[0, 1, 7, 8]]
    darker = float(np.median(edges) - np.median(middle))
    busier = float(middle.std(axis=1).mean() - edges.std(axis=1).mean())
    odds = 6.0 * (darker + 1.5 * busier - 0.25)
    vented = float(1 / (1 + np.exp(-np.clip(odds, -4, 4))))
    return {"vented": vented, "solid": 1.0 - vented}


def _rusty(photo: Photo, edge_on: EdgeOn) -> bool:
    """Whether the wall's cheeks are mostly brown."""
    bgr = quarter_turned(photo.bgr) if edge_on.turned else photo.bgr
    columns = edge_on.curves.middle_px + np.linspace(-0.8, 0.8, 200) * edge_on.curves.half_width_px
    shares = np.array([0.1, 0.18, 0.82, 0.9])
    rows = np.stack([edge_on.curves.y_px(columns, edge_on.top + s * (edge_on.bottom - edge_on.top)) for s in shares])
    x = np.broadcast_to(columns[None, :], rows.shape).astype(np.float32)
    read = cv2.remap(bgr, x, rows.astype(np.float32), cv2.INTER_LINEAR).reshape(-1, 3).astype(np.float64)
    brown = np.log(read[:, 2] + 12) - np.log(read[:, 0] + 12)
    return bool((brown > BROWN).mean() > 0.5)


def _geometry(photo: Photo, edge_on: EdgeOn, sightings: Sequence[Sighting]) -> dict[str, FloatArray]:
    curves = edge_on.curves
    columns = curves.middle_px + np.linspace(-1, 1, 40) * curves.half_width_px
    lines = [np.stack([columns, curves.y_px(columns, height)], axis=-1) for height in (edge_on.top, edge_on.bottom)]
    outline = np.concatenate([lines[0], lines[1][::-1]])
    geometry = {"rim_px": turned_back(photo, outline, edge_on.turned)}
    if sightings:
        geometry["reference_px"] = np.concatenate([sighting.corners_px for sighting in sightings])
    return geometry
