"""Where the hat meets the ring: a circle of rivets, pins or bolts betrays a two-piece rotor, and so does its metal."""

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cache
from importlib import resources

import cv2
import numpy as np

from vision.bolts import outline_votes
from vision.hat import Middle
from vision.measurement import FloatArray
from vision.ring import Face, Mask, Pixels, unwrap

COLUMNS = 480
COUNTS = range(7, 17)
# Rivet heads, in columns, and where they stand: radii over the ring's inner edge, height at a rim of 330 mm.
HEAD_RADII = (2.5, 3.5, 4.5, 5.5)
BAND = (0.80, 0.985)
HEIGHTS_UP, HEIGHTS_DOWN = (-2.0, 2.0, 6.0), (-28.0, -22.0, -16.0, -10.0, -4.0)
MOST_VOTES = 60.0
LEAST_SHOWN = 4
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
        How far they stand out, in standard deviations.
    gap : float
        Ring's inner radius over the hat's; 1 where either is unseen.
    shade, hue : float
        Logarithm of the hat's brightness over the ring's, and how far their colours lie apart.
    """

    rivets: int
    share: float
    strength: float
    gap: float
    shade: float
    hue: float

    def features(self) -> FloatArray:
        """Return the numbers that the table weighs."""
        seen, strength = float(self.gap != 1.0), float(np.log(max(self.strength, 1.0)))
        return np.array(
            [1.0, strength, self.share, strength * self.share, seen, self.gap - 1.0, abs(self.shade), self.hue]
        )


def find_joint(bgr: Pixels, face: Face, middle: Middle, *, hidden_mm: Sequence[FloatArray] = ()) -> Joint:
    """Look at the band between the hat and the ring.

    Parameters
    ----------
    bgr : (H, W, 3) ndarray of uint8
    face : Face
    middle : Middle
    hidden_mm : sequence of (K, 2) ndarray
        Outlines on the face of what lies on it.
    """
    inner_mm = middle.inner_edges_mm[0] if middle.inner_edges_mm else 0.64 * face.rim_radius_mm
    hat = middle.circles.get("hat")
    heights = HEIGHTS_DOWN if middle.hat_up is False else HEIGHTS_UP
    hidden_mm = [*hidden_mm, *middle.hat_outline_mm(face)]
    grey = np.asarray(cv2.cvtColor(bgr, cv2.COLOR_BGR2GRAY), np.uint8)
    bands = []
    for height in heights:
        span, z_mm = (BAND[0] * inner_mm, BAND[1] * inner_mm), height * face.rim_radius_mm / 165.0
        flat, seen, _ = unwrap(grey, face, span, z_mm=z_mm, columns=COLUMNS, hidden_mm=hidden_mm)
        bands.append(_rivets(flat, seen))
    strength, rivets, share = max(bands)
    gap = inner_mm / hat.radius_mm if hat is not None and middle.inner_edges_mm else 1.0
    shade, hue = _metal(bgr, face, middle, inner_mm)
    return Joint(rivets, share, strength, gap, shade, hue)


def _rivets(flat: Pixels, seen: Mask) -> tuple[float, int, float]:
    """Return how far equally spaced round heads stand out in one row, their count, and the share of them that show."""
    level = np.log(flat.astype(np.float32) + 8.0)
    level -= np.median(level, axis=1, keepdims=True)
    votes = outline_votes(np.asarray(level, np.float32), HEAD_RADII)
    edge = np.minimum(votes / (float(np.median(votes[seen])) + 0.02 if seen.any() else 1.0), MOST_VOTES) ** 0.7
    edge, inside = np.where(seen, edge, 0), edge[seen]
    middle, spread = (float(inside.mean()), float(inside.std()) + 0.3) if seen.any() else (0.0, 1.0)
    best = (0.0, 0, 0.0)
    for count in COUNTS:
        at = (np.arange(count)[:, None] * COLUMNS / count + np.arange(COLUMNS // count)).round().astype(int) % COLUMNS
        shown = seen[:, at].sum(axis=1)
        teeth = np.where(seen[:, at], edge[:, at], np.inf)
        weakest = teeth.min(axis=1)
        total = np.where(np.isfinite(teeth), teeth, 0).sum(axis=1) - np.where(np.isfinite(weakest), weakest, 0)
        mean = total / np.maximum(shown - 1, 1)
        score = np.where(shown >= LEAST_SHOWN, (mean - middle) / spread * np.sqrt(np.maximum(shown - 1, 0)), 0)
        row, phase = np.unravel_index(score.argmax(), score.shape)
        if score[row, phase] > best[0]:
            heads = edge[row, at[:, phase]][seen[row, at[:, phase]]]
            best = (float(score[row, phase]), count, float((heads > middle + spread).mean()))
    return best


def _metal(bgr: Pixels, face: Face, middle: Middle, inner_mm: float) -> tuple[float, float]:
    """Compare the hat's top with the ring."""
    if middle.bolts is None:
        return 0.0, 0.0
    bolts = middle.bolts
    hat, _, _ = unwrap(
        bgr, face, (0.8 * bolts.circle_mm, 1.25 * bolts.circle_mm), z_mm=bolts.height_mm, columns=COLUMNS // 2
    )
    ring, _, _ = unwrap(bgr, face, (1.1 * inner_mm, 0.95 * face.rim_radius_mm), columns=COLUMNS // 2)
    levels = [np.median(np.log(part.reshape(-1, 3).astype(np.float64) + 8.0), axis=0) for part in (hat, ring)]
    apart = levels[0] - levels[1]
    return float(apart.mean()), float(np.ptp(apart))


@cache
def _weights() -> FloatArray:
    text = resources.files("vision").joinpath(TABLE).read_text(encoding="utf-8")
    return np.array(json.loads(text)["weights"], float)


def construction(joint: Joint) -> Mapping[str, float]:
    """Return the likelihoods of one-piece and two-piece under equal priors."""
    two = float(1.0 / (1.0 + np.exp(-np.clip(joint.features() @ _weights(), -5, 5))))
    return {"one-piece": 1.0 - two, "two-piece": two}
