"""Finding the ring in a photo along its plane: which way it lies, how the camera stands to it, where it ends."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import TypeVar

import numpy as np
import numpy.typing as npt

from vision.camera import focal_px
from vision.edge_lines import DARK, FOLLOW_PX, SEARCH_PX, Picture, long_lines
from vision.edge_outline import Ends, Run, likely_ends, runs_of
from vision.edge_pose import Along
from vision.edge_scene import EdgeScene, Seen, along_of, corners_of, fit_edge
from vision.edge_start import add_reference, before_reference, between_ends, first_unknowns, with_lines
from vision.edge_unrolled import PARTS, LevelLine, Unrolled, read_at
from vision.figure import Sighting
from vision.measurement import FloatArray
from vision.photo import Photo
from vision.ring import Map, Mask, Pixels
from vision.start import lenses
from vision.unknowns import Unknowns

Values = TypeVar("Values", bound=np.generic)

# The other way of lying is tried as well where its lines are so clear.
RIVAL_WAY = 0.4
# First fits: lines at most, points of each, robust cores in deviations, the misfit over which a line is another
# thing's, the ends' deviation as a share of the width.
MOST_LINES, POINTS, CORES, STRANGER, ENDS_STD = 6, 50, (20.0, 6.0, 2.5), 1.7, 0.012
NEARS_MM = (2.0, 0.4, 0.2)
# Finer fits: above and below the lines found, how far from level a line may be seen, how far it may stray, the share
# of its parts that must not, robust core, how far from where they were the ends are looked for, and their deviation.
MARGIN_MM = 14.0
REACHES_MM, BENDS, KEPT_SHARES, FINE_CORES = (1.5, 0.6, 0.4), (2, 1, 1), (0.5, 0.55, 0.55), (6.0, 2.5, 2.5)
END_REACHES, FINE_ENDS_STD = (0.06, 0.03, 0.02), (0.004, 0.0015, 0.001)
# Neighbouring parts of a line stray together: each counts for less than its own spread.
FINE_POINT_STD_PX = 1.0
STRAY_PX, LEAST_STRAY_MM, LEAST_PARTS, MOST_LEVEL = 1.0, 0.1, 8, 10
LEAST_END, STOPS, SURE_END = 0.05, 0.8, 0.4
# What each square of a deviation costs by which the fit strains what is known, the reference's corners among it.
STRAINED = 0.03
# Seen from the right place, all of the rim's lines are level at once: how much that is worth, and so far beyond them.
FOCUS_WORTH, FOCUS_MM = 1.5, 6.0
# So many of the rough fits are made fine.
FINELY = 2
# A tag's corners come out of some hundred edges between its cells, a card's out of four sides that may be hardly seen.
TAG_CORNER_STD_PX, CARD_CORNER_STD_PX = 0.3, 1.5
# A line that is so much less level than the others, px and times their median, is none of the rim's.
ODD_PX, ODD = 0.35, 1.8
# A find whose lines are so clear together needs no other; one that is less so is none.
ENOUGH, LEAST_CLEAR, ENDS_WORTH = 2.4, 0.15, 0.5
CLEAR_LINE = 0.3


@dataclass(frozen=True, eq=False)
class Level:
    """A photo turned so that the ring may lie level.

    Attributes
    ----------
    grey, seen : (H, W) ndarray
        Brightness, and where to look.
    turned : bool
        Whether it was turned a quarter.
    """

    grey: Pixels
    seen: Mask
    turned: bool

    @classmethod
    def of(cls, grey: Pixels, seen: Mask, *, turned: bool) -> "Level":
        """Turn a picture."""
        return cls(quarter_turned(grey), quarter_turned(seen), True) if turned else cls(grey, seen, False)

    @property
    def size_px(self) -> tuple[int, int]:
        """Width and height."""
        return self.grey.shape[1], self.grey.shape[0]

    @property
    def from_photo(self) -> FloatArray:
        """The affine map (2, 3) from the photo's pixels to these."""
        if not self.turned:
            return np.array([[1.0, 0.0, 0.0], [0.0, 1.0, 0.0]])
        return np.array([[0.0, 1.0, 0.0], [-1.0, 0.0, self.grey.shape[0] - 1.0]])

    def to_photo(self, xy_px: FloatArray) -> FloatArray:
        """Carry pixels (N, 2) back to the photo as displayed."""
        if not self.turned:
            return xy_px
        return np.stack([self.grey.shape[0] - 1 - xy_px[:, 1], xy_px[:, 0]], axis=-1)


