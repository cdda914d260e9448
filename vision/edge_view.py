"""A photo of the rotor's edge, measured: the friction ring's thickness, the height over all, vented or solid."""

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from uncertainties import UFloat, ufloat

from vision.edge_fine import Ring
from vision.edge_hat import Flank, Hat, find_hat
from vision.edge_level import quarter_turned
from vision.edge_look import Wall, is_rusty, vane_count, ventilation
from vision.edge_reference import in_sight, upright_references
from vision.edge_rims import Rims, likely_rims, rim_lines
from vision.edge_ring import find_ring
from vision.edge_rows import Rows
from vision.edge_scene import EdgeScene, fit_edge
from vision.edge_start import with_lines
from vision.edge_unrolled import Unrolled
from vision.figure import Sighting
from vision.focus import HOPELESS, sharpness, softness
from vision.measurement import FloatArray, Measurement
from vision.near import Doubt
from vision.photo import Photo
from vision.references.parse import parse_kind
from vision.request import Request
from vision.ring import Pixels

# The least of the rim's thickness, px, and of its width.
LEAST_THICK_PX, LEAST_WIDTH_PX = 18.0, 150.0
MARGIN_MM = 25.0
# Pairs so near the likeliest one in thickness, mm, are its chamfers' and lips' doubt, which the interval carries; the
# likeliest and these must be so probable together, and others less probable than the last count for nothing.
NEAR_MM, UNSURE, NEGLIGIBLE = 2.5, 0.5, 0.003
# Walls between so many pairs, so probable, are looked at to tell vented from solid.
MOST_WALLS, LEAST_WALL = 6, 0.03
# What an edge's own place and the chamfer's bend add, mm; how wide errors are beside what pairs and fit say, on half of
# the fitting photos tried on the other.
EDGE_STD_MM, WIDER = 0.08, 1.1
# How well a hat's radius is known, and what is left of doubt of where its end shows.
HAT_RADIUS_STD_MM, HAT_DOUBT = 2.0, Doubt(0.12, 20.0)
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
    ring = find_ring(photo, in_sight(photo, sightings), sightings[0] if sightings else None, request.diameter_mm)
    if ring is None:
        return blank.refuse(*softness(sharp), "no-rotor")
    bgr = quarter_turned(photo.bgr) if ring.level.turned else photo.bgr
    rims = rims_of(ring, bgr)
    if not rims:
        return blank.refuse(*softness(sharp), "no-rotor")
    found = _described(replace(blank, thickness_over="lip"), bgr, ring, rims, sightings)
    refusals = _refusals(ring, rims, sightings, request)
    if refusals:
        return found.refuse(*refusals)
    scene = _fitted(ring, rims[0])
    dimensions = {"thickness_mm": _thickness(ring, rims, scene)}
    hat = find_hat(bgr, ring.level.seen, _flanks(ring, rims[0]))
    if hat is None:
        return replace(found, dimensions=dimensions)
    dimensions["height_mm"] = _height(ring, rims, scene, hat)
    hat_px = ring.level.to_photo(hat.outline_px())
    return replace(found, dimensions=dimensions, geometry_px={**found.geometry_px, "hat_px": hat_px})


def _flanks(ring: Ring, rims: Rims) -> list[Flank]:
    """Return what lies above and below the ring."""
    return [Flank(ring.along, rims.top.height_mm, 1.0), Flank(ring.along, rims.bottom.height_mm, -1.0)]


def rims_of(ring: Ring, bgr: Pixels) -> list[Rims]:
    """Rate what may be the ring's edges, the likeliest first, in a photo in which it lies level."""
    unrolled = unrolled_of(ring)
    return likely_rims(rim_lines(unrolled, lying=not ring.level.turned), Rows.of(unrolled, bgr, ring.level, ring.along))


def unrolled_of(ring: Ring) -> Unrolled:
    """Unroll the rim as far as its edges may lie from the lines found."""
    heights = [ring.scene.line_mm(number) for number in range(len(ring.seen.lines))]
    span_mm = (min(heights) - MARGIN_MM, max(heights) + MARGIN_MM)
    return Unrolled.of(ring.level.grey, ring.level.seen, ring.along, span_mm)


def _refusals(ring: Ring, rims: Sequence[Rims], sightings: Sequence[Sighting], request: Request) -> list[str]:
    """Return the codes of what keeps a thickness from being given."""
    near_mm = ring.along.away_mm - ring.along.radius_mm
    thick_px = rims[0].thickness_mm * float(ring.along.camera.focal_px) / near_mm
    if thick_px < LEAST_THICK_PX or _width_px(ring) < LEAST_WIDTH_PX:
        return ["too-small"]
    if not sightings and request.diameter_mm is None:
        return ["no-reference"]
    if not sightings and not len(ring.seen.ends_px):
        return ["rim-out-of-frame"]
    return ["no-rotor"] if _sureness(rims) < UNSURE else []


def _width_px(ring: Ring) -> float:
    ends = _generator(ring, np.array([-1.0, 1.0]) * ring.along.last_angle_rad * 0.999, 0.0)
    return float(np.linalg.norm(ends[1] - ends[0]))


def _generator(ring: Ring, angles_rad: FloatArray, height_mm: float) -> FloatArray:
    return ring.along.pixels(ring.along.points(angles_rad, height_mm, ring.along.radius_mm))


def _near(rims: Sequence[Rims]) -> list[Rims]:
    """Return the pairs about as thick as the likeliest."""
    return [other for other in rims if abs(other.thickness_mm - rims[0].thickness_mm) < NEAR_MM]


