"""Finding the ring in a photo along its plane: which way it lies, how the camera stands to it, where it ends."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from vision.edge_fine import Fit, Ring, fit_finely
from vision.edge_guess import GUESS_PX, Guesses
from vision.edge_level import Level
from vision.edge_lines import FOLLOW_PX, SEARCH_PX, Line, Picture, long_lines
from vision.edge_outline import Ends, Run, likely_ends, runs_of
from vision.edge_pose import Along
from vision.edge_scene import EdgeScene, Seen, along_of, corners_of, fit_edge
from vision.edge_start import add_reference, before_reference, between_ends, first_unknowns, with_lines
from vision.figure import Sighting
from vision.lens import Lens, lenses, usual_focal_px
from vision.measurement import FloatArray
from vision.photo import Photo
from vision.ring import Mask
from vision.unknowns import Unknowns

# The other way of lying is tried as well where its lines are so clear.
RIVAL_WAY = 0.4
# First fits: lines at most, points of each, their deviation in the picture for following, robust cores in
# deviations, the misfit over which a line is another thing's, the ends' deviation as a share of the width.
MOST_LINES, POINTS, POINT_STD, CORES, STRANGER, ENDS_STD = 6, 50, 2.0, (10.0, 4.0, 2.5), 0.85, 0.005
# So many of the likeliest ends are tried with all lenses that the photo may have; so many first fits, and guesses, are
# made fine, fewer where one is so likely; a find less clear than this is none.
ALL_LENSES, FINELY, ENOUGH, LEAST_CLEAR, LEAST_LIKELY = 1, 2, 2.4, 0.15, 0.6
# A find less likely than this is tried again by guesses at the outline's ends; where lines are looked for from there.
UNLIKELY, GUESSED_MM = 1.5, (34.0, -34.0)
# A tag's corners come out of some hundred edges between its cells, a card's out of four sides that may be hardly seen.
TAG_CORNER_STD_PX, CARD_CORNER_STD_PX = 0.3, 1.5


def find_rings(photo: Photo, seen: Mask, sighting: Sighting | None, diameter_mm: float | None) -> list[Ring]:
    """Find what may be the ring, lying level or standing, the likeliest first.

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
    list of Ring
        Clear ones only.
    """
    levels = [Level.of(photo.grey, seen, turned=turned) for turned in (False, True)]
    ways = [(level, long_lines(Picture.of(level.grey, level.seen, SEARCH_PX))) for level in levels]
    ways.sort(key=lambda way: -_clear(way[1]))
    clear = [(level, lines) for level, lines in ways if lines and _clear(lines) > RIVAL_WAY * _clear(ways[0][1])]
    searches = [_Search(photo, level, lines, sighting, diameter_mm) for level, lines in clear]
    found: list[Ring] = []
    for search in searches:
        if _likelihood(found) < ENOUGH:
            found = _likeliest([*found, *_ways_to_end(search)])
    if found:
        found = _likeliest([*found, fit_finely(found[0].level, found[0].fit, (0, 1, 2))])
    for search in searches:
        if _likelihood(found) < UNLIKELY:
            found = _likeliest([*found, *_guessed(search)])
    return [ring for ring in found if ring.clear > LEAST_CLEAR and ring.likely > LEAST_LIKELY]


def _clear(lines: Sequence[Line]) -> float:
    return float(sum(abs(line.strength) ** 3 for line in lines) ** (1 / 3))


def _likelihood(found: Sequence[Ring]) -> float:
    return found[0].likely if found else -np.inf


def _likeliest(rings: Sequence[Ring | None]) -> list[Ring]:
    """Return what was found, the likeliest first."""
    return sorted((ring for ring in rings if ring is not None), key=lambda ring: -ring.likely)


@dataclass(frozen=True, eq=False)
class _Search:
    """One way of lying, looked through."""

    photo: Photo
    level: Level
    lines: Sequence[Line]
    sighting: Sighting | None
    diameter_mm: float | None

    @cached_property
    def picture(self) -> Picture:
        """The photo reduced to follow lines."""
        return Picture.of(self.level.grey, self.level.seen, FOLLOW_PX)


def _guessed(search: _Search) -> list[Ring]:
    """Fit finely from guesses at the camera's place."""
    lines, picture = search.lines, Picture.of(search.level.grey, search.level.seen, GUESS_PX)
    lens = lenses(search.photo)[0]
    unknowns, start, seen = _known(search, lens, float(np.arctan(lines[0].slope)))
    values = _values(unknowns) | start
    known = {name: values[name] for name in ("log_focal", "shift_x", "shift_y", "k1", "log_radius")}
    found: list[Ring | None] = []
    for guess in Guesses(picture, search.level.size_px, known, start.get("clear_mm")).likely(lines):
        placed = {name: value for name, value in (values | guess).items() if name in unknowns.table}
        at = placed | {f"line{number}": height for number, height in enumerate(GUESSED_MM)}
        scene = EdgeScene(at, np.zeros((0, 0)), search.level.size_px, [], 0.0, 0.0)
        found.append(fit_finely(search.level, (scene, unknowns, replace(seen, lines=[np.zeros((0, 2))] * 2)), (0, 0)))
    return _likeliest([fit_finely(ring.level, ring.fit, (1, 2)) for ring in _likeliest(found)[:FINELY]])


