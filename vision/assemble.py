"""What was sighted in a photo, put together as one scene and fitted."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from vision.bolts import find_bolts
from vision.camera import Pose
from vision.concentric import Circle
from vision.edges import Image
from vision.figure import EdgeSamples
from vision.lens import Lens, lenses, plain_camera
from vision.photo import Photo
from vision.placing import Placed, hat_top
from vision.request import Request
from vision.rim import Look, Rim, follow_rim
from vision.scene import ROUNDS, Scene, fit_scene
from vision.start import (
    BREAK_MM,
    BREAK_STD_MM,
    NOMINAL_RADIUS_MM,
    RADIUS_STD,
    WAVES,
    add_waves,
    first_unknowns,
    poses_of,
)
from vision.terms import CircleTerm, Height, Term
from vision.top_view import TopView, top_view
from vision.unknowns import Unknowns
from vision.wall import is_outline, rim_curve

ROUGH_SAMPLES, FINE_SAMPLES, CIRCLE_SAMPLES = 50, 200, 60
ROUGH_ROUNDS = 2
# Misfit by which one tilt must fit better than the other to be taken without a look at the bolt holes.
OPEN = 40.0
# How far from the last fit the rim is looked for, and how unlike its circle, as shares of its radius.
FOLLOWED_SHARES = (0.045, 0.006)
# Inner circles are told by the scene and hardly tell it: a fillet or a lip taken for an edge must not move the rim.
# The middles of bolt holes have no side to be on; they tell the tilt where a rim seen square on can't.
CIRCLE_STD_FACTORS = {"ring_inner": 15.0, "hat": 30.0, "centre_bore": 1.0, "bolt_circle": 1.0}
PITCH_STD = 0.0005
LEAST_PART = 6
LEAST_REACH_PX, LEAST_WAVE_PX = 6.0, 1.0
ON_FACE = ("ring_inner",)


@dataclass(frozen=True)
class Sights:
    """Everything found in a photo that the fit may use.

    Attributes
    ----------
    rim : EdgeSamples
    placed : tuple of Placed
        References where they lie.
    wall : EdgeSamples, optional
        The wall's far edge.
    circles : mapping of str to Circle
        Round the axis, inside the rim; radii in the millimetres of the scene they were found with.
    pitch_mm : float, optional
        The bolt circle's diameter, where it is the reference.
    rim_std_mm : float, optional
        What doubt is left of where the rim runs as a whole, where it was seen from near.
    """

    rim: EdgeSamples
    placed: tuple[Placed, ...] = ()
    wall: EdgeSamples | None = None
    circles: Mapping[str, Circle] = field(default_factory=dict)
    pitch_mm: float | None = None
    rim_std_mm: float | None = None

    def thinned(self, count: int) -> "Sights":
        """Return the same with about ``count`` samples a curve."""
        share = max(40, count // max(1, len(self.placed)))
        return replace(self, rim=self.rim.thinned(count), placed=tuple(p.thinned(share) for p in self.placed))

    @property
    def scaled(self) -> bool:
        """Whether anything of known size is among them."""
        return bool(self.placed) or self.pitch_mm is not None


@dataclass(frozen=True)
class Start:
    """A lens and one of the rim's two tilts."""

    lens: Lens
    pose: Pose


def first_scene(photo: Photo, request: Request, rim: Rim, placed: Sequence[Placed]) -> tuple[Scene, Start, Sights]:
    """Fit from every lens and both tilts with a few samples, then the best with the rim followed anew.

    Returns
    -------
    scene : Scene
    start : Start
        Where the best fit began.
    sights : Sights
        With the rim as it was followed last.
    """
    sights = Sights(rim.samples, placed=tuple(placed))
    scene, start = _likelier(photo, request, _rough_fits(photo, request, rim, sights), sights)
    if not rim.by_hand:
        sights = replace(sights, rim=_followed(photo.bgr, scene, rim))
    scene = fit(photo, request, sights.thinned(FINE_SAMPLES), start, scene)
    return scene, start, sights


Fitted = tuple[Scene, Start]


def _rough_fits(photo: Photo, request: Request, rim: Rim, sights: Sights) -> list[Fitted]:
    """Fit with a few samples from every lens and both tilts; of a scene with a scale keep each tilt's best lens."""
    few = sights.thinned(ROUGH_SAMPLES)
    tilts: list[list[Fitted]] = [[], []]
    for lens in lenses(photo):
        for tilt, pose in enumerate(poses_of(photo, rim.ellipse, lens.f35_mm)):
            start = Start(lens, pose)
            tilts[tilt].append((fit(photo, request, few, start), start))
    return (
        [min(tilt, key=_misfit) for tilt in tilts if tilt]
        if sights.scaled
        else [fitted for tilt in tilts for fitted in tilt]
    )


def _misfit(fitted: Fitted) -> float:
    return fitted[0].misfit


def _likelier(photo: Photo, request: Request, fits: Sequence[Fitted], sights: Sights) -> Fitted:
    """Choose by the fit and, where that leaves it open, by how well the bolt holes stand round one axis."""
    least = min(map(_misfit, fits))
    left = [fitted for fitted in fits if _misfit(fitted) < least + OPEN]
    if len(left) == 1:
        return left[0]
    scene = left[0][0]
    view = top_view(photo.grey, scene, [scene.to_plane(p.sighting.corners_px, 0.0) for p in sights.placed])
    return min(left, key=lambda fitted: fitted[0].misfit - _bolts_evidence(view.meant_by(fitted[0]), request.hat_up))


