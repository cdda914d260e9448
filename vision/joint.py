"""Where the hat meets the ring: a circle of rivets, pins or bolts betrays a two-piece rotor, and so does its metal."""

import json
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from importlib import resources

import cv2
import numpy as np

from vision.bolts import ANY_CELL, PLACE_LIMITS
from vision.hat import Middle
from vision.measurement import FloatArray
from vision.ring import Map, Mask, Pixels, read_at
from vision.steps import Strip
from vision.top_view import TopView

COLUMNS = 264
COUNTS = range(7, 17)
# At a rim of 330 mm, heights where rivet heads stand.
HEIGHTS_UP, HEIGHTS_DOWN = (-2.0, 2.0, 6.0), (-28.0, -22.0, -16.0, -10.0, -4.0)
# Radii over the ring's inner edge.
BAND, ROWS = (0.80, 0.985), 10
LEAST_SHOWN = 4
UNKNOWN_INNER = 0.64
# Radii over the bolt circle's, over the rim's, where the hat's and the ring's metal is looked at.
HAT_METAL, RING_METAL = (0.8, 1.25), (0.75, 0.95)
COARSE = 2.0
TABLE = "joint_table.json"


@dataclass(frozen=True)
class Joint:
    """What the joint shows.

    Attributes
    ----------
    rivets : int
        Count that repeats best.
    share : float
        Share of the visible places of that count where a round head shows.
    strength : float
        Logarithm of how much likelier these places are to be rivets' than any others.
    gap : float
        Ring's inner radius over the hat's; 1 where either is unseen.
    sure : float
        Probability that the ring's inner edge is the one found.
    shade, hue : float
        Logarithm of the hat's brightness over the ring's, and of blue over red, less the ring's.
    """

    rivets: int
    share: float
    strength: float
    gap: float
    sure: float
    shade: float
    hue: float

    def features(self) -> FloatArray:
        """Return the numbers that the table weighs."""
        seen, strength = float(self.gap != 1.0), float(np.log(max(self.strength, 1.0)))
        wide = float(np.clip((self.gap - 1.08) / 0.03, -1, 1)) * seen
        looks = [abs(self.shade), abs(self.hue), max(self.hue, 0.0)]
        return np.array([1.0, strength, self.share, strength * self.share, seen, wide, wide * self.sure, *looks])


def find_joint(bgr: Pixels, view: TopView, middle: Middle) -> Joint:
    """Look at the band between the hat and the ring.

    Parameters
    ----------
    bgr : (H, W, 3) ndarray of uint8
    view : TopView
    middle : Middle
    """
    rim_mm = view.face.rim_radius_mm
    inner_mm = middle.inner_edges_mm[0] if middle.inner_edges_mm else UNKNOWN_INNER * rim_mm
    heights = HEIGHTS_DOWN if middle.hat_up is False else HEIGHTS_UP
    strength, rivets, share = _rivets(view, inner_mm, np.array(heights) * rim_mm / 165.0)
    hat = middle.circles.get("hat")
    gap = inner_mm / hat.radius_mm if hat is not None and middle.inner_edges_mm else 1.0
    sure = float(1 / (1 + np.exp(-np.clip(middle.inner_odds, -30, 30))))
    return Joint(rivets, share, strength, gap, sure, *_metal(bgr, view, middle))


def _rivets(view: TopView, inner_mm: float, heights_mm: FloatArray) -> tuple[float, int, float]:
    """Return how far equally spaced round heads stand out in one row, their count, and the share of them that show."""
    turn = np.arange(COLUMNS) * (2 * np.pi / COLUMNS)
    radii = inner_mm * np.linspace(*BAND, ROWS)
    grid = np.stack([np.outer(radii, np.cos(turn)), np.outer(radii, np.sin(turn))], axis=-1).reshape(1, -1, 2)
    where = np.asarray([cv2.perspectiveTransform(grid, on) for on in view.on_view(heights_mm)], np.float32)
    where = where.reshape(len(heights_mm), ROWS, COLUMNS, 2)
    return max(_best_row(read_at(view.hub.rivet, plane), read_at(view.seen, plane)) for plane in where)


def _best_row(odds: Map, seen: Mask) -> tuple[float, int, float]:
    told = np.where(seen, np.clip(odds - ANY_CELL, *PLACE_LIMITS), 0)
    best = (0.0, 0, 0.0)
    for count in COUNTS:
        at = (np.arange(count)[:, None] * COLUMNS / count + np.arange(COLUMNS // count)).round().astype(int) % COLUMNS
        shown = seen[:, at].sum(axis=1)
        score = np.where(shown >= LEAST_SHOWN, told[:, at].sum(axis=1), 0)
        row, phase = np.unravel_index(score.argmax(), score.shape)
        if score[row, phase] > best[0]:
            heads = told[row, at[:, phase]] > 0
            best = (float(score[row, phase]), count, float(heads.sum() / shown[row, phase]))
    return best


def _metal(bgr: Pixels, view: TopView, middle: Middle) -> tuple[float, float]:
    """Compare the hat's top with the ring: brightness, and blue over red."""
    if middle.bolts is None:
        return 0.0, 0.0
    spans = [(share * middle.bolts.circle_mm, middle.bolts.height_mm) for share in HAT_METAL]
    hat = Strip.read(bgr, view, (spans[0][0], spans[1][0]), middle.bolts.height_mm, COARSE)
    rim_mm = view.face.rim_radius_mm
    ring = Strip.read(bgr, view, (RING_METAL[0] * rim_mm, RING_METAL[1] * rim_mm), 0.0, COARSE)
    looks = [np.median(part.level.reshape(-1, 2), axis=0) for part in (hat, ring)]
    shade, hue = looks[0] - looks[1]
    return float(shade), float(hue)


@cache
def _weights() -> FloatArray:
    text = resources.files("vision").joinpath(TABLE).read_text(encoding="utf-8")
    return np.array(json.loads(text)["weights"], float)


def construction(joint: Joint) -> Mapping[str, float]:
    """Return the likelihoods of one-piece and two-piece under equal priors."""
    two = float(1.0 / (1.0 + np.exp(-np.clip(joint.features() @ _weights(), -5, 5))))
    return {"one-piece": 1.0 - two, "two-piece": two}
