"""A fitted scene looked at from near: its rim, coin or card sampled where nets see the edge that counts."""

from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from vision.assemble import Sights
from vision.band import BoolArray
from vision.circle_pose import circle
from vision.concentric import Circle
from vision.edges import Image
from vision.figure import EdgeSamples
from vision.measurement import FloatArray
from vision.near_look import POINTS, SIDES, Course, Near, round_sides, shipped_near_net
from vision.outline_look import COLUMNS
from vision.placing import Placed
from vision.references.coin import coin_figure
from vision.references.lying import READINGS
from vision.references.parse import parse_kind
from vision.references.search import corners_mm
from vision.request import Request
from vision.scene import Scene

# Columns that must show, of 128, for something round to be told so; sides of a card that must.
LEAST_COLUMNS, LEAST_SIDES = 30, 3
# A coin whose size was told less surely than this looks unlike those that the nets know: a real one on paper did, and
# seen from near was taken for its inner ring.
KNOWN_COIN_STD = 0.012
# A hat hides what is so near its outline. A ring's inner edge departs from where it is taken to run by no larger waves.
CLEAR_MM, MOST_WAVE_MM, MOST_INNER_STD_MM = 1.5, 2.0, 0.22
# A card's corners are rounded: no side runs so near them.
ROUNDED_MM = 4.0
# A card whose sides are so unsure, and one of which shows so little of what nothing hides, is not where it is taken to
# be: of 61 cards that the nets don't know 60 are surer or show all their sides to 0.94; the one that was 7 % off has
# 0.21 mm and 0.66.
UNCLEAR_MM, CLEAR_SHARE = 0.17, 0.85


@dataclass(frozen=True)
class Doubt:
    """What is left of doubt of an outline as a whole, mm, by how far its rows spread: ``least + steep spread**3``.

    Read off photos that the nets don't know: of 282 rims half are off by 0.024 mm and 19 in 20 by less than 0.15, of
    31 coins' radii 0.025 and 0.12, of 308 sides of cards 0.037 and 0.22.
    """

    least_mm: float
    steep: float

    def std_mm(self, spread_mm: FloatArray) -> float:
        """Return the deviation for the spreads of all columns that show."""
        return self.least_mm + self.steep * float(np.median(spread_mm)) ** 3


INNER = "ring_inner"
RIM_DOUBT, INNER_DOUBT, COIN_DOUBT = Doubt(0.025, 20.0), Doubt(0.03, 20.0), Doubt(0.012, 60.0)


def seen_near(bgr: Image, request: Request, scene: Scene, sights: Sights, *, by_hand: bool) -> Sights:
    """Look at a scene's rim, its ring's inner edge and references from near.

    Parameters
    ----------
    bgr : (H, W, 3) ndarray of uint8
    request : Request
    scene : Scene
        Fitted to the sights, right to a millimetre or two.
    sights : Sights
    by_hand : bool
        A person set the rim: it stays, as references do that a person marked.

    Returns
    -------
    Sights
        What could not be seen so is left as it was; a reference is left out that from near too is hardly one.
    """
    placed = sights.placed
    if request.reference_xy_px is None:
        looked = [_reference(bgr, request, scene, each) for each in placed]
        placed = tuple(each for each in looked if each is not None)
    rim = None if by_hand else _rim(bgr, scene)
    sights = replace(sights, placed=placed)
    if INNER in sights.circles:
        inner = _inner(bgr, scene, sights.circles[INNER], sights.circles.get("hat"))
        sights = replace(sights, circles={**sights.circles, INNER: inner})
    return sights if rim is None else replace(sights, rim=rim[0], rim_std_mm=rim[1])


def _rim(bgr: Image, scene: Scene) -> tuple[EdgeSamples, float] | None:
    level_mm = -scene.values["chamfer"]
    course = Course.of(scene, *(circle(scene.rim_radius_mm + more, POINTS, level_mm) for more in (0.0, 1.0)))
    return _round(shipped_near_net("rim").look(bgr, course), course, RIM_DOUBT)


def _inner(bgr: Image, scene: Scene, near: Circle, hat: Circle | None) -> Circle:
    """Return the ring's inner edge as it is seen from near, or as it was."""
    course = Course.of(scene, *(circle(near.radius_mm + more, POINTS, near.height_mm) for more in (0.0, 1.0)))
    seen = shipped_near_net("inner").look(bgr, course)
    if hat is not None:
        seen = seen.without(_behind(scene, hat, course))
    told = _round(seen, course, INNER_DOUBT) if seen.is_round(MOST_WAVE_MM) else None
    if told is None or told[1] > MOST_INNER_STD_MM:
        return near
    samples, std_mm = told
    radius_mm = float(np.hypot(*scene.to_plane(samples.xy_px, near.height_mm).T).mean())
    support = len(samples) / COLUMNS
    return replace(near, radius_mm=radius_mm, samples=samples, support=support, edge_std_mm=std_mm, seen_near=True)


def _behind(scene: Scene, hat: Circle, course: Course) -> BoolArray:
    """Return which columns of a course on the face a hat stands before, (COLUMNS,)."""
    outline = scene.to_plane(scene.to_pixels(circle(hat.radius_mm + CLEAR_MM, POINTS, hat.height_mm)))
    turn, reach = np.arctan2(outline[:, 1], outline[:, 0]), np.hypot(*outline.T)
    order = np.argsort(turn)
    x, y = scene.to_plane(course.column_px).T
    return np.asarray(np.hypot(x, y) < np.interp(np.arctan2(y, x), turn[order], reach[order], period=2 * np.pi))


