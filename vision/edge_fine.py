"""The ring fitted finely: every level line of the unrolled rim and both of the outline's ends, at full size."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from vision.edge_end import find_end
from vision.edge_level import Level
from vision.edge_pose import Along
from vision.edge_scene import EdgeScene, Seen, fit_edge
from vision.edge_start import with_lines
from vision.edge_unrolled import PARTS, LevelLine, Unrolled
from vision.measurement import FloatArray
from vision.unknowns import Unknowns

# What a fit starts from and ends with: the scene, its unknowns without lines, and what was seen.
Fit = tuple[EdgeScene, Unknowns, Seen]

# From turn to turn: how far from level a part of a line may be seen, and is likelier to be; by what power a line may
# bend; the share of its parts that must lie on it; the robust core; how far from where they were the ends are looked
# for, and their deviation, as shares of the width.
REACHES_MM, NEARS_MM, BENDS, KEPT_SHARES = (1.5, 0.6, 0.4), (2.0, 0.4, 0.2), (2, 1, 1), (0.5, 0.55, 0.55)
FINE_CORES, END_REACHES, ENDS_STD = (6.0, 2.5, 2.5), (0.06, 0.03, 0.02), (0.004, 0.0015, 0.001)
# Above and below the lines found, the rim is unrolled so far; a part may stray so far; so many parts make a line;
# rows looked at, and lines kept, at most.
MARGIN_MM = 25.0
STRAY_PX, LEAST_STRAY_MM, LEAST_PARTS, ROWS, MOST_LINES = 1.0, 0.1, 8, 24, 10
# Neighbouring parts of a line stray together: each counts for less than its own spread.
POINT_STD_PX = 1.0
# A line that is so much less level than the others, px and times their median, is none of the rim's.
ODD_PX, ODD = 0.35, 1.8
CLEAR_LINE = 0.3
# Seen from the right place, all of the rim's lines are level at once: how much that is worth, and so far beyond them;
# what an end is worth; what each square of a deviation costs by which the fit strains what is known.
FOCUS_WORTH, FOCUS_MM, ENDS_WORTH, STRAINED = 1.5, 6.0, 0.5, 0.03


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
    def heights_mm(self) -> list[float]:
        """Its lines' heights above the camera's plane."""
        return [self.scene.line_mm(number) for number in range(len(self.seen.lines))]

    @property
    def middle_mm(self) -> float:
        """The middle of its lines' heights."""
        return (min(self.heights_mm) + max(self.heights_mm)) / 2

    @property
    def fit(self) -> Fit:
        """What a finer fit starts from."""
        return self.scene, self.unknowns, self.seen


def fit_finely(level: Level, fit: Fit, turns: Sequence[int]) -> Ring | None:
    """Fit the level lines of the unrolled rim at full size, ever more finely, and the outline's ends with them."""
    scene, unknowns, seen = fit
    heights = [scene.line_mm(number) for number in range(len(seen.lines))]
    kept: list[LevelLine] = []
    ends: list[tuple[FloatArray, float]] = []
    for turn in turns:
        along = scene.along
        unrolled = Unrolled.of(level.grey, level.seen, along, (min(heights) - MARGIN_MM, max(heights) + MARGIN_MM))
        rows = unrolled.lines(REACHES_MM[turn], NEARS_MM[turn], ROWS)
        lines = [_straight(line, turn, unrolled.px_per_mm) for line in rows]
        kept = sorted((line for line in lines if line is not None), key=_clearness)[-MOST_LINES:]
        if len(kept) < 2:
            return None
        heights = [float(np.median(line.heights_mm)) for line in kept]
        width = level.size_px[0]
        reach, spread = END_REACHES[turn], (min(heights), max(heights))
        ends = [found for side in (-1, 1) if (found := find_end(level, along, (side, *spread), reach)) is not None]
        ends_px = np.array([place for place, _ in ends]).reshape(-1, 2)
        seen = replace(seen, ends_px=ends_px, end_std_px=ENDS_STD[turn] * width, point_std_px=POINT_STD_PX)
        for last in (False, True):
            points = [line.points_px for line in kept]
            seen = replace(seen, lines=points, corner=[False] * len(points))
            trial = with_lines(unknowns, [line.height_mm for line in kept]).restart(_placeless(scene.values))
            scene = fit_edge(trial, seen, level.size_px, core=FINE_CORES[turn])
            good = kept if last else _level_ones(kept, scene.line_rms_px)
            if len(good) == len(kept):
                break
            kept = good
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
    least = max(LEAST_PARTS, KEPT_SHARES[turn] * line.in_sight)
    if len(line.parts) < least:
        return None
    design = np.vander(line.parts / (PARTS / 2) - 1.0, BENDS[turn] + 1)
    gap, weight = np.zeros(len(design)), np.ones(len(design))
    for _ in range(4):
        scaled = design * weight[:, None]
        bend = np.linalg.solve(scaled.T @ design + 1e-9 * np.eye(design.shape[1]), scaled.T @ line.heights_mm)
        gap = np.abs(line.heights_mm - design @ bend)
        weight = 1 / (1 + (gap / max(0.08, 1.2 * float(np.median(gap)))) ** 2) ** 2
    good = gap < max(LEAST_STRAY_MM, STRAY_PX / px_per_mm)
    if good.sum() < least:
        return None
    return replace(line, points_px=line.points_px[good], heights_mm=line.heights_mm[good], parts=line.parts[good])


def _likely(level: Level, scene: EdgeScene, heights_mm: Sequence[float]) -> float:
    """Rate a camera's place: how sharp the unrolled rim is from there, less what the fit strains."""
    span_mm = (min(heights_mm) - FOCUS_MM, max(heights_mm) + FOCUS_MM)
    focus = Unrolled.of(level.grey, level.seen, scene.along, span_mm).focus
    return FOCUS_WORTH * focus - STRAINED * scene.strain
