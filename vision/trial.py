"""Rims and references tried together: which of them make a scene that there is the least reason to doubt."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from vision.assemble import Sights, Start, first_scene
from vision.bolts import find_bolts
from vision.lens import lenses, plain_camera
from vision.measurement import FloatArray
from vision.photo import Photo
from vision.placing import Placed
from vision.references.find import SURE_SCORE, find_references
from vision.references.floor import Floor
from vision.references.marked import place_marks
from vision.references.parse import TAG, Reference, parse_kind
from vision.references.tag import find_tags
from vision.request import Request
from vision.rim import Rim
from vision.rotor import USUAL_DIAMETER_MM, USUAL_SPREAD
from vision.scene import Scene
from vision.start import NOMINAL_RADIUS_MM, poses_of
from vision.top_view import top_view

TRIED_FINDS = 3
# No car's rotor is smaller or larger, common practice with room.
DIAMETER_MM = (215.0, 460.0)
# What speaks against the likeliest rim and its reference, up to which no other is tried; the likeness that a photo
# without the reference that was named stands for; references that need no search.
CONVINCING, LIKENESS_OF_NONE = 2.0, 0.05
UNSCALED = ("auto", "bolt-circle", "points")
# Doubt within which, and difference of the logarithms of their sizes from which, two trials are open; bolt circles of
# cars and their spread as a share, common practice; what the evidence of clear bolts counts for.
OPEN_DOUBT, OTHER_SCALE = 3.0, 0.05
USUAL_PITCH_MM, PITCH_SPREAD, BOLTS_WEIGHT = 114.0, 0.09, 0.1
# Bicycles' discs, pulleys and the like are between these, and not so small that a card's print is taken for a card.
RECTANGLES, SMALL_MM = ("card", "sheet"), (110.0, 205.0)
# A printed tag's white border, over the tag: a cell of its eight on each side, and the cut.
TAG_PAPER = 1.3


def face_tags(photo: Photo, request: Request, reference: Reference) -> list[Placed]:
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
    finds = find_references(photo, reference, floors_of(photo, rim), request.lies)[:TRIED_FINDS]
    return [(Placed(find.sighting, "ref0", find.lies),) for find in finds]


def floors_of(photo: Photo, rim: Rim) -> list[Floor]:
    """Return where a rim's face may be: both tilts, for the likeliest lens first."""
    return [
        Floor.under(plain_camera(photo, lens.f35_mm), pose, NOMINAL_RADIUS_MM)
        for lens in lenses(photo)
        for pose in poses_of(photo, rim.ellipse, lens.f35_mm)
    ]


def is_small(photo: Photo, request: Request, rim: Rim) -> bool:
    """Whether the card or sheet that was asked for shows a circle to be too small for a car's rotor."""
    reference = parse_kind(request.reference)
    if reference.family not in RECTANGLES:
        return False
    floors = [replace(floor, diameters_mm=SMALL_MM) for floor in floors_of(photo, rim)]
    return any(find.sighting.score >= SURE_SCORE for find in find_references(photo, reference, floors, request.lies))


@dataclass(frozen=True)
class Trial:
    """A rim and a choice of references taken together, their first scene, and how much speaks against them.

    Attributes
    ----------
    rim : Rim
    scene : Scene
    start : Start
    sights : Sights
    doubt : float
        Nats, comparable within one photo.
    """

    rim: Rim
    scene: Scene
    start: Start
    sights: Sights
    doubt: float

    @classmethod
    def of(cls, photo: Photo, request: Request, rim: Rim, placed: tuple[Placed, ...]) -> "Trial":
        """Fit the first scene."""
        scene, start, sights = first_scene(photo, request, rim, placed)
        return cls(rim, scene, start, sights, _doubt(scene, sights, rim))


def _doubt(scene: Scene, sights: Sights, rim: Rim) -> float:
    """Rate rim and references: how ill they fit, how unlike what they are taken for they look, how odd a size."""
    likeness = min((placed.sighting.score for placed in sights.placed), default=LIKENESS_OF_NONE)
    odd = oddness(scene.rim_radius_mm) if sights.scaled else 0.0
    return scene.misfit / scene.sample_count - float(np.log(max(likeness, 0.01) * rim.rating)) + 0.5 * odd**2


def oddness(radius_mm: float) -> float:
    """Return by how many deviations a rotor's size is unlike the usual."""
    return float(np.log(2 * radius_mm / USUAL_DIAMETER_MM) / USUAL_SPREAD)


def best_trial(
    photo: Photo, request: Request, reference: Reference, rims: Sequence[Rim], tags: Sequence[Placed]
) -> Trial:
    """Try the likeliest rim with each find of a reference, and the others where that leaves room for doubt.

    Parameters
    ----------
    photo : Photo
    request : Request
    reference : Reference
        What the request names.
    rims : sequence of Rim
        Likeliest first, at least one.
    tags : sequence of Placed
        The face tags, where there are any: then nothing else is looked for.
    """
    trials: list[Trial] = []
    for rim in rims:
        choices = [tuple(tags)] if tags else _lying(photo, request, reference, rim)
        trials += [Trial.of(photo, request, rim, placed) for placed in choices or [()]]
        least = min(map(_doubt_of, trials))
        if least + float(np.log(rims[0].rating)) < CONVINCING or reference.family in UNSCALED:
            break
    return _likeliest(photo, request, trials)


def _likeliest(photo: Photo, request: Request, trials: Sequence[Trial]) -> Trial:
    """Choose the trial with the least doubt; where others of another scale are hardly worse, by the bolts' circle too.

    A sheet half under the rotor may be cut off along either side: the photo fits both, but bolt circles vary less in
    size than rotors do.
    """
    best = min(trials, key=_doubt_of)
    rivals = [trial for trial in trials if trial.doubt < best.doubt + OPEN_DOUBT and trial.sights.scaled]
    sizes = [trial.scene.values["log_rim"] for trial in rivals]
    if not rivals or max(sizes) - min(sizes) < OTHER_SCALE:
        return best
    return min(rivals, key=lambda trial: trial.doubt + _bolts_doubt(photo, request, trial))


def _doubt_of(trial: Trial) -> float:
    return trial.doubt


def _bolts_doubt(photo: Photo, request: Request, trial: Trial) -> float:
    """Rate a trial's scene by how clear its bolts are and how odd their circle's size, and its rotor's size no more."""
    outlines = [trial.scene.to_plane(outline_px(placed), 0.0) for placed in trial.sights.placed]
    bolts = find_bolts(top_view(photo.grey, trial.scene, outlines), hat_up=request.hat_up)
    if bolts is None:
        return 0.0
    odd = np.log(2 * bolts.circle_mm / USUAL_PITCH_MM) / PITCH_SPREAD
    return float(0.5 * (odd**2 - oddness(trial.scene.rim_radius_mm) ** 2) - BOLTS_WEIGHT * bolts.evidence)


def outline_px(placed: Placed) -> FloatArray:
    """Outline of what a reference hides, (K, 2): a tag's with the white round it."""
    corners = placed.sighting.corners_px
    grown = TAG_PAPER if placed.sighting.figure.kind.startswith("tag") else 1.0
    return np.asarray(corners.mean(axis=0) + grown * (corners - corners.mean(axis=0)))