def _ways_to_end(search: _Search) -> list[Ring]:
    """Fit the likely ends with each lens that the photo may have; fit the likeliest of these finely."""
    runs = runs_of(search.picture, search.lines)
    if len(runs) < 2:
        return []
    usual, *others = lenses(search.photo)
    tried = [(ends, ring) for ends in likely_ends(search.picture, runs) if (ring := _once(search, runs, ends, usual))]
    tried.sort(key=lambda pair: -pair[1].likely)
    # Which ends are likely hardly depends on the lens.
    otherwise = [_once(search, runs, ends, lens) for ends, _ in tried[:ALL_LENSES] for lens in others]
    with_usual = _finely(search, [ring for _, ring in tried])
    return [*with_usual, *_finely(search, otherwise)]


def _finely(search: _Search, once: Sequence[Ring | None]) -> list[Ring]:
    """Fit the likeliest of a lens's rings finely, until one is likely enough."""
    found: list[Ring] = []
    for ring in _likeliest(once)[:FINELY]:
        if not found or max(other.likely for other in found) < ENOUGH:
            again = fit_finely(search.level, ring.fit, (1,))
            found.append(ring if again is None else again)
    return found


def _once(search: _Search, runs: Sequence[Run], ends: Ends, lens: Lens) -> Ring | None:
    """Fit roughly between two ends, and finely once."""
    fit = _rough(search, runs, ends, lens)
    return None if fit is None else fit_finely(search.level, fit, (0,))


def _rough(search: _Search, runs: Sequence[Run], ends: Ends, lens: Lens) -> Fit | None:
    """Fit the clearest lines between two ends, dropping those of other things."""
    picture, size_px = search.picture, search.level.size_px
    lines = _lines_between(picture, runs, ends)
    if len(lines) < 2:
        return None
    roll = float(np.arctan(np.polyfit(lines[0][:, 0], lines[0][:, 1], 1)[0]))
    unknowns, start, seen = _known(search, lens, roll)
    columns = [None if x is None else float(picture.to_photo(np.array(float(x)))) for x in (ends.left, ends.right)]
    if columns[0] is not None and columns[1] is not None:
        focal = float(np.exp(unknowns.table["log_focal"].start))
        start |= between_ends((columns[0], columns[1]), focal, size_px[0], start.get("clear_mm"))
    scene = None
    for core in CORES:
        along = scene.along if scene else along_of(_values(unknowns) | start, size_px)
        heights = [float(np.median(along.on_cylinder(line, along.radius_mm)[1])) for line in lines]
        ends_px = _end_points(along, columns, float(np.mean(heights)))
        seen = replace(seen, lines=lines, corner=[False] * len(lines), ends_px=ends_px)
        scene = fit_edge(with_lines(unknowns, heights).restart(start), seen, size_px, core=core)
        start = dict(scene.values)
        lines = _kin(lines, scene.line_rms_px, STRANGER * picture.shrink)
    return None if scene is None else (scene, unknowns, seen)


def _known(search: _Search, lens: Lens, roll: float) -> tuple[Unknowns, dict[str, float], Seen]:
    """Return the unknowns, where they start, and the reference if there is one."""
    photo, level = search.photo, search.level
    unknowns = first_unknowns(photo, lens, search.diameter_mm, turned=level.turned)
    seen = Seen([], [], end_std_px=ENDS_STD * level.size_px[0], point_std_px=POINT_STD * search.picture.shrink)
    if search.sighting is None:
        return unknowns, {"roll": roll}, seen
    corners_px, corners_mm = corners_of(search.sighting, level.from_photo)
    add_reference(unknowns, max(search.sighting.figure.size_std))
    start, clear_mm = before_reference(corners_px, corners_mm, usual_focal_px(photo, lens.f35_mm), level.size_px)
    start["log_clear"] = float(np.log(clear_mm)) - unknowns.table["log_radius"].start
    start["clear_mm"], start["roll"] = clear_mm, roll
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
