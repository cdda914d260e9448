"""A photo of the rotor's face, measured: rim and references found, one scene fitted, its lengths read off."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from uncertainties import UFloat, ufloat, umath

from vision.assemble import FINE_SAMPLES, Sights, fit
from vision.circle_pose import circle
from vision.concentric import Circle
from vision.describe import RingDescription, describe_ring
from vision.focus import HOPELESS, sharpness, softness
from vision.lens_doubt import of_likelier_lens
from vision.measurement import FloatArray, Measurement
from vision.near import seen_near
from vision.photo import Photo
from vision.placing import Placed, hat_top
from vision.references.parse import Reference, parse_kind
from vision.request import Request
from vision.rim import LEAST_MARKS, Rim, marked_rim
from vision.rotor import find_rotor
from vision.scene import Scene
from vision.trial import DIAMETER_MM, Trial, best_trial, face_tags, is_small, oddness, outline_px
from vision.wall import find_wall

LEAST_RIM_PX = 60.0
LEAST_IN_FRAME = 0.55
LEAST_SUPPORT = 0.3
STEEPEST_DEG = 62.0
TRIED_RIMS = 3
# Up to six bolts stand on circles between these, common practice with room; from this probability they are surely that.
MOST_CAR_BOLTS, PITCH_MM, SURE_BOLTS = 6, (88.0, 172.0), 0.95
# Evidence from which a rim is a rotor's, whatever else is seen of it: of 32 photos of other round things, and of rotors
# that can't be measured, none has so much, of 154 rotors five in six.
CLEAR_RIM = 3.45
# Residuals of a reference's edges, in standard deviations, above which its shape contradicts the scene.
WORST_REFERENCE = 6.0
# The same for rim and references together, outliers weighed down.
WORST_STRAIN = 2.9
# How far, in deviations, references that contradict each other may bend the camera away from what is known of it: of
# 330 measured photos the worst has 3.2, of 5 whose references contradict each other three have 8.6 to 9.5.
WORST_CAMERA = 5.0
OBLIQUE_DEG, SHORT_ARC, SMALL_REFERENCE_PX = 40.0, 0.45, 70.0
BENCH_THICKNESS_STD_MM = 2.0
HEIGHT_STD_MM = 6.0
UNCHECKED_STD = 0.02


def measure_face(photo: Photo, request: Request) -> Measurement:
    """Measure a photo of a rotor's face.

    Parameters
    ----------
    photo : Photo
    request : Request

    Returns
    -------
    Measurement
        Refused, with reasons, where the photo can't support a diameter; never raises for a poor photo.

    Raises
    ------
    ValueError
        For a reference KIND that is not one.
    """
    reference = parse_kind(request.reference)
    if request.lies == "hat" and request.hat == "auto" and reference.family != "bolt-circle":
        request = replace(request, hat="up")  # nothing lies on a hat that stands the other way
    blank = Measurement(photo.name, "face")
    sharp = sharpness(photo.grey)
    if sharp < HOPELESS:
        return blank.refuse("blurred")
    tags = face_tags(photo, request, reference)
    if request.rim_xy_px is not None and len(request.rim_xy_px) >= LEAST_MARKS:
        rims = [marked_rim(request.rim_xy_px)]
    else:
        rims = find_rotor(photo.bgr, photo.grey, [tag.sighting for tag in tags if tag.lies == "face"])
    rims = [rim for rim in rims if rim.support >= LEAST_SUPPORT][:TRIED_RIMS]
    if not rims:
        return blank.refuse(*softness(sharp), "no-rotor")
    usable = [rim for rim in rims if not _unusable(rim)]
    if not usable:
        return blank.refuse(_unusable(rims[0]))
    trial = best_trial(photo, request, reference, usable, tags)
    return _judged(photo, request, trial.rim, _seen(photo, request, reference, trial), sharp)


def _unusable(rim: Rim) -> str:
    """Return the code for which a rim can't be measured, empty where it can."""
    if rim.ellipse.radius_px < LEAST_RIM_PX:
        return "too-small"
    return "rim-out-of-frame" if rim.in_frame < LEAST_IN_FRAME else ""


@dataclass(frozen=True)
class _Seen:
    """A photo's scene, which way up its rotor was taken to lie, and all that was read from it."""

    request: Request
    scene: Scene
    sights: Sights
    ring: RingDescription


