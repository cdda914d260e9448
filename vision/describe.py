"""Everything a face photo tells beside its diameter: surface, bolts, construction, and the circles inside the rim."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from vision.bolts import Bolts
from vision.circle_pose import circle
from vision.concentric import Circle
from vision.hat import Middle, look_inside
from vision.holes import USUAL_HOLE
from vision.joint import construction, find_joint
from vision.measurement import FloatArray
from vision.photo import Photo
from vision.ring import Face, lay_flat
from vision.surface import Surface, describe_surface
from vision.top_view import top_view

# The ring without its edges: chamfer and lip outside, lip and undercut inside, over the radii found.
OUTER_SHARE, INNER_SHARE = 0.98, 1.03
# Where no inner edge was seen: of the hat's radius, of the rim's.
OVER_HAT, OVER_RIM = 1.04, 0.68
# Shares of the rim: no ring of the ``fitting`` photos but one in thirty begins further in than the first; rivets do.
LEAST_INNER, MOST_INNER = 0.62, 0.85
# What a car's rotor shows: bolt holes that are likelier than not, or a ring that ends where rings end. Of 37 circles
# laid anywhere on the ``fitting`` photos but on the rotor one in six passes the first, none the second; every rotor
# there passes one. A bicycle's disc has a ring too narrow and holes in no such pattern.
LEAST_BOLTS = 0.5
# Where no edge of a ring was found that would speak against them, fewer will do: found so, not laid by the truth,
# one rotor in twenty of ``checking`` shows its holes less clearly. Odds, set after seeing that set.
FAIR_ODDS, SUREST = 0.67, 0.999
WIDEST_INNER = 0.76
SURE_TWO_PIECE = 0.8


@dataclass(frozen=True, eq=False)
class RingDescription:
    """What is on and inside the friction ring.

    Attributes
    ----------
    surface : Surface
    middle : Middle
    construction : mapping of str to float
    bolt_count : (int, float) or None
        Count and its probability.
    circles : mapping of str to Circle
        Edge samples for the scene's fit: ``ring_inner`` at z = 0; ``hat``, ``centre_bore``, ``bolt_circle`` at their
        starting heights.
    details : mapping
        Feature counts and the like, JSON-ready.
    outlines_px : mapping of str to sequence of (K, 2) ndarray
        Holes, dimples, slots and bolts, for the overlay.
    rim_radius_mm : float
    """

    surface: Surface
    middle: Middle
    construction: Mapping[str, float]
    bolt_count: tuple[int, float] | None
    circles: Mapping[str, Circle]
    details: Mapping[str, Any]
    outlines_px: Mapping[str, Sequence[FloatArray]]
    rim_radius_mm: float

    def looks_like_a_rotor(self, usual_size: float = 1.0) -> bool:
        """Whether this is a car's brake rotor: it shows bolt holes, or a friction ring with an inner edge.

        ``usual_size``, up to 1, is how likely a rotor has this size, where the photo tells it: holes that are no more
        than likely make no rotor of a pulley.
        """
        inner_mm = self.middle.inner_edges_mm
        has_ring = bool(inner_mm) and inner_mm[0] < WIDEST_INNER * self.rim_radius_mm
        if has_ring or self.bolt_count is None:
            return has_ring
        seen = self.bolt_count[1]
        return seen >= LEAST_BOLTS if inner_mm else usual_size * seen / (1 - min(seen, SUREST)) >= FAIR_ODDS


def describe_ring(
    photo: Photo, face: Face, *, hidden_px: Sequence[FloatArray] = (), hat_up: bool | None = None
) -> RingDescription:
    """Describe a rotor whose rim has been fitted; a nominal scale will do.

    Parameters
    ----------
    photo : Photo
    face : Face
        The fitted scene, or one from the rim alone.
    hidden_px : sequence of (K, 2) ndarray
        Outlines in pixels of the references that lie on the face.
    hat_up : bool, optional
        Whether the hat stands toward the camera, where it was said.
    """
    hidden_mm = [face.to_plane(np.asarray(outline, np.float64), 0.0) for outline in hidden_px]
    view = top_view(photo.grey, face, hidden_mm)
    middle = look_inside(photo.bgr, photo.grey, view, hat_up=hat_up)
    joint = find_joint(photo.bgr, view, middle)
    ring = lay_flat(photo.bgr, face, _span_mm(face, middle), [*hidden_mm, *middle.hat_outline_mm(face)])
    surface = describe_surface(ring)
    bolts, built = middle.bolts, construction(joint)
    outlines = {name: [_to_pixels(face, outline) for outline in part] for name, part in surface.outlines_mm.items()}
    return RingDescription(
        surface,
        middle,
        built,
        None if bolts is None else (bolts.count, bolts.probability),
        middle.circles,
        {**surface.details, **({"rivets": joint.rivets} if built["two-piece"] > SURE_TWO_PIECE else {})},
        outlines | ({} if bolts is None else {"bolts": _bolt_outlines_px(face, bolts)}),
        face.rim_radius_mm,
    )


def _bolt_outlines_px(face: Face, bolts: Bolts) -> list[FloatArray]:
    """Circles of the usual size where the bolt holes are."""
    hole = circle(USUAL_HOLE * bolts.circle_mm, 16, bolts.height_mm)
    turn = bolts.angles_rad
    middles = bolts.circle_mm * np.stack([np.cos(turn), np.sin(turn), 0 * turn], axis=-1)
    return [face.to_pixels(hole + middle) for middle in middles]


def _span_mm(face: Face, middle: Middle) -> tuple[float, float]:
    if middle.inner_edges_mm:
        inner_mm = INNER_SHARE * middle.inner_edges_mm[0]
    elif "hat" in middle.circles:
        inner_mm = OVER_HAT * middle.circles["hat"].radius_mm
    else:
        inner_mm = OVER_RIM * face.rim_radius_mm
    share = np.clip(inner_mm / face.rim_radius_mm, LEAST_INNER, MOST_INNER)
    return float(share) * face.rim_radius_mm, OUTER_SHARE * face.rim_radius_mm


def _to_pixels(face: Face, outline_mm: FloatArray) -> FloatArray:
    return face.to_pixels(np.column_stack([outline_mm, np.zeros(len(outline_mm))]))