@dataclass(frozen=True, eq=False)
class Ring:
    """The ring as found.

    Attributes
    ----------
    level : Level
    scene : EdgeScene
    unknowns : Unknowns
        Those of the fit without its lines.
    seen : Seen
        What was fitted.
    clear, likely : float
        How clear its lines and ends are together; how sharp the unrolled rim is, and its ends, less what the fit
        strains.
    """

    level: Level
    scene: EdgeScene
    unknowns: Unknowns
    seen: Seen
    clear: float
    likely: float

    @property
    def along(self) -> Along:
        """Where the camera stands."""
        return self.scene.along

    @property
    def fit(self) -> "_Fit":
        """What a finer fit starts from."""
        return self.scene, self.unknowns, self.seen


def quarter_turned(image: npt.NDArray[Values]) -> npt.NDArray[Values]:
    """Turn a picture so that a standing ring lies level."""
    return np.ascontiguousarray(np.rot90(image))


def find_ring(photo: Photo, seen: Mask, sighting: Sighting | None, diameter_mm: float | None) -> Ring | None:
    """Find the ring, lying level or standing.

    Parameters
    ----------
    photo : Photo
    seen : (H, W) ndarray of bool
        Where to look.
    sighting : Sighting, optional
        A reference in the plane that touches the nearest edge.
    diameter_mm : float, optional

    Returns
    -------
    Ring or None
    """
    ways = []
    for turned in (False, True):
        level = Level.of(photo.grey, seen, turned=turned)
        lines = long_lines(Picture.of(level.grey, level.seen, SEARCH_PX))
        ways.append((sum(abs(line.strength) ** 3 for line in lines) ** (1 / 3), level, lines))
    ways.sort(key=lambda way: -way[0])
    found: list[Ring] = []
    for clear, level, lines in ways:
        if clear > 0 and clear > RIVAL_WAY * ways[0][0] and (not found or found[0].likely < ENOUGH):
            picture = Picture.of(level.grey, level.seen, FOLLOW_PX)
            found += _ways_to_end(_Search(photo, level, picture, sighting, diameter_mm), runs_of(picture, lines))
            found.sort(key=lambda ring: -ring.likely)
    if not found or found[0].clear < LEAST_CLEAR:
        return None
    best = found[0]
    again = _fine(best.level, best.fit, (0, 1, 2))
    return again if again is not None and again.likely > best.likely else best


@dataclass(frozen=True, eq=False)
class _Search:
    """One way of lying, looked through."""

    photo: Photo
    level: Level
    picture: Picture
    sighting: Sighting | None
    diameter_mm: float | None


def _ways_to_end(search: _Search, runs: Sequence[Run]) -> list[Ring]:
    """Fit the likely ends with each lens that the photo may have; fit the likeliest of these finely."""
    if len(runs) < 2:
        return []
    tried = [(ends, lens) for ends in likely_ends(search.picture, runs) for lens in lenses(search.photo)]
    rough = [fit for ends, lens in tried if (fit := _rough(search, runs, ends, lens)) is not None]
    once = [ring for fit in rough if (ring := _fine(search.level, fit, (0,))) is not None]
    once.sort(key=lambda ring: -ring.likely)
    found: list[Ring] = []
    for ring in once[:FINELY]:
        if not found or max(other.likely for other in found) < ENOUGH:
            again = _fine(search.level, ring.fit, (1,))
            found.append(ring if again is None else again)
    return found


def _likely(level: Level, scene: EdgeScene, heights_mm: Sequence[float]) -> float:
    """Rate a camera's place: how sharp the unrolled rim is from there, less what the fit strains."""
    span_mm = (min(heights_mm) - FOCUS_MM, max(heights_mm) + FOCUS_MM)
    focus = Unrolled.of(level.grey, level.seen, scene.along, span_mm).focus
    return FOCUS_WORTH * focus - STRAINED * scene.strain