def _seen(photo: Photo, request: Request, reference: Reference, trial: Trial) -> _Seen:
    """Describe the ring, and fit once more with all that the photo shows."""
    scene, sights = _near(photo, request, trial, trial.scene, trial.sights)
    outlines = [outline_px(placed) for placed in sights.placed]
    ring = describe_ring(photo, scene, hidden_px=outlines, hat_up=request.hat_up)
    told, request = request, _with_hat(request, ring)
    if request.hat == "down" != told.hat and any(placed.lies == "bench" for placed in sights.placed):
        # The bench is farther down than was taken for granted, and with it the reference's place in the scene.
        trial = Trial.of(photo, request, trial.rim, trial.sights.placed)
        scene, sights = _near(photo, request, trial, trial.scene, trial.sights)
    pitch_mm = reference.size_mm[0] if reference.family == "bolt-circle" and "bolt_circle" in ring.circles else None
    wall = None if trial.rim.by_hand else find_wall(photo.bgr, scene, trial.rim.noise)
    sights = replace(sights, wall=wall, circles=ring.circles, pitch_mm=pitch_mm)
    scene, sights = _near(photo, request, trial, scene, sights)
    scene = of_likelier_lens(photo, request, sights.thinned(FINE_SAMPLES), trial.start, scene)
    return _Seen(request, scene, sights, ring)


def _near(photo: Photo, request: Request, trial: Trial, scene: Scene, sights: Sights) -> tuple[Scene, Sights]:
    """Look from near, and fit once more."""
    sights = seen_near(photo.bgr, request, scene, sights, by_hand=trial.rim.by_hand)
    return fit(photo, request, sights.thinned(FINE_SAMPLES), trial.start, scene), sights


def _with_hat(request: Request, ring: RingDescription) -> Request:
    if request.hat != "auto" or ring.middle.hat_up is None:
        return request
    return replace(request, hat="up" if ring.middle.hat_up else "down")


def _judged(photo: Photo, request: Request, rim: Rim, seen: _Seen, sharp: float) -> Measurement:
    """Read the answer off a scene, refused where it can't be trusted, with notices where it is weak."""
    answer = _read(photo, seen)
    scene, sights = seen.scene, seen.sights
    if scene.tilt_deg > STEEPEST_DEG:
        return answer.refuse("too-oblique")
    if not _looks_like_a_rotor(seen, rim, scene.rim_radius_mm if sights.scaled else None):
        return answer.refuse("no-rotor")
    if not sights.scaled and is_small(photo, request, rim):
        return Measurement(photo.name, "face").refuse(*softness(sharp), "no-rotor")
    if not sights.scaled:
        return answer.refuse(*softness(sharp), "no-reference")
    strained = scene.strain > WORST_STRAIN or scene.camera_strain > WORST_CAMERA
    if strained or _worst_reference(scene, sights) > WORST_REFERENCE or _odd_bolts(seen):
        return answer.refuse("disagreement")
    answer = replace(answer, details={**answer.details, "diameter_floor_mm": _floor_mm(scene)})
    return answer.warn(*_notices(photo, request, rim, seen, sharp))


def _looks_like_a_rotor(seen: _Seen, rim: Rim, radius_mm: float | None) -> bool:
    usual_size = 1.0 if radius_mm is None else float(np.exp(-0.5 * oddness(radius_mm) ** 2))
    of_a_car = radius_mm is None or DIAMETER_MM[0] <= 2 * radius_mm <= DIAMETER_MM[1]
    return of_a_car and (rim.evidence > CLEAR_RIM or seen.ring.looks_like_a_rotor(usual_size))


def _odd_bolts(seen: _Seen) -> bool:
    """Whether the bolts stand on a circle of a size that no car has: then the scale is wrong."""
    count, probability = seen.ring.bolt_count or (0, 0.0)
    if "bolt_circle" not in seen.ring.circles or count > MOST_CAR_BOLTS or probability < SURE_BOLTS:
        return False
    pitch_mm = 2 * umath.exp(seen.scene.numbers["log_bolt_circle"])
    least_mm, most_mm = pitch_mm.nominal_value - 2 * pitch_mm.std_dev, pitch_mm.nominal_value + 2 * pitch_mm.std_dev
    return bool(most_mm < PITCH_MM[0] or least_mm > PITCH_MM[1])


def _worst_reference(scene: Scene, sights: Sights) -> float:
    return max((scene.root_mean_square(f"{placed.name}_offset") for placed in sights.placed), default=0.0)


