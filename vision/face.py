"""A photo of the rotor's face, measured: rim and references found, one scene fitted, its lengths read off."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from uncertainties import UFloat, umath

from vision.assemble import FINE_SAMPLES, Sights, Start, first_scene, fit
from vision.bolts import find_bolts
from vision.circle_pose import circle
from vision.describe import RingDescription, describe_ring
from vision.focus import sharpness
from vision.measurement import FloatArray, Measurement
from vision.photo import Photo
from vision.placing import Placed, hat_top
from vision.references.find import SURE_SCORE, find_references
from vision.references.floor import Floor
from vision.references.marked import place_marks
from vision.references.parse import TAG, Reference, parse_kind
from vision.references.tag import find_tags
from vision.request import Request
from vision.rim import LEAST_MARKS, Rim, marked_rim
from vision.rim_edge import rim_edges_mm
from vision.rotor import USUAL_DIAMETER_MM, USUAL_SPREAD, find_rotor
from vision.scene import Scene
from vision.start import NOMINAL_RADIUS_MM, lenses, maybe_cropped, plain_camera, poses_of
from vision.top_view import top_view
from vision.wall import find_wall

LEAST_RIM_PX = 60.0
LEAST_IN_FRAME = 0.55
LEAST_SUPPORT = 0.3
STEEPEST_DEG = 62.0
TRIED_FINDS, TRIED_RIMS = 2, 3
# What speaks against the likeliest rim and its reference, up to which no other is tried; the likeness that a photo
# without the reference that was named stands for; references that need no search.
CONVINCING, LIKENESS_OF_NONE = 2.0, 0.05
UNSCALED = ("auto", "bolt-circle", "points")
# Doubt within which, and difference of the logarithms of their sizes from which, two trials are open; bolt circles of
# cars and their spread as a share, common practice; what the evidence of clear bolts counts for.
OPEN_DOUBT, OTHER_SCALE = 3.0, 0.05
USUAL_PITCH_MM, PITCH_SPREAD, BOLTS_WEIGHT = 114.0, 0.09, 0.1
# Up to six bolts stand on circles between these, common practice with room; from this probability they are surely that.
MOST_CAR_BOLTS, PITCH_MM, SURE_BOLTS = 6, (88.0, 172.0), 0.95
# Sharpness under which a photo that shows nothing is blurred, and under which nothing it shows counts.
SOFT, HOPELESS = 0.15, 0.09
# No car's rotor is smaller or larger, common practice with room.
DIAMETER_MM = (215.0, 460.0)
# Bicycles' discs, pulleys and the like are between these, and not so small that a card's print is taken for a card.
RECTANGLES, SMALL_MM = ("card", "sheet"), (110.0, 205.0)
# Residuals of a reference's edges, in standard deviations, above which its shape contradicts the scene.
WORST_REFERENCE = 6.0
# The same for rim and references together, outliers weighed down.
WORST_STRAIN = 2.6
OBLIQUE_DEG, SHORT_ARC, SMALL_REFERENCE_PX = 40.0, 0.45, 70.0
BENCH_THICKNESS_STD_MM = 2.0
HEIGHT_STD_MM = 6.0
UNCHECKED_STD = 0.02
# Photos hold more doubt than the scene models: tilts of small references, lenses, rims taken for chamfers. Of 137
# photos that no table knows, half lie where 0.9 times the bare deviation would have them, nine in ten where 1.3 times
# would, 19 in 20 where 1.43 times would.
UNMODELLED = 1.45
# A printed tag's white border, over the tag: a cell of its eight on each side, and the cut.
TAG_PAPER = 1.3


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
    tags = _tags(photo, request, reference)
    if request.rim_xy_px is not None and len(request.rim_xy_px) >= LEAST_MARKS:
        rims = [marked_rim(request.rim_xy_px)]
    else:
        rims = find_rotor(photo.bgr, photo.grey, [tag.sighting for tag in tags if tag.lies == "face"])
    rims = [rim for rim in rims if rim.support >= LEAST_SUPPORT][:TRIED_RIMS]
    if not rims:
        return blank.refuse(*_soft(sharp), "no-rotor")
    usable = [rim for rim in rims if not _unusable(rim)]
    if not usable:
        return blank.refuse(_unusable(rims[0]))
    trial = _best_trial(photo, request, reference, usable, tags)
    return _judged(photo, (request, reference), trial.rim, _seen(photo, request, reference, trial), sharp)


def _soft(sharp: float) -> tuple[str, ...]:
    """Return what a photo may show nothing for."""
    return ("blurred",) if sharp < SOFT else ()


def _unusable(rim: Rim) -> str:
    """Return the code for which a rim can't be measured, empty where it can."""
    if rim.ellipse.radius_px < LEAST_RIM_PX:
        return "too-small"
    return "rim-out-of-frame" if rim.in_frame < LEAST_IN_FRAME else ""