def _bolts_evidence(view: TopView, hat_up: bool | None) -> float:
    bolts = find_bolts(view, hat_up=hat_up)
    return 0.0 if bolts is None else bolts.evidence


def _followed(bgr: Image, scene: Scene, rim: Rim) -> EdgeSamples:
    reach_px, wave_px = (share * rim.ellipse.radius_px for share in FOLLOWED_SHARES)
    look = Look(rim.noise, max(LEAST_REACH_PX, reach_px), max(LEAST_WAVE_PX, wave_px))
    return follow_rim(bgr, rim_curve(scene), rim.ellipse.radius_px, is_outline(scene), look)


def fit(photo: Photo, request: Request, sights: Sights, start: Start, near: Scene | None = None) -> Scene:
    """Fit one scene to all sights, from a start or near an earlier scene.

    Without a reference the scale is held at a nominal rim, and only ratios mean anything.
    """
    camera, placed = plain_camera(photo, start.lens.f35_mm), sights.placed
    # A start at the reference's own scale: everything shrinks together about the camera.
    shrink = float(np.median([p.scale(camera, start.pose) for p in placed])) if placed else 1.0
    pose = Pose(start.pose.rotation, start.pose.centre_mm / shrink)
    unknowns = first_unknowns(photo, pose, start.lens, request, sights.rim_std_mm)
    nominal = np.log(NOMINAL_RADIUS_MM)
    unknowns.add("log_rim", nominal - np.log(shrink), 0.05, std=RADIUS_STD if sights.scaled else 1e-6, mean=nominal)
    terms: list[Term] = _rim_terms(sights.rim)
    for reference in placed:
        reference.add_unknowns(unknowns, camera, pose, request)
        terms.append(reference.term(request))
    if sights.wall is not None:
        terms.append(CircleTerm(sights.wall, "log_rim", {"thickness": -1.0, "wall_beyond": -1.0}, "wall_offset"))
    values = {} if near is None else dict(near.values)
    if near is not None:
        values |= _as_high_as_the_bolts(near, request, sights)
        terms += [_circle_term(circle, unknowns, near, (request, sights)) for circle in sights.circles.values()]
    rounds = ROUGH_ROUNDS if near is None else ROUNDS
    return fit_scene(unknowns.restart(values), terms, pose.rotation, (photo.width, photo.height), rounds=rounds)


def _rim_terms(rim: EdgeSamples) -> list[Term]:
    """Return the rim in parts: a bright face's edge and a bright ground's are not the same, nor what was seen near."""
    sides = {"bright_rim": 1, "dark_rim": -1, "plain_rim": 0}
    parts = {name: np.sign(rim.bright_inside) == side for name, side in sides.items()}
    return [
        CircleTerm(rim.chosen(part), "log_rim", {"chamfer": -1.0}, name, gives_scale=True, waves=tuple(WAVES))
        for name, part in parts.items()
        if part.sum() >= LEAST_PART
    ]


def _as_high_as_the_bolts(near: Scene, request: Request, sights: Sights) -> dict[str, float]:
    """Return starts with the hat as high as its bolts were seen, all of it as large as a known pitch circle says.

    None where a reference stands by that height too: it would no longer lie where the photo shows it.
    """
    if "bolt_circle" not in sights.circles or any(placed.lies != "face" for placed in sights.placed):
        return {}
    bolts = sights.circles["bolt_circle"]
    grown = 1.0 if sights.pitch_mm is None else sights.pitch_mm / 2 / bolts.radius_mm
    shares = hat_top(request.hat)
    rest_mm = sum(share * near.values[name] for name, share in shares.items() if name != "height")
    return {
        "log_rim": near.values["log_rim"] + float(np.log(grown)),
        "log_far": near.values["log_far"] + float(np.log(grown)),
        "height": (bolts.height_mm * grown - rest_mm) / shares["height"],
    }


def _circle_term(circle: Circle, unknowns: Unknowns, near: Scene, seen: tuple[Request, Sights]) -> CircleTerm:
    """Add a circle's radius and offset to the unknowns and return its term."""
    request, sights = seen
    radius, offset = f"log_{circle.name}", f"{circle.name}_offset"
    px_per_mm = float(np.exp(near.values["log_focal"] - near.values["log_far"]))
    is_pitch = circle.name == "bolt_circle" and sights.pitch_mm is not None
    start = np.log(sights.pitch_mm / 2 if is_pitch and sights.pitch_mm else circle.radius_mm)
    unknowns.add(radius, start, 0.05, std=PITCH_STD if is_pitch else np.inf)
    unknowns.add(offset, 0.0, 0.3, std=max(0.1, circle.edge_std_mm * px_per_mm))
    samples = circle.samples.thinned(CIRCLE_SAMPLES)
    # What changes its bright side along a circle is shadow, and tells nothing of the bloom.
    samples = replace(samples, bright_inside=np.zeros(len(samples)))
    height: Height = {"": 0.0} if circle.name in ON_FACE else hat_top(request.hat)
    if circle.seen_near:
        unknowns.add("inner_break", BREAK_MM, 0.2, std=BREAK_STD_MM)
        add_waves(unknowns, f"{circle.name}_wave", circle.edge_std_mm * px_per_mm)
        return CircleTerm(
            samples, radius, {"inner_break": -1.0}, offset, waves=tuple(WAVES), wave=f"{circle.name}_wave"
        )
    if not is_pitch:
        samples = replace(samples, std_px=samples.std_px * CIRCLE_STD_FACTORS[circle.name])
    return CircleTerm(samples, radius, height, offset)