def _notices(photo: Photo, request: Request, rim: Rim, seen: _Seen, sharp: float) -> list[str]:
    scene, placed = seen.scene, seen.sights.placed
    small = bool(placed) and min(_extent_px(p) for p in placed) < SMALL_REFERENCE_PX
    on_bench = any(p.lies == "bench" for p in placed)
    said = {
        "reference-on-bench": on_bench and _bench_doubt_mm(scene, request) > BENCH_THICKNESS_STD_MM,
        "oblique": scene.tilt_deg > OBLIQUE_DEG,
        "short-arc": rim.support * rim.in_frame < SHORT_ARC,
        "small-reference": small,
        "focal-length-unknown": photo.f35_mm is None,
        "print-unchecked": any(_is_unchecked_print(p) for p in placed),
        "copy-without-exif": photo.f35_mm is None and photo.is_copy,
        "soft": bool(softness(sharp)),
    }
    return [code for code, holds in said.items() if holds]


def _bench_doubt_mm(scene: Scene, request: Request) -> float:
    name = "height" if request.hat == "down" else "thickness"
    doubt_mm: float = scene.numbers[name].std_dev
    return doubt_mm


def _is_unchecked_print(placed: Placed) -> bool:
    figure = placed.sighting.figure
    return figure.kind.startswith("tag") and figure.size_std[0] > UNCHECKED_STD


def _extent_px(placed: Placed) -> float:
    corners = placed.sighting.corners_px
    return float(np.linalg.norm(corners.max(axis=0) - corners.min(axis=0)) / np.sqrt(2))


def _read(photo: Photo, seen: _Seen) -> Measurement:
    scene, ring = seen.scene, seen.ring
    radii = {"diameter_mm": scene.numbers["log_rim"]}
    radii |= {f"{name}_mm": _log_radius(scene, each) for name, each in seen.sights.circles.items()}
    lengths = {key: 2 * umath.exp(radius) for key, radius in radii.items()}
    ratios = {
        f"{key.removesuffix('_mm')}_over_diameter": umath.exp(radius - radii["diameter_mm"])
        for key, radius in radii.items()
        if key != "diameter_mm"
    }
    return Measurement(
        photo.name,
        "face",
        dimensions=(lengths | _heights(seen)) if seen.sights.scaled else {},
        ratios=ratios,
        surface=ring.surface.probabilities,
        construction=ring.construction,
        bolt_count=ring.bolt_count,
        geometry_px=_geometry(seen),
        features_px=ring.outlines_px,
        details={**ring.details, "references": _kinds(seen.sights.placed)},
    )


def _log_radius(scene: Scene, seen: Circle) -> UFloat:
    """Return a circle's radius as it was fitted, and what doubt there is whether that is the circle's own edge."""
    fitted: UFloat = scene.numbers[f"log_{seen.name}"]
    other = seen.other_std_mm / seen.radius_mm if seen.seen_near else 0.0
    return fitted + ufloat(0.0, other) if other else fitted


def _floor_mm(scene: Scene) -> float:
    """Return the least deviation of the diameter that a photo's geometry allows."""
    return round(2 * scene.rim_radius_mm * scene.floors["log_rim"], 3)


def _kinds(placed: Sequence[Placed]) -> list[str]:
    """Return what references are called when they are asked for; each tag's figure bears its own number."""
    return sorted({p.sighting.figure.kind.split()[0] for p in placed})


def _heights(seen: _Seen) -> dict[str, UFloat]:
    """Return thickness and overall height where the photo shows them."""
    shown = {"thickness": seen.sights.wall is not None, "height": "bolt_circle" in seen.ring.circles}
    heights = {f"{name}_mm": seen.scene.numbers[name] for name, shows in shown.items() if shows}
    return {name: height for name, height in heights.items() if height.std_dev < HEIGHT_STD_MM}


def _geometry(seen: _Seen) -> dict[str, FloatArray]:
    scene, values = seen.scene, seen.scene.values
    hat_mm = sum(share * values[name] for name, share in hat_top(seen.request.hat).items())
    geometry = {"rim_px": scene.to_pixels(circle(scene.rim_radius_mm, 72))}
    if seen.sights.placed:
        geometry["reference_px"] = np.concatenate([p.sighting.corners_px for p in seen.sights.placed])
    for name in seen.ring.circles:
        height = 0.0 if name == "ring_inner" else hat_mm
        geometry[f"{name}_px"] = scene.to_pixels(circle(float(np.exp(values[f"log_{name}"])), 72, height))
    return geometry