def _tags(photo: Photo, request: Request, reference: Reference) -> list[Placed]:
    """Return the face tags: they are found without knowing the rotor, and help to find it."""
    if reference.family not in ("tag", "auto"):
        return []
    if reference.family == "tag" and request.reference_xy_px is not None:
        return _marked(request, reference)
    printed = TAG if reference.family == "auto" else reference
    found = find_tags(photo.grey, printed, thorough=reference.family == "tag")
    return [Placed(tag, f"ref{number}", request.lies or "face") for number, tag in enumerate(found)]


def _marked(request: Request, reference: Reference) -> list[Placed]:
    """Return the reference where a person marked it."""
    marks = np.empty((0, 2)) if request.reference_xy_px is None else request.reference_xy_px
    found = place_marks(reference, marks)
    return [Placed(sighting, f"ref{number}", request.lies or reference.lies) for number, sighting in enumerate(found)]


def _lying(photo: Photo, request: Request, reference: Reference, rim: Rim) -> list[tuple[Placed, ...]]:
    """Return the few best finds of another kind than tags, each to be tried alone; where it was marked, only that."""
    marked = _marked(request, reference)
    if marked:
        return [tuple(marked)]
    finds = find_references(photo, reference, _floors(photo, rim), request.lies)[:TRIED_FINDS]
    return [(Placed(find.sighting, "ref0", find.lies),) for find in finds]


def _floors(photo: Photo, rim: Rim) -> list[Floor]:
    return [
        Floor.under(plain_camera(photo, f35_mm), pose, NOMINAL_RADIUS_MM)
        for f35_mm, _ in lenses(photo)
        for pose in poses_of(photo, rim.ellipse, f35_mm)
    ]


def _is_small(photo: Photo, request: Request, reference: Reference, rim: Rim) -> bool:
    """Whether a card or sheet shows beside a circle by which that is too small for a car's rotor."""
    if reference.family not in RECTANGLES:
        return False
    floors = [replace(floor, diameters_mm=SMALL_MM) for floor in _floors(photo, rim)]
    return any(find.sighting.score >= SURE_SCORE for find in find_references(photo, reference, floors, request.lies))


@dataclass(frozen=True)
class _Trial:
    """A rim and a choice of references taken together, their first scene, and how much speaks against them."""

    rim: Rim
    scene: Scene
    start: Start
    sights: Sights
    doubt: float

    @classmethod
    def of(cls, photo: Photo, request: Request, rim: Rim, placed: tuple[Placed, ...]) -> "_Trial":
        scene, start, sights = first_scene(photo, request, rim, placed)
        return cls(rim, scene, start, sights, _doubt(scene, sights, rim))


def _doubt(scene: Scene, sights: Sights, rim: Rim) -> float:
    """Rate rim and references: how ill they fit, how unlike what they are taken for they look, how odd a size."""
    likeness = min((placed.sighting.score for placed in sights.placed), default=LIKENESS_OF_NONE)
    odd = _oddness(scene.rim_radius_mm) if sights.scaled else 0.0
    return scene.misfit / scene.sample_count - float(np.log(max(likeness, 0.01) * rim.rating)) + 0.5 * odd**2


def _oddness(radius_mm: float) -> float:
    """Return by how many deviations a rotor's size is unlike the usual."""
    return float(np.log(2 * radius_mm / USUAL_DIAMETER_MM) / USUAL_SPREAD)


def _best_trial(
    photo: Photo, request: Request, reference: Reference, rims: Sequence[Rim], tags: Sequence[Placed]
) -> _Trial:
    """Try the likeliest rim with each find of a reference, and the others where that leaves room for doubt."""
    trials: list[_Trial] = []
    for rim in rims:
        choices = [tuple(tags)] if tags else _lying(photo, request, reference, rim)
        trials += [_Trial.of(photo, request, rim, placed) for placed in choices or [()]]
        best = _likeliest(photo, request, trials)
        if best.doubt + float(np.log(rims[0].rating)) < CONVINCING or reference.family in UNSCALED:
            break
    return best


def _likeliest(photo: Photo, request: Request, trials: Sequence[_Trial]) -> _Trial:
    """Choose the trial with the least doubt; where others of another scale are hardly worse, by the bolts' circle too.

    A sheet half under the rotor may be cut off along either side: the photo fits both, but bolt circles vary less in
    size than rotors do.
    """
    best = min(trials, key=_doubt_of)
    rivals = [trial for trial in trials if trial.doubt < best.doubt + OPEN_DOUBT and trial.sights.scaled]
    sizes = [trial.scene.values["log_rim"] for trial in rivals]
    if len(rivals) < TRIED_FINDS or max(sizes) - min(sizes) < OTHER_SCALE:
        return best
    return min(rivals, key=lambda trial: trial.doubt + _bolts_doubt(photo, request, trial))