_Fit = tuple[EdgeScene, Unknowns, Seen]


def _rough(search: _Search, runs: Sequence[Run], ends: Ends, lens: tuple[float, float]) -> _Fit | None:
    """Fit the clearest lines between two ends, dropping those of other things."""
    picture, size_px = search.picture, search.level.size_px
    lines = _lines_between(picture, runs, ends)
    if len(lines) < 2:
        return None
    unknowns, start, seen = _known(search, lens, lines[0])
    columns = [None if x is None else float(picture.to_photo(np.array(float(x)))) for x in (ends.left, ends.right)]
    if columns[0] is not None and columns[1] is not None and search.sighting is None:
        start |= between_ends((columns[0], columns[1]), float(np.exp(unknowns.table["log_focal"].start)), size_px[0])
    scene = None
    for core in CORES:
        along = scene.along if scene else along_of(_values(unknowns) | start, size_px)
        heights = [float(np.median(along.on_cylinder(line, along.radius_mm)[1])) for line in lines]
        ends_px = _end_points(along, columns, float(np.mean(heights)))
        seen = replace(seen, lines=lines, corner=[False] * len(lines), ends_px=ends_px)
        scene = fit_edge(with_lines(unknowns, heights).restart(start), seen, size_px, core=core)
        start = dict(scene.values)
        lines = _kin(lines, scene.line_rms_px, STRANGER * picture.shrink / 2)
    return None if scene is None else (scene, unknowns, seen)


def _known(search: _Search, lens: tuple[float, float], line: FloatArray) -> tuple[Unknowns, dict[str, float], Seen]:
    """Return the unknowns, where they start, and the reference if there is one."""
    photo, level = search.photo, search.level
    unknowns = first_unknowns(photo, lens, search.diameter_mm)
    roll = float(np.arctan(np.polyfit(line[:, 0], line[:, 1], 1)[0]))
    seen = Seen([], [], end_std_px=ENDS_STD * level.size_px[0], point_std_px=0.5 * search.picture.shrink)
    if search.sighting is None:
        return unknowns, {"roll": roll}, seen
    corners_px, corners_mm = corners_of(search.sighting, level.from_photo)
    add_reference(unknowns, max(search.sighting.figure.size_std))
    start, clear_mm = before_reference(
        corners_px, corners_mm, focal_px(lens[0], photo.width, photo.height), level.size_px
    )
    start["log_clear"] = float(np.log(clear_mm)) - unknowns.table["log_radius"].start
    start["roll"] = roll
    exact = search.sighting.figure.kind.startswith("tag")
    corner_std_px = TAG_CORNER_STD_PX if exact else CARD_CORNER_STD_PX
    seen = replace(seen, corners_px=corners_px, corners_mm=corners_mm, corner_std_px=corner_std_px)
    return unknowns, start, seen


def _values(unknowns: Unknowns) -> dict[str, float]:
    return {name: unknown.start for name, unknown in unknowns.table.items()}


