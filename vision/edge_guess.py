"""Guesses at how the camera stands to the ring, where its lines do not tell it: the outline's ends, tried in turn.

Upright edges may be the outline's ends; each pair of them, or one of them and the ring's usual size behind a reference,
gives the camera's direction and distance. What is left, roll and pitch, and which pair it is, is rated by how sharp
the rim's level lines are when it is unrolled from there, and by how clearly the outline ends.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property

import cv2
import numpy as np

from vision.edge_lines import Line, Picture
from vision.edge_pose import Along
from vision.edge_scene import along_of
from vision.edge_unrolled import WHOLE
from vision.measurement import FloatArray
from vision.ring import Map, Mask

GUESS_PX = 320
# What is guessed, in rad and as a logarithm, what is usual of it, and how widely it is tried round a good guess.
NAMES = ("roll", "pitch", "yaw", "log_clear")
USUAL, USUAL_STD = np.array([0.0, 0.0, 0.0, 0.223]), np.array([0.06, 0.06, 0.12, 0.35])
NEAR, CLOSER = np.array([0.015, 0.02, 0.01, 0.03]), 0.5
ROLLS, PITCHES, RADII_MM = (-0.03, 0.0, 0.03), (-0.05, -0.017, 0.017, 0.05), (128.0, 145.0, 160.0, 175.0, 195.0)
# The rim is unrolled to so many columns, in parts of some, and to such heights, mm.
COLUMNS, PART, HEIGHTS_MM, REACH = 48, 3, np.arange(54.0, -55.0, -1.5), 0.95
STEP_LIMIT, LEAST_PARTS, STRONG = 0.6, 5, 0.4
# How many upright edges are tried on either side, how clear they must be, and how far they lie apart.
EDGES, LEAST_EDGE, APART_PX, MIDDLE, NARROWEST_RAD = 5, 0.06, 4, 0.1, 0.12
BAND, BESIDE_PX = 0.05, 1.5
# What sharpness, ends and what is unusual are worth; how many guesses are looked at again, how different they are, how
# often and how many places round them.
ENDS, UNUSUAL = 2.5, 0.06
KEPT, UNLIKE, ROUNDS, AROUND, BATCH, BEST = 4, 0.03, 5, 32, 64, 8


@dataclass(frozen=True, eq=False)
class Guesses:
    """A search for the camera's place.

    Attributes
    ----------
    picture : Picture
        Of the size ``GUESS_PX``.
    size_px : (int, int)
        Of the photo.
    known : mapping of str to float
        ``log_focal``, ``k1`` and ``log_radius``.
    clear_mm : float, optional
        Distance of the nearest point of the rim, where a reference tells it.
    """

    picture: Picture
    size_px: tuple[int, int]
    known: Mapping[str, float]
    clear_mm: float | None

    def likely(self, lines: Sequence[Line]) -> list[dict[str, float]]:
        """Return the likeliest places, the best first: values of `NAMES` and ``log_radius``.

        Parameters
        ----------
        lines : sequence of Line
            Long lines, not empty; the first of them tells the roll.
        """
        starts = self._starts(lines)
        if not len(starts):
            return []
        rated = np.concatenate([self._rate(starts[at : at + BATCH]) for at in range(0, len(starts), BATCH)])
        kept: list[int] = []
        for number in np.argsort(-rated):
            unlike = np.abs(starts[kept] - starts[number]) @ np.array([0.0, 0.0, 1.0, 0.4])
            if (unlike > UNLIKE).all():
                kept.append(int(number))
            if len(kept) == KEPT:
                break
        found = sorted((self._closer(starts[number]) for number in kept), key=lambda guess: -guess[0])
        return [self._named(state) for _, state in found]

    def _named(self, state: FloatArray) -> dict[str, float]:
        values = dict(zip(NAMES, state.tolist(), strict=True))
        if self.clear_mm is None:
            return values
        return values | {"log_radius": float(np.log(self.clear_mm)) - values["log_clear"]}

    def _starts(self, lines: Sequence[Line]) -> FloatArray:
        """Return the places to try, (N, 4)."""
        places = self._places(lines)
        roll = float(np.arctan(lines[0].slope))
        tried = [(roll + turn, pitch, *place) for place in places for turn in ROLLS for pitch in PITCHES]
        return np.array(tried).reshape(-1, 4)

    def _places(self, lines: Sequence[Line]) -> list[tuple[float, float]]:
        """Return directions and distances by the ends that may be: by one and a usual radius, and by two."""
        lefts, rights = (self._angles(side) for side in self._upright(lines))
        found = []
        if self.clear_mm is not None:
            for log_clear in np.log(self.clear_mm / np.array(RADII_MM)):
                half = float(np.arcsin(1 / (1 + np.exp(log_clear))))
                found += [(-(angle + half), float(log_clear)) for angle in lefts]
                found += [(half - angle, float(log_clear)) for angle in rights]
        for left in lefts:
            for right in rights:
                half = (right - left) / 2
                if half > NARROWEST_RAD:
                    found.append((-(left + right) / 2, float(np.log(1 / np.sin(half) - 1))))
        return found

    def _angles(self, columns: Sequence[int]) -> list[float]:
        at_px = self.picture.to_photo(np.array(columns, np.float64)) - (self.size_px[0] - 1) / 2
        return [float(angle) for angle in np.arctan(at_px / np.exp(self.known["log_focal"]))]

    def _upright(self, lines: Sequence[Line]) -> tuple[list[int], list[int]]:
        """Return columns of clear upright edges beside the clearest lines, to the left and right."""
        width = self.picture.step.shape[1]
        rows = [line.rows(self.picture) for line in lines[:3]]
        bands = [(row + side * BAND * width, row) for row in rows for side in (-1, 1)]
        clear = np.max([_upright(self.picture, *band) for band in bands], axis=0)
        top = clear >= cv2.dilate(clear[:, None], np.ones((2 * APART_PX + 1, 1), np.uint8))[:, 0]
        columns = [int(x) for x in np.argsort(-clear) if top[x] and clear[x] > LEAST_EDGE and 2 < x < width - 3]
        lefts = [x for x in columns if x < (0.5 - MIDDLE / 2) * width]
        return lefts[:EDGES], [x for x in columns if x > (0.5 + MIDDLE / 2) * width][:EDGES]

    def _closer(self, state: FloatArray) -> tuple[float, FloatArray]:
        """Try places round a good one, ever nearer; return the best rating and place."""
        spread, best = NEAR.copy(), (-np.inf, state)
        for _ in range(ROUNDS):
            trials = np.concatenate([best[1][None], best[1] + _DIRECTIONS * spread])
            rated = self._rate(trials)
            order = np.argsort(-rated)[:BEST]
            best = (float(rated[order[0]]), trials[order[0]])
            spread = np.maximum(trials[order].std(axis=0), CLOSER * spread)
        return best

    def _rate(self, states: FloatArray) -> FloatArray:
        """Rate places (B, 4): sharp lines, clear ends, nothing unusual."""
        along = self._along(states)
        strength = self._strength(along)
        top = strength.max(axis=1, keepdims=True)
        strong = strength > STRONG * top
        row = np.arange(strong.shape[1])
        first, last = strong.argmax(axis=1), len(row) - 1 - strong[:, ::-1].argmax(axis=1)
        between = (row > first[:, None] + 1) & (row < last[:, None] - 1)
        scale = np.exp(self.known["log_focal"]) / (along.away_mm - along.radius_mm)[:, 0] / self.picture.shrink
        sharp = np.sqrt((strength**2).sum(axis=1) * scale * float(HEIGHTS_MM[0] - HEIGHTS_MM[1]))
        ends = sum(self._end(along, side, between) for side in (-1, 1))
        strain = (((states - USUAL) / USUAL_STD) ** 2).sum(axis=1)
        return np.asarray(sharp + ENDS * ends - UNUSUAL * strain)

    def _along(self, states: FloatArray) -> Along:
        columns = {name: states[:, number : number + 1] for number, name in enumerate(NAMES)}
        fixed = {name: np.full((len(states), 1), value) for name, value in self.known.items()}
        if self.clear_mm is not None:
            fixed["log_radius"] = np.log(self.clear_mm) - columns["log_clear"]
        return along_of(fixed | columns, self.size_px)

    def _strength(self, along: Along) -> FloatArray:
        """Mean size of the step of brightness at every height (B, H)."""
        ray = np.linspace(-REACH, REACH, COLUMNS) * along.radius_mm / np.sqrt(along.away_mm**2 - along.radius_mm**2)
        square = 1 + ray**2
        root = np.sqrt(np.maximum(along.away_mm**2 - square * (along.away_mm**2 - along.radius_mm**2), 0.0))
        depth = (along.away_mm - root) / square
        xy = self._pixels(along, np.arctan2(depth * ray, along.away_mm - depth))
        level, seen = self._read(xy)
        step = np.clip(level[:, :-2] - level[:, 2:], -STEP_LIMIT, STEP_LIMIT)
        shown = seen[:, :-2] & seen[:, 2:]
        count, total = (_parts(values) for values in (shown.astype(np.float32), step * shown))
        size = np.abs(total) / np.maximum(count, 1)
        good = count >= PART - 1
        enough = good.sum(axis=2)
        return np.where(enough >= LEAST_PARTS, (size * good).sum(axis=2) / np.maximum(enough, 1), 0.0)

    def _end(self, along: Along, side: int, between: Mask) -> FloatArray:
        """How clearly the outline ends between the outermost lines, (B,)."""
        angle = side * np.arccos(along.radius_mm / along.away_mm) * 0.9999
        feet = self._pixels(along, angle)[:, 1:-1]
        across = BESIDE_PX * np.stack([np.cos(along.roll_rad), np.sin(along.roll_rad)], axis=-1)[:, None]
        (outer, _), (inner, _), (_, seen) = (
            self._read(np.asarray(feet + shift * across, np.float32)) for shift in (1, -1, 0)
        )
        step = np.clip(outer - inner, -STEP_LIMIT, STEP_LIMIT)[..., 0] * (seen[..., 0] & between)
        total = np.cumsum(step, axis=1)
        blocks = np.abs(total[:, 3:] - total[:, :-3]).sum(axis=1) / 3
        return np.asarray(blocks / np.maximum(between.sum(axis=1), 4))

    def _pixels(self, along: Along, angles_rad: FloatArray) -> Map:
        """Return the picture's pixels (B, H, W, 2) of angles (B, W) at all heights."""
        shrink = np.float32(self.picture.shrink)
        return np.asarray((along.unrolled(angles_rad, HEIGHTS_MM) + np.float32(0.5)) / shrink - np.float32(0.5))

    def _read(self, xy: Map) -> tuple[Map, Mask]:
        """Read brightness at pixels (B, H, W, 2), and which of them are in sight."""
        height, width = self.picture.level.shape
        flat = xy.reshape(len(xy), -1, 2).astype(np.float32)
        x, y = flat[..., 0], flat[..., 1]
        level = cv2.remap(self.picture.level, flat, WHOLE, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
        shown = cv2.remap(self._seen, flat, WHOLE, cv2.INTER_NEAREST) > 0
        inside = (x > 1) & (y > 1) & (x < width - 2) & (y < height - 2)
        return np.asarray(level.reshape(xy.shape[:-1])), np.asarray((shown & inside).reshape(xy.shape[:-1]))

    @cached_property
    def _seen(self) -> Map:
        return np.asarray(self.picture.seen, np.float32)


# Where places round a good one are tried, in deviations: the same every time.
_DIRECTIONS = np.random.default_rng(3).normal(size=(AROUND, len(NAMES)))


def _parts(values: Map) -> Map:
    """Add up the columns (..., W) of each part."""
    columns = [values[..., column::PART] for column in range(PART)]
    return np.asarray(sum(columns[1:], columns[0]))


def _upright(picture: Picture, one: FloatArray, other: FloatArray) -> FloatArray:
    """How much brightness changes from column to column between two curves, where it may be looked at, (W,)."""
    at = (one + np.linspace(0.05, 0.95, 15)[:, None] * (other - one)).astype(np.float32)
    column = np.broadcast_to(np.arange(len(one), dtype=np.float32), at.shape)
    level = cv2.remap(picture.level, column, at, cv2.INTER_LINEAR)
    seen = cv2.remap(picture.seen.view(np.uint8), column, at, cv2.INTER_NEAREST) > 0
    step, shown = np.zeros_like(level), np.zeros_like(seen)
    step[:, 2:-2] = level[:, 3:-1] + level[:, 4:] - level[:, 1:-3] - level[:, :-4]
    shown[:, 2:-2] = seen[:, 2:-2] & seen[:, 4:] & seen[:, :-4]
    clear = (np.minimum(np.abs(step) / 2, 0.5) * shown).sum(axis=0) / np.maximum(shown.sum(axis=0), 5)
    return np.asarray(clear, np.float64)