def _doubt_of(trial: _Trial) -> float:
    return trial.doubt


def _bolts_doubt(photo: Photo, request: Request, trial: _Trial) -> float:
    """Rate a trial's scene by how clear its bolts are and how odd their circle's size, and its rotor's size no more."""
    outlines = [trial.scene.to_plane(_outline_px(placed), 0.0) for placed in trial.sights.placed]
    bolts = find_bolts(top_view(photo.grey, trial.scene, outlines), hat_up=request.hat_up)
    if bolts is None:
        return 0.0
    odd = np.log(2 * bolts.circle_mm / USUAL_PITCH_MM) / PITCH_SPREAD
    return float(0.5 * (odd**2 - _oddness(trial.scene.rim_radius_mm) ** 2) - BOLTS_WEIGHT * bolts.evidence)


@dataclass(frozen=True)
class _Seen:
    """A photo's scene, which way up its rotor was taken to lie, and all that was read from it."""

    request: Request
    scene: Scene
    sights: Sights
    ring: RingDescription


def _seen(photo: Photo, request: Request, reference: Reference, trial: _Trial) -> _Seen:
    """Describe the ring, and fit once more with all that the photo shows."""
    scene, sights = trial.scene, trial.sights
    outlines = [_outline_px(placed) for placed in sights.placed]
    ring = describe_ring(photo, scene, hidden_px=outlines, hat_up=request.hat_up)
    told, request = request, _with_hat(request, ring)
    if request.hat == "down" != told.hat and any(placed.lies == "bench" for placed in sights.placed):
        # The bench is farther down than was taken for granted, and with it the reference's place in the scene.
        trial = _Trial.of(photo, request, trial.rim, sights.placed)
        scene, sights = trial.scene, trial.sights
    pitch_mm = reference.size_mm[0] if reference.family == "bolt-circle" and "bolt_circle" in ring.circles else None
    wall = None if trial.rim.by_hand else find_wall(photo.bgr, scene, trial.rim.noise)
    edges_mm = rim_edges_mm(photo.bgr, scene, sights.rim) if sights.placed else {}
    sights = replace(sights, wall=wall, circles=ring.circles, pitch_mm=pitch_mm, rim_edges_mm=edges_mm)
    scene = fit(photo, request, sights.thinned(FINE_SAMPLES), trial.start, scene)
    return _Seen(request, replace(scene, covariance=scene.covariance * UNMODELLED**2), sights, ring)


def _outline_px(placed: Placed) -> FloatArray:
    """Outline of what a reference hides, (K, 2): a tag's with the white round it."""
    corners = placed.sighting.corners_px
    grown = TAG_PAPER if placed.sighting.figure.kind.startswith("tag") else 1.0
    return np.asarray(corners.mean(axis=0) + grown * (corners - corners.mean(axis=0)))


def _with_hat(request: Request, ring: RingDescription) -> Request:
    if request.hat != "auto" or ring.middle.hat_up is None:
        return request
    return replace(request, hat="up" if ring.middle.hat_up else "down")


def _judged(photo: Photo, asked: tuple[Request, Reference], rim: Rim, seen: _Seen, sharp: float) -> Measurement:
    """Read the answer off a scene, refused where it can't be trusted, with notices where it is weak."""
    request, reference = asked
    answer = _read(photo, seen)
    scene, sights = seen.scene, seen.sights
    if scene.tilt_deg > STEEPEST_DEG:
        return answer.refuse("too-oblique")
    if not _looks_like_a_rotor(seen, scene.rim_radius_mm if sights.scaled else None):
        return answer.refuse("no-rotor")
    if not sights.scaled:
        missing = "no-rotor" if _is_small(photo, request, reference, rim) else "no-reference"
        return answer.refuse(*_soft(sharp), missing)
    if _worst_reference(scene, sights) > WORST_REFERENCE or scene.strain > WORST_STRAIN or _odd_bolts(seen):
        return answer.refuse("disagreement")
    return answer.warn(*_notices(photo, request, rim, seen, sharp))


def _looks_like_a_rotor(seen: _Seen, radius_mm: float | None) -> bool:
    if radius_mm is None:
        return seen.ring.looks_like_a_rotor()
    usual_size = float(np.exp(-0.5 * _oddness(radius_mm) ** 2))
    return DIAMETER_MM[0] <= 2 * radius_mm <= DIAMETER_MM[1] and seen.ring.looks_like_a_rotor(usual_size)


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
        "copy-without-exif": photo.f35_mm is None and maybe_cropped(photo),
        "soft": sharp < SOFT,
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
    radii |= {f"{name}_mm": scene.numbers[f"log_{name}"] for name in ring.circles}
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