def _lines_between(picture: Picture, runs: Sequence[Run], ends: Ends) -> list[FloatArray]:
    """Return the clearest lines' points between two ends, thinned, in the photo's pixels."""
    low, high = ends.left or 0, ends.right or picture.step.shape[1]
    ranked = sorted(runs, key=lambda run: -run.weight(picture.step.shape[1]))
    kept = [run.points[(run.points[:, 0] >= low) & (run.points[:, 0] <= high)] for run in ranked]
    long = [points for points in kept if len(points) >= POINTS]
    return [picture.to_photo(points[:: max(1, len(points) // POINTS)]) for points in long[:MOST_LINES]]


def _kin(lines: Sequence[FloatArray], rms_px: Sequence[float], most_px: float) -> list[FloatArray]:
    """Return the lines that fit, two at least."""
    good = [line for line, rms in zip(lines, rms_px, strict=True) if rms < most_px]
    return good if len(good) >= 2 else [lines[i] for i in np.argsort(rms_px)[:2]]


def _end_points(along: Along, columns: Sequence[float | None], height_mm: float) -> FloatArray:
    """Return a point of each end that is known, at a height of the rim."""
    angle = along.last_angle_rad * 0.9999
    ends = along.pixels(along.points(np.array([-angle, angle]), height_mm, along.radius_mm))
    placed = [
        (x, float(end[1] + (x - end[0]) * np.tan(along.roll_rad)))
        for x, end in zip(columns, ends, strict=True)
        if x is not None
    ]
    return np.array(placed, np.float64).reshape(-1, 2)


def _fine(level: Level, fit: "_Fit", turns: Sequence[int]) -> Ring | None:
    """Fit the level lines of the unrolled rim at full size, ever more finely, and the outline's ends with them."""
    scene, unknowns, seen = fit
    heights = [scene.line_mm(number) for number in range(len(seen.lines))]
    kept: list[LevelLine] = []
    ends: list[tuple[FloatArray, float]] = []
    for turn in turns:
        along = scene.along
        unrolled = Unrolled.of(level.grey, level.seen, along, (min(heights) - MARGIN_MM, max(heights) + MARGIN_MM))
        lines = [_straight(line, turn, unrolled.px_per_mm) for line in unrolled.lines(REACHES_MM[turn], NEARS_MM[turn])]
        kept = sorted((line for line in lines if line is not None), key=_clearness)[-MOST_LEVEL:]
        if len(kept) < 2:
            return None
        heights = [float(np.median(line.heights_mm)) for line in kept]
        width = level.size_px[0]
        reach, spread = END_REACHES[turn], (min(heights), max(heights))
        ends = [found for side in (-1, 1) if (found := _end_at(level, along, (side, *spread), reach)) is not None]
        ends_px = np.array([place for place, _ in ends]).reshape(-1, 2)
        seen = replace(seen, ends_px=ends_px, end_std_px=FINE_ENDS_STD[turn] * width, point_std_px=FINE_POINT_STD_PX)
        for most_px in (ODD_PX, None):
            points = [line.points_px for line in kept]
            seen = replace(seen, lines=points, corner=[False] * len(points))
            trial = with_lines(unknowns, [line.height_mm for line in kept]).restart(_placeless(scene.values))
            scene = fit_edge(trial, seen, level.size_px, core=FINE_CORES[turn])
            if most_px is not None:
                kept = _level_ones(kept, scene.line_rms_px)
        heights = [scene.line_mm(number) for number in range(len(kept))]
    clear = sum(_clearness(line) for line in kept) + ENDS_WORTH * sum(sure for _, sure in ends)
    likely = _likely(level, scene, heights) + ENDS_WORTH * sum(sure for _, sure in ends)
    return Ring(level, scene, unknowns, seen, clear, likely)


def _placeless(values: Mapping[str, float]) -> dict[str, float]:
    """Return the unknowns without the lines' heights."""
    return {name: value for name, value in values.items() if not name.startswith("line")}


def _level_ones(lines: Sequence[LevelLine], rms_px: Sequence[float]) -> list[LevelLine]:
    """Leave out lines that are less level than the others: shadows, the face's far rim, the hat's."""
    most = max(ODD_PX, ODD * float(np.median(rms_px)))
    good = [line for line, rms in zip(lines, rms_px, strict=True) if rms < most]
    return good if len(good) >= 2 else list(lines)


def _clearness(line: LevelLine) -> float:
    return min(line.step * len(line.parts) / max(line.in_sight, 1), CLEAR_LINE)


def _straight(line: LevelLine, turn: int, px_per_mm: float) -> LevelLine | None:
    """Keep the parts of a line along which it is smooth; None where too few are."""
    if len(line.parts) < LEAST_PARTS:
        return None
    design = np.vander(line.parts / (PARTS / 2) - 1.0, BENDS[turn] + 1)
    gap, weight = np.zeros(len(design)), np.ones(len(design))
    for _ in range(4):
        scaled = design * weight[:, None]
        bend = np.linalg.solve(scaled.T @ design + 1e-9 * np.eye(design.shape[1]), scaled.T @ line.heights_mm)
        gap = np.abs(line.heights_mm - design @ bend)
        weight = 1 / (1 + (gap / max(0.08, 1.2 * float(np.median(gap)))) ** 2) ** 2
    good = gap < max(LEAST_STRAY_MM, STRAY_PX / px_per_mm)
    if good.sum() < max(LEAST_PARTS, KEPT_SHARES[turn] * line.in_sight):
        return None
    return replace(line, points_px=line.points_px[good], heights_mm=line.heights_mm[good], parts=line.parts[good])


def _end_at(
    level: Level, along: Along, where: tuple[int, float, float], reach: float
) -> tuple[FloatArray, float] | None:
    """Find the outline's end near where it was: a clear upright edge, where the rim's lines stop.

    Returns
    -------
    (2,) ndarray, float
        The end in pixels; how surely it is one, about 0 to 1.3. None where no upright edge is sure enough.
    """
    side, low_mm, high_mm = where
    reach_px = round(reach * level.size_px[0])
    beside = np.arange(-reach_px, reach_px + 1, dtype=np.float64)
    heights = np.concatenate([np.linspace(low_mm, high_mm, 26)[1:-1], [low_mm, high_mm]])
    feet = along.pixels(along.points(np.full(26, side * along.last_angle_rad * 0.9999), heights, along.radius_mm))
    across = np.array([np.cos(along.roll_rad), np.sin(along.roll_rad)])
    level_log, inside = _read(level, feet[:24, None] + beside[None, :, None] * across)
    edge = np.where(inside & _in_sight(level, feet[12] + beside[:, None] * across), _upright(level_log), 0.0)
    stops = _stops(level, feet[24:, None] + beside[None, :, None] * across, side)
    likely = (edge + STOPS * stops) * (edge > LEAST_END) * np.exp(-0.5 * (beside / (1.0 * reach_px)) ** 2)
    best = int(likely.argmax())
    sure = float(stops[best] + min(edge[best], CLEAR_LINE))
    if edge[best] < LEAST_END or sure < SURE_END:
        return None
    return (feet[:24].mean(axis=0) + beside[best] * across, sure)


def _read(level: Level, where_px: FloatArray) -> tuple[Map, Mask]:
    """Read the logarithm of brightness (N, W), and which columns lie in the frame."""
    width, height = level.size_px
    inside = ((where_px > 2) & (where_px < np.array([width - 3, height - 3]))).all(axis=(0, 2))
    read = read_at(level.grey, where_px.astype(np.float32))
    return np.log(read.astype(np.float32) + DARK), np.asarray(inside)


def _stops(level: Level, lines_px: FloatArray, side: int) -> FloatArray:
    """How much clearer lines (L, W, 2) are inward of a column than outward of it, -1 to 1."""
    around = lines_px[None] + np.arange(-4, 5)[:, None, None, None] * np.array([0.0, 1.0])
    log = _read(level, around.reshape(-1, *lines_px.shape[1:]))[0].reshape(9, *lines_px.shape[:2])
    step = np.abs(log[2:] - log[:-2]).max(axis=0)
    shown = np.minimum(step / max(float(np.median(step)), 0.05), 2.0).mean(axis=0)[::side]
    window = max(3, len(shown) // 8)
    total = np.concatenate([[0.0], np.cumsum(shown)])
    at = np.arange(len(shown))
    before, after = np.maximum(at - window, 0), np.minimum(at + window + 1, len(shown))
    inward = (total[at] - total[before]) / np.maximum(at - before, 1)
    outward = (total[after] - total[at + 1]) / np.maximum(after - at - 1, 1)
    return np.asarray(np.clip(inward - outward, -1, 1)[::side], np.float64)


def _in_sight(level: Level, xy_px: FloatArray) -> Mask:
    """Whether points (N, 2) lie in the frame and may be looked at."""
    x, y = xy_px.round().astype(int).T
    width, height = level.size_px
    inside = (x >= 0) & (x < width) & (y >= 0) & (y < height)
    seen: Mask = inside & level.seen[np.clip(y, 0, height - 1), np.clip(x, 0, width - 1)]
    return seen


def _upright(log: Map) -> FloatArray:
    """How much brightness changes along rows (24, W), where neighbouring rows agree."""
    step = np.zeros_like(log)
    step[:, 2:-2] = np.clip(log[:, 4:] - log[:, :-4], -0.6, 0.6)
    return np.asarray(np.abs(step.reshape(4, 6, -1).mean(axis=1)).mean(axis=0), np.float64)
