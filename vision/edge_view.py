"""A photo of the rotor's edge, measured: the friction ring's thickness, the height over all, vented or solid."""

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from uncertainties import UFloat, ufloat

from vision.edge_face import THICK_MM, FaceEnd, Faces, find_faces
from vision.edge_fine import Ring
from vision.edge_hat import Flank, Hat, find_hat
from vision.edge_level import quarter_turned
from vision.edge_look import Wall, is_rusty, vane_count, ventilation
from vision.edge_reference import in_sight, upright_references
from vision.edge_ring import find_rings
from vision.edge_scene import EdgeScene, Seen, fit_edge
from vision.edge_start import with_lines
from vision.edge_tip import Tip, find_tip
from vision.edge_unrolled import Unrolled
from vision.figure import Sighting
from vision.focus import HOPELESS, sharpness, softness
from vision.lens import Lens, lenses, usual_focal_px
from vision.measurement import FloatArray, Measurement
from vision.near import Doubt
from vision.photo import Photo
from vision.references.parse import parse_kind
from vision.request import Request
from vision.ring import Pixels
from vision.trial import DIAMETER_MM

# The least of the rim's thickness, px, and of its width.
LEAST_THICK_PX, LEAST_WIDTH_PX = 18.0, 150.0
# So much is unrolled beyond the faces. Thicknesses are measured with so much room, as a factor.
MARGIN_MM, ROOM = 3.0, 1.4
# The faces must be so probable, and so clear: of 89 edge photos that the nets don't know right ones have 2.5 or more,
# most over 3.1, from which no other ring is looked at; wrong ones mostly less. So many rings at most are.
UNSURE, LEAST_CLEAR, CLEAR, MOST_RINGS = 0.5, 2.4, 3.1, 6
# What is left of doubt of where a face and a hat end, by how far rows spread: of 128 faces that the nets don't know
# half are within 0.03 mm, 19 in 20 within 0.12. How well a hat's radius is known.
FACE_DOUBT, HAT_DOUBT, HAT_RADIUS_STD_MM = Doubt(0.045, 15.0), Doubt(0.12, 20.0), 2.0
# Misfits of samples that hang together tell the same thing more than once.
SAME_TELLING = 4.0
# Lines so near a face's end are it.
SAME_LINE_MM = 0.25
# Without a reference, the scale comes from the outline's two ends; from one and the lines' bend it is so much wider.
BOTH_ENDS, ONE_END = 2, 1.5


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
    sharp = sharpness(photo.grey)
    if sharp < HOPELESS:
        return blank.refuse("blurred")
    sightings = upright_references(photo, reference, request)
    rings = find_rings(photo, in_sight(photo, sightings), sightings[0] if sightings else None, request.diameter_mm)
    clearest = _clearest(photo, rings)
    if clearest is None or clearest[1].clear < LEAST_CLEAR or clearest[1].probability < UNSURE:
        return blank.refuse(*softness(sharp), "no-rotor")
    bgr, faces = _level(photo, clearest[0]), clearest[1]
    ring = _fitted(photo, clearest[0], bgr, faces)
    if not _is_of_a_car(ring):
        return blank.refuse(*softness(sharp), "no-rotor")
    found = _described(replace(blank, thickness_over="lip"), bgr, ring, sightings)
    refusals = _refusals(ring, sightings, request)
    if refusals:
        return found.refuse(*refusals)
    dimensions = {"thickness_mm": _thickness(ring, faces)}
    hat = find_hat(
        bgr, ring.level.seen, [Flank(ring.along, _top_mm(ring), 1.0), Flank(ring.along, _bottom_mm(ring), -1.0)]
    )
    if hat is None:
        return replace(found, dimensions=dimensions)
    dimensions["height_mm"] = _height(ring, faces, hat)
    hat_px = ring.level.to_photo(hat.outline_px())
    return replace(found, dimensions=dimensions, geometry_px={**found.geometry_px, "hat_px": hat_px})


def _clearest(photo: Photo, rings: Sequence[Ring]) -> tuple[Ring, Faces] | None:
    """Return the likeliest ring whose faces show clearly, or the clearest, and its faces."""
    best: tuple[Ring, Faces] | None = None
    for ring in rings[:MOST_RINGS]:
        faces = find_faces(_level(photo, ring), ring.level.seen, ring.along, ring.middle_mm)
        if faces is not None and (best is None or faces.clear > best[1].clear):
            best = ring, faces
        if best is not None and best[1].clear > CLEAR:
            break
    return best


