"""A photo of the rotor's edge, measured: the friction ring's thickness, and whether it is vented."""

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from uncertainties import UFloat, ufloat

from vision.edge_fine import Ring
from vision.edge_level import quarter_turned
from vision.edge_look import Wall, is_rusty, vane_count, ventilation
from vision.edge_reference import in_sight, upright_references
from vision.edge_rims import Rims, likely_rims, rim_lines
from vision.edge_ring import find_ring
from vision.edge_scene import EdgeScene, fit_edge
from vision.edge_start import with_lines
from vision.edge_unrolled import Unrolled
from vision.figure import Sighting
from vision.focus import sharpness
from vision.measurement import FloatArray, Measurement
from vision.photo import Photo
from vision.references.parse import parse_kind
from vision.request import Request

# Sharpness under which no edge can be placed.
HOPELESS, SOFT = 0.09, 0.15
# The least of the rim's thickness, px, and of its width.
LEAST_THICK_PX, LEAST_WIDTH_PX = 18.0, 150.0
MARGIN_MM = 14.0
# A pair of edges less probable than this supports no number; one more probable than that needs no widening by the
# others; others less probable than the last count for nothing.
UNSURE, SURE, NEGLIGIBLE = 0.6, 0.9, 0.01
# What an edge's own place and the chamfer's bend add, mm; how much wider errors are than the fit says, on photos of
# the fitting set.
EDGE_STD_MM, WIDER = 0.08, 1.0
# Without a reference, the scale comes from the outline's two ends.
BOTH_ENDS = 2


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
    rims = [] if ring is None else _rims_of(ring)
    if ring is None or not rims:
        return blank.refuse("blurred" if sharp < SOFT else "no-rotor")
    found = _described(replace(blank, thickness_over="lip"), photo, ring, rims[0], sightings)
    refusals = _refusals(ring, rims, sightings, request)
    if refusals:
        return found.refuse(*refusals)
    return replace(found, dimensions={"thickness_mm": _thickness(ring, rims)})


def _rims_of(ring: Ring) -> list[Rims]:
    return likely_rims(rim_lines(unrolled_of(ring)))


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
    if not sightings and len(ring.seen.ends_px) < BOTH_ENDS:
        return ["rim-out-of-frame"]
    return ["no-rotor"] if _sureness(rims) < UNSURE else []


def _width_px(ring: Ring) -> float:
    ends = _generator(ring, np.array([-1.0, 1.0]) * ring.along.last_angle_rad * 0.999, 0.0)
    return float(np.linalg.norm(ends[1] - ends[0]))


def _generator(ring: Ring, angles_rad: FloatArray, height_mm: float) -> FloatArray:
    return ring.along.pixels(ring.along.points(angles_rad, height_mm, ring.along.radius_mm))


def _sureness(rims: Sequence[Rims]) -> float:
    """Return how probable it is that the likeliest pair's thickness is right to within an edge's own doubt."""
    return sum(other.probability for other in rims if abs(other.thickness_mm - rims[0].thickness_mm) < 3 * EDGE_STD_MM)


def _thickness(ring: Ring, rims: Sequence[Rims]) -> UFloat:
    """Fit the scene once more with the two edges where the faces end, and widen by what else they may be."""
    best = rims[0]
    scene = _fitted(ring, best)
    thickness: UFloat = scene.line_number(0) - scene.line_number(1)
    others = [rim for rim in rims if rim.probability > NEGLIGIBLE and _sureness(rims) < SURE]
    doubt = sum(rim.probability * (rim.thickness_mm - best.thickness_mm) ** 2 for rim in others)
    std_mm = float(np.sqrt((WIDER * thickness.std_dev) ** 2 + 2 * EDGE_STD_MM**2 + doubt))
    return ufloat(thickness.nominal_value, std_mm)


def _fitted(ring: Ring, rims: Rims) -> EdgeScene:
    edges = (rims.top, rims.bottom)
    heights = [ring.scene.line_mm(number) for number in range(len(ring.seen.lines))]
    inner = [
        number
        for number, height in enumerate(heights)
        if min(abs(height - edge.height_mm) for edge in edges) > 3 * EDGE_STD_MM
    ]
    lines = [edge.points_px for edge in edges] + [ring.seen.lines[number] for number in inner]
    seen = replace(ring.seen, lines=lines, corner=[True, True] + [False] * len(inner))
    starts = [edge.height_mm for edge in edges] + [heights[number] for number in inner]
    known = {name: value for name, value in ring.scene.values.items() if name in ring.unknowns.table}
    return fit_edge(with_lines(ring.unknowns, starts).restart(known), seen, ring.level.size_px)


def _described(found: Measurement, photo: Photo, ring: Ring, rims: Rims, sightings: Sequence[Sighting]) -> Measurement:
    """Add what needs no scale: the outline, vented or solid, vanes, rust."""
    wall = Wall(unrolled_of(ring), (rims.bottom.height_mm, rims.top.height_mm))
    vented = ventilation(wall)
    vanes = vane_count(wall) if vented["vented"] > 0.5 else None
    details = {} if vanes is None else {"vane_count": {"low": vanes[0], "high": vanes[1]}}
    bgr = quarter_turned(photo.bgr) if ring.level.turned else photo.bgr
    warnings = ["lip-seen"] + (["rust-on-edge"] if is_rusty(bgr, wall) else [])
    geometry = _geometry(ring, rims, sightings)
    return replace(found, ventilation=vented, details=details, geometry_px=geometry).warn(*warnings)


def _geometry(ring: Ring, rims: Rims, sightings: Sequence[Sighting]) -> dict[str, FloatArray]:
    angles = np.linspace(-0.999, 0.999, 40) * ring.along.last_angle_rad
    top, bottom = (_generator(ring, angles, line.height_mm) for line in (rims.top, rims.bottom))
    geometry = {"rim_px": ring.level.to_photo(np.concatenate([top, bottom[::-1]]))}
    if sightings:
        geometry["reference_px"] = np.concatenate([sighting.corners_px for sighting in sightings])
    return geometry