def _sureness(rims: Sequence[Rims]) -> float:
    """Return how probable it is that the likeliest pair's thickness is right to within chamfers and lips."""
    return sum(other.probability for other in _near(rims))


def _thickness(ring: Ring, rims: Sequence[Rims], scene: EdgeScene) -> UFloat:
    """Return how far the two edges are apart where the faces end, widened by what else they may be."""
    best = rims[0]
    hidden = abs(best.top.supposed) + abs(best.bottom.supposed)
    thickness: UFloat = scene.line_number(0) - scene.line_number(1) + hidden * scene.numbers["chamfer"]
    near = _near(rims)
    return _widened(ring, thickness, near, [rim.thickness_mm for rim in near], np.sqrt(2) * EDGE_STD_MM)


def _height(ring: Ring, rims: Sequence[Rims], scene: EdgeScene, hat: Hat) -> UFloat:
    """Return how far a hat's end is from the edge where the far face ends, widened by what else that may be."""
    near, above = _near(rims), hat.flank.side > 0
    far = [rim.bottom if above else rim.top for rim in near]
    edge = scene.line_number(1 if above else 0) - hat.flank.side * abs(far[0].supposed) * scene.numbers["chamfer"]
    height: UFloat = hat.flank.side * (scene.number_of(hat.above_mm) - edge)
    wider_mm = hat.above_mm(scene.along, HAT_RADIUS_STD_MM) - hat.above_mm(scene.along)
    std_mm = float(np.linalg.norm([EDGE_STD_MM, HAT_DOUBT.std_mm(np.array([hat.end_std_mm])), wider_mm]))
    return _widened(ring, height, near, [-hat.flank.side * edge.height_mm for edge in far], std_mm)


def _widened(ring: Ring, length: UFloat, rims: Sequence[Rims], heights_mm: Sequence[float], std_mm: float) -> UFloat:
    """Move a length to between what it is with each pair of edges, and widen it by how far these are apart."""
    share = np.array([rim.probability if rim.probability > NEGLIGIBLE else 0.0 for rim in rims])
    share[0] = rims[0].probability
    apart = np.array(heights_mm) - heights_mm[0]
    shift = float(share @ apart / share.sum())
    doubt = float(share @ (apart - shift) ** 2 / share.sum())
    widened: UFloat = (
        length.n + shift + _wider(ring) * (length - length.n + ufloat(0.0, np.hypot(std_mm, np.sqrt(doubt))))
    )
    return widened


def _wider(ring: Ring) -> float:
    alone = not len(ring.seen.corners_px) and len(ring.seen.ends_px) < BOTH_ENDS
    return WIDER * ONE_END if alone else WIDER


def _fitted(ring: Ring, rims: Rims) -> EdgeScene:
    """Fit with the two edges first; of an edge that is not seen, with its chamfer's."""
    edges = (rims.top, rims.bottom)
    heights = [ring.scene.line_mm(number) for number in range(len(ring.seen.lines))]
    inner = [
        number
        for number, height in enumerate(heights)
        if min(abs(height - edge.seen_mm) for edge in edges) > 3 * EDGE_STD_MM
    ]
    lines = [edge.points_px for edge in edges] + [ring.seen.lines[number] for number in inner]
    corner = [not edge.supposed for edge in edges] + [False] * len(inner)
    seen = replace(ring.seen, lines=lines, corner=corner)
    starts = [edge.seen_mm for edge in edges] + [heights[number] for number in inner]
    known = {name: value for name, value in ring.scene.values.items() if name in ring.unknowns.table}
    return fit_edge(with_lines(ring.unknowns, starts).restart(known), seen, ring.level.size_px)


def _described(
    found: Measurement, bgr: Pixels, ring: Ring, rims: Sequence[Rims], sightings: Sequence[Sighting]
) -> Measurement:
    """Add what needs no scale: the outline, vented or solid, vanes, rust."""
    unrolled = unrolled_of(ring)
    vented = _ventilation(unrolled, rims)
    wall = _wall(unrolled, rims[0])
    vanes = vane_count(wall) if vented["vented"] > 0.5 else None
    details = {} if vanes is None else {"vane_count": {"low": vanes[0], "high": vanes[1]}}
    warnings = ["lip-seen"] + (["rust-on-edge"] if is_rusty(bgr, wall) else [])
    geometry = _geometry(ring, rims[0], sightings)
    return replace(found, ventilation=vented, details=details, geometry_px=geometry).warn(*warnings)


def _wall(unrolled: Unrolled, rims: Rims) -> Wall:
    return Wall(unrolled, (rims.bottom.height_mm, rims.top.height_mm))


def _ventilation(unrolled: Unrolled, rims: Sequence[Rims]) -> dict[str, float]:
    """Tell vented from solid, between whatever the edges may be."""
    likely = [rim for rim in rims[:MOST_WALLS] if rim.probability > LEAST_WALL] or rims[:1]
    total = sum(rim.probability for rim in likely)
    vented = sum(rim.probability * ventilation(_wall(unrolled, rim))["vented"] for rim in likely) / total
    return {"vented": vented, "solid": 1.0 - vented}


def _geometry(ring: Ring, rims: Rims, sightings: Sequence[Sighting]) -> dict[str, FloatArray]:
    angles = np.linspace(-0.999, 0.999, 40) * ring.along.last_angle_rad
    top, bottom = (_generator(ring, angles, line.height_mm) for line in (rims.top, rims.bottom))
    geometry = {"rim_px": ring.level.to_photo(np.concatenate([top, bottom[::-1]]))}
    if sightings:
        geometry["reference_px"] = np.concatenate([sighting.corners_px for sighting in sightings])
    return geometry