def _level(photo: Photo, ring: Ring) -> Pixels:
    """Return the photo in which a ring lies level."""
    return quarter_turned(photo.bgr) if ring.level.turned else photo.bgr


def _top_mm(ring: Ring) -> float:
    """Return how high above the camera's plane the upper face ends, of a ring that was seen from near."""
    return ring.scene.line_mm(0)


def _bottom_mm(ring: Ring) -> float:
    """Return how high the lower face ends."""
    return ring.scene.line_mm(1)


def _is_of_a_car(ring: Ring) -> bool:
    """Whether a car's rotor may be so wide and so thick, with room for a scale that is not known."""
    (narrow, wide), (thin, thick) = DIAMETER_MM, THICK_MM
    apart_mm = _top_mm(ring) - _bottom_mm(ring)
    return narrow < 2 * float(ring.along.radius_mm) < wide and thin / ROOM < apart_mm < thick * ROOM


def _refusals(ring: Ring, sightings: Sequence[Sighting], request: Request) -> list[str]:
    """Return the codes of what keeps a thickness from being given."""
    near_mm = ring.along.away_mm - ring.along.radius_mm
    thick_px = (_top_mm(ring) - _bottom_mm(ring)) * float(ring.along.camera.focal_px) / near_mm
    if thick_px < LEAST_THICK_PX or _width_px(ring) < LEAST_WIDTH_PX:
        return ["too-small"]
    if not sightings and request.diameter_mm is None:
        return ["no-reference"]
    return ["rim-out-of-frame"] if not sightings and not len(ring.seen.ends_px) else []


def _width_px(ring: Ring) -> float:
    ends = _generator(ring, np.array([-1.0, 1.0]) * ring.along.last_angle_rad * 0.999, 0.0)
    return float(np.linalg.norm(ends[1] - ends[0]))


def _generator(ring: Ring, angles_rad: FloatArray, height_mm: float) -> FloatArray:
    return ring.along.pixels(ring.along.points(angles_rad, height_mm, ring.along.radius_mm))


def _thickness(ring: Ring, faces: Faces) -> UFloat:
    """Return how far the two faces are apart."""
    apart: UFloat = ring.scene.line_number(0) - ring.scene.line_number(1)
    return _widened(ring, apart, [_doubt_mm(faces.top), _doubt_mm(faces.bottom)])


def _height(ring: Ring, faces: Faces, hat: Hat) -> UFloat:
    """Return how far a hat's end is from the far face."""
    number, far = (1, faces.bottom) if hat.flank.side > 0 else (0, faces.top)
    wider_mm = hat.above_mm(ring.along, HAT_RADIUS_STD_MM) - hat.above_mm(ring.along)
    height: UFloat = hat.flank.side * (ring.scene.number_of(hat.above_mm) - ring.scene.line_number(number))
    return _widened(ring, height, [_doubt_mm(far), HAT_DOUBT.std_mm(np.array([hat.end_std_mm])), wider_mm])


def _doubt_mm(end: FaceEnd) -> float:
    return FACE_DOUBT.std_mm(np.array([end.spread_mm]))


def _widened(ring: Ring, length: UFloat, doubts_mm: Sequence[float]) -> UFloat:
    """Widen a length by what doubt is left of its ends."""
    widened: UFloat = length.n + _wider(ring) * (length - length.n + ufloat(0.0, float(np.linalg.norm(doubts_mm))))
    return widened


def _wider(ring: Ring) -> float:
    alone = not len(ring.seen.corners_px) and len(ring.seen.ends_px) < BOTH_ENDS
    return ONE_END if alone else 1.0


def _ends(ring: Ring, bgr: Pixels, faces: Faces) -> tuple[FloatArray, FloatArray]:
    """Return both ends of the outline (M, 2) and their deviations (M,), seen from near where they can be."""
    before = np.broadcast_to(ring.seen.end_std_px, len(ring.seen.ends_px))
    points, stds = [], []
    for sign in (-1.0, 1.0):
        tip = Tip(ring.along, (faces.bottom.height_mm, faces.top.height_mm), sign)
        near = find_tip(bgr, ring.level.seen, tip)
        own = tip.on_plane(ring.seen.ends_px)[0] > 0
        points.append(ring.seen.ends_px[own] if near is None else near.xy_px[None])
        stds.append(before[own] if near is None else np.array([near.std_px]))
    return np.concatenate(points), np.concatenate(stds)