def _reference(bgr: Image, request: Request, scene: Scene, placed: Placed) -> Placed | None:
    """Return a coin or a card as it is seen from near, None where it is none; others are told as well without."""
    kind = placed.sighting.figure.kind.split(":")[0]
    return {"coin": _coin, "card": _card}[kind](bgr, request, scene, placed) if kind in ("coin", "card") else placed


def _coin(bgr: Image, request: Request, scene: Scene, placed: Placed) -> Placed:
    figure, height_mm = placed.sighting.figure, placed.height_mm(scene, request)
    if figure.size_std[0] > KNOWN_COIN_STD:
        return placed
    radius_mm = (figure.radius_mm or 0.0) * (1 + scene.values[f"{placed.name}_size_x"])
    middle = np.append(placed.on_plane(scene, np.zeros((1, 2)))[0], 0.0)
    course = Course.of(scene, *(circle(radius_mm + more, POINTS, height_mm) + middle for more in (0.0, 1.0)))
    told = _round(shipped_near_net("coin").look(bgr, course), course, COIN_DOUBT)
    if told is None:
        return placed
    samples, std_mm = told
    figure = coin_figure(parse_kind(figure.kind), std_mm / radius_mm)
    return replace(placed, sighting=replace(placed.sighting, samples=samples, figure=figure))


def _card(bgr: Image, request: Request, scene: Scene, placed: Placed) -> Placed | None:
    width_mm, depth_mm = 2 * placed.sighting.figure.sides[:2, 2]
    corners = placed.on_plane(scene, corners_mm(width_mm, depth_mm))
    foot, out = (placed.lifted(scene, request, part) for part in round_sides(corners))
    course = Course.of(scene, foot, out)
    hidden = np.zeros(COLUMNS, bool)
    if placed.lies == "bench":
        hidden = np.hypot(*scene.to_plane(course.column_px).T) < scene.rim_radius_mm
    seen, use = shipped_near_net("card").look(bgr, course), straight_columns(corners) & ~hidden
    samples, std_mm = _sides(seen, course, use)
    if len(np.unique(samples.side)) < LEAST_SIDES:
        return placed
    if std_mm > UNCLEAR_MM and _least_shown(seen, use) < CLEAR_SHARE:
        return None
    return replace(placed, sighting=replace(placed.sighting, samples=samples))


def _round(seen: Near, course: Course, doubt: Doubt) -> tuple[EdgeSamples, float] | None:
    """Return samples of something round, and the deviation, mm, of all of them together."""
    offset_mm, spread_mm, shows = seen.round_mm()
    count = int(shows.sum())
    if count < LEAST_COLUMNS:
        return None
    xy_px = course.moved_px(offset_mm)
    std_px = spread_mm * course.column_px_per_mm
    # Light and shadow have had their say in the net: no bloom is told by what it sees.
    samples = EdgeSamples(xy_px[shows], np.zeros(count), std_px[shows], np.zeros(count, np.intp))
    return samples, doubt.std_mm(spread_mm[shows])


def straight_columns(corners: FloatArray) -> BoolArray:
    """Return in which columns, (COLUMNS,), a card's sides run straight, of its corners (4, 2), mm."""
    share = (np.arange(COLUMNS // SIDES) + 0.5) * SIDES / COLUMNS
    lengths_mm = np.linalg.norm(np.roll(corners, -1, axis=0) - corners, axis=1)
    return np.asarray((np.minimum(share, 1 - share) * lengths_mm[:, None] > ROUNDED_MM).ravel())


def _least_shown(seen: Near, use: BoolArray) -> float:
    """Return the share of its columns in use that the side shows that shows least."""
    shown = seen.share.sum(axis=0)
    return min(float(shown[own][use[own]].mean()) for own in _own_columns() if use[own].any())


def _own_columns() -> list[npt.NDArray[np.intp]]:
    """Return each side's columns."""
    return np.split(np.arange(COLUMNS), SIDES)


def _sides(seen: Near, course: Course, use: BoolArray) -> tuple[EdgeSamples, float]:
    """Return a few readings of each side, and the mean of the sides' own deviations, mm.

    Readings weigh together as much as one of a side's doubt: more would pass for as many tellings of the same thing.
    """
    xy_px, std_px, side, stds_mm = [np.zeros((0, 2))], [np.zeros(0)], [np.zeros(0, np.intp)], []
    for number, own in enumerate(_own_columns()):
        told = seen.straight_mm(own, use[own])
        if told is None:
            continue
        offset_mm, std_mm = told
        line, column = np.zeros(COLUMNS), own[use[own]]
        line[own] = offset_mm
        at = column[np.rint(np.array(READINGS) * (len(column) - 1)).astype(int)]
        xy_px.append(course.moved_px(line)[at])
        std_px.append(np.sqrt(len(at)) * std_mm * course.column_px_per_mm[at])
        side.append(np.full(len(at), number))
        stds_mm.append(std_mm)
    joined = np.concatenate(xy_px)
    samples = EdgeSamples(joined, np.zeros(len(joined)), np.concatenate(std_px), np.concatenate(side))
    return samples, float(np.mean(stds_mm or [np.inf]))
