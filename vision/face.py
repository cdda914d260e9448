"""A photo of the rotor's face, measured: rim and references found, one scene fitted, its lengths read off."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from uncertainties import UFloat, unumpy

from vision.camera import Pose
from vision.circle_pose import circle
from vision.figure import EdgeSamples
from vision.measurement import FloatArray, Measurement
from vision.photo import Photo
from vision.placing import Placed
from vision.references.find import find_references
from vision.references.floor import Floor
from vision.references.parse import TAG, Reference, parse_kind
from vision.references.tag import find_tags
from vision.request import Request
from vision.rim import ANGLES, Curve, Rim, follow_circle
from vision.rotor import find_rotor
from vision.scene import ROUNDS, Scene, fit_scene
from vision.start import NOMINAL_RADIUS_MM, RADIUS_STD, first_unknowns, lenses, plain_camera, poses_of
from vision.terms import CircleTerm, Term

LEAST_RIM_PX = 60.0
LEAST_IN_FRAME = 0.55
LEAST_SUPPORT = 0.3
STEEPEST_DEG = 65.0
ROUGH_SAMPLES, FINE_SAMPLES = 50, 240
ROUGH_ROUNDS = 2
TRIED_FINDS = 2
# How far from the last fit the rim is looked for, as shares of its radius.
FOLLOWED_SHARES = (0.008, 0.005)


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
    blank = Measurement(photo.name, "face")
    tags = _tags(photo, request, reference)
    rims = find_rotor(photo.bgr, photo.grey, [tag.sighting for tag in tags if tag.lies == "face"])
    if not rims:
        return blank.refuse("no-rotor")
    rim = rims[0]
    if rim.ellipse.radius_px < LEAST_RIM_PX:
        return blank.refuse("too-small")
    if rim.in_frame < LEAST_IN_FRAME:
        return blank.refuse("rim-out-of-frame")
    if rim.support < LEAST_SUPPORT:
        return blank.refuse("no-rotor")
    return _measured(photo, request, rim, [tuple(tags)] if tags else _lying(photo, request, reference, rim))


def _tags(photo: Photo, request: Request, reference: Reference) -> list[Placed]:
    """Return the face tags: they are found without knowing the rotor, and help to find it."""
    if reference.family not in ("tag", "auto"):
        return []
    printed = TAG if reference.family == "auto" else reference
    found = find_tags(photo.grey, printed, thorough=reference.family == "tag")
    return [Placed(tag, f"ref{number}", request.lies or "face") for number, tag in enumerate(found)]


def _lying(photo: Photo, request: Request, reference: Reference, rim: Rim) -> list[tuple[Placed, ...]]:
    """Return the few best finds of another kind than tags, each to be tried alone."""
    f35_mm = lenses(photo)[0][0]
    camera = plain_camera(photo, f35_mm)
    floors = [Floor.under(camera, pose, NOMINAL_RADIUS_MM) for pose in poses_of(photo, rim.ellipse, f35_mm)]
    finds = find_references(photo, reference, floors, request.lies)[:TRIED_FINDS]
    return [(Placed(find.sighting, "ref0", find.lies),) for find in finds]


def _measured(photo: Photo, request: Request, rim: Rim, choices: list[tuple[Placed, ...]]) -> Measurement:
    trials = [(placed, best_scene(photo, request, rim, placed)) for placed in choices]
    if not trials:
        scene = best_scene(photo, request, rim, ())
        return Measurement(photo.name, "face", geometry_px=_geometry(scene, ())).refuse("no-reference")
    placed, scene = min(trials, key=lambda trial: trial[1].misfit / trial[1].sample_count)
    answer = Measurement(photo.name, "face", geometry_px=_geometry(scene, placed))
    if scene.tilt_deg > STEEPEST_DEG:
        return answer.refuse("too-oblique")
    diameter: UFloat = 2 * unumpy.exp(np.array([scene.numbers["log_rim"]]))[0]
    return replace(answer, dimensions={"diameter_mm": diameter})


@dataclass(frozen=True)
class _Try:
    lens: tuple[float, float]
    pose: Pose


def best_scene(photo: Photo, request: Request, rim: Rim, placed: Sequence[Placed]) -> Scene:
    """Fit the scene from every lens and both tilts with a few samples, and the best once more with all."""
    tries = [_Try(lens, pose) for lens in lenses(photo) for pose in poses_of(photo, rim.ellipse, lens[0])]
    rough = [_fit(photo, request, _thinned(rim, placed, ROUGH_SAMPLES), trial) for trial in tries]
    best = min(range(len(tries)), key=lambda i: rough[i].misfit)
    scene = rough[best]
    for share in FOLLOWED_SHARES:
        samples = follow_circle(photo.bgr, _rim_curve(scene), rim.noise, max(3.0, share * rim.ellipse.radius_px))
        rim = replace(rim, samples=samples)
        scene = _fit(photo, request, _thinned(rim, placed, FINE_SAMPLES), tries[best], scene)
    return scene


def _rim_curve(scene: Scene) -> Curve:
    height, radius = -scene.values["chamfer"], scene.rim_radius_mm
    foot, out = (scene.to_pixels(circle(r, ANGLES, height)) for r in (radius, radius * 1.01))
    normal = out - foot
    # The picture of a radius is not quite the normal of the circle's picture: take the tangent's.
    tangent = np.roll(foot, -1, axis=0) - np.roll(foot, 1, axis=0)
    across = np.stack([tangent[:, 1], -tangent[:, 0]], axis=1)
    across *= np.sign((across * normal).sum(axis=1))[:, None]
    return foot, across / np.linalg.norm(across, axis=1)[:, None]


@dataclass(frozen=True)
class _Sights:
    rim: EdgeSamples
    placed: tuple[Placed, ...]


def _thinned(rim: Rim, placed: Sequence[Placed], count: int) -> _Sights:
    return _Sights(rim.samples.thinned(count), tuple(p.thinned(max(40, count // max(1, len(placed)))) for p in placed))


def _fit(photo: Photo, request: Request, sights: _Sights, trial: _Try, near: Scene | None = None) -> Scene:
    camera, pose, placed = plain_camera(photo, trial.lens[0]), trial.pose, sights.placed
    # A start at the reference's own scale: everything shrinks together about the camera.
    shrink = float(np.median([p.scale(camera, pose) for p in placed])) if placed else 1.0
    pose = Pose(pose.rotation, pose.centre_mm / shrink)
    unknowns = first_unknowns(photo, pose, trial.lens, request)
    unknowns.add("log_rim", np.log(NOMINAL_RADIUS_MM / shrink), 0.05, std=RADIUS_STD, mean=np.log(NOMINAL_RADIUS_MM))
    if not placed:
        unknowns.add("log_rim", np.log(NOMINAL_RADIUS_MM), 0.05, std=1e-6)
    terms: list[Term] = [CircleTerm(sights.rim, "log_rim", {"chamfer": -1.0}, "rim_offset")]
    for reference in placed:
        reference.add_unknowns(unknowns, camera, pose, request)
        terms.append(reference.term(request))
    if near is not None:
        unknowns = unknowns.restart(near.values)
    rounds = ROUGH_ROUNDS if near is None else ROUNDS
    return fit_scene(unknowns, terms, pose.rotation, (photo.width, photo.height), rounds=rounds)


def _geometry(scene: Scene, placed: Sequence[Placed]) -> dict[str, FloatArray]:
    geometry = {"rim_px": scene.to_pixels(circle(scene.rim_radius_mm, 72))}
    if placed:
        geometry["reference_px"] = np.concatenate([p.sighting.corners_px for p in placed])
    return geometry