def _fitted(photo: Photo, ring: Ring, bgr: Pixels, faces: Faces) -> Ring:
    """Fit with the faces' ends first, then what other lines the rim has, and both ends of its outline.

    Of the lenses that the photo may have the likeliest is kept, as doubtful as the others are likely.
    """
    both, before = (faces.top, faces.bottom), zip(ring.seen.lines, ring.seen.corner, ring.heights_mm, strict=True)
    others = [
        (line, height)
        for line, is_face, height in before
        if not is_face and min(abs(height - end.height_mm) for end in both) > SAME_LINE_MM
    ]
    ends_px, std_px = _ends(ring, bgr, faces)
    lines = [*(end.points_px for end in both), *(line for line, _ in others)]
    corner = [True] * len(both) + [False] * len(others)
    seen = replace(ring.seen, lines=lines, corner=corner, ends_px=ends_px, end_std_px=std_px)
    starts = [*(end.height_mm for end in both), *(height for _, height in others)]
    tried = lenses(photo)
    fits = [_with(photo, lens, ring, seen, starts) for lens in tried]
    odds = np.array([np.log(lens.share) - fit.misfit / SAME_TELLING for lens, fit in zip(tried, fits, strict=True)])
    best = int(odds.argmax())
    apart = [fit.line_number(0) - fit.line_number(1) for fit in fits]
    spread = np.array([length.s**2 + (length.n - apart[best].n) ** 2 for length in apart])
    doubt = max(1.0, float(np.average(spread, weights=np.exp(odds - odds[best])) / spread[best]))
    return replace(ring, scene=replace(fits[best], covariance=fits[best].covariance * doubt), seen=seen)


def _with(photo: Photo, lens: Lens, ring: Ring, seen: Seen, starts: Sequence[float]) -> EdgeScene:
    """Fit with a lens, from farther off if it is longer."""
    unknowns, usual = ring.unknowns.restart({}), float(np.log(usual_focal_px(photo, lens.f35_mm)))
    longer = usual - unknowns.table["log_focal"].mean
    known = {name: value for name, value in ring.scene.values.items() if name in unknowns.table}
    unknowns.add("log_focal", usual, unknowns.table["log_focal"].scale, std=lens.std)
    moved = {name: known[name] + longer for name in ("log_focal", "log_clear")}
    return fit_edge(with_lines(unknowns, starts).restart(known | moved), seen, ring.level.size_px)


def _described(found: Measurement, bgr: Pixels, ring: Ring, sightings: Sequence[Sighting]) -> Measurement:
    """Add what needs no scale: the outline, vented or solid, vanes, rust."""
    span_mm = (_bottom_mm(ring), _top_mm(ring))
    around_mm = (span_mm[0] - MARGIN_MM, span_mm[1] + MARGIN_MM)
    wall = Wall(Unrolled.of(ring.level.grey, ring.level.seen, ring.along, around_mm), span_mm)
    vented = ventilation(wall)
    vanes = vane_count(wall) if vented["vented"] > 0.5 else None
    details = {} if vanes is None else {"vane_count": {"low": vanes[0], "high": vanes[1]}}
    warnings = ["lip-seen"] + (["rust-on-edge"] if is_rusty(bgr, wall) else [])
    found = replace(found, ventilation=vented, details=details, geometry_px=_geometry(ring, sightings))
    return found.warn(*warnings)


def _geometry(ring: Ring, sightings: Sequence[Sighting]) -> dict[str, FloatArray]:
    angles = np.linspace(-0.999, 0.999, 40) * ring.along.last_angle_rad
    top, bottom = (_generator(ring, angles, height_mm) for height_mm in (_top_mm(ring), _bottom_mm(ring)))
    geometry = {"rim_px": ring.level.to_photo(np.concatenate([top, bottom[::-1]]))}
    if sightings:
        geometry["reference_px"] = np.concatenate([sighting.corners_px for sighting in sightings])
    return geometry
