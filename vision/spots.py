"""Round marks on the ring: drilled holes, dimples, and whatever dirt looks like them; and how regularly they stand."""

from collections.abc import Sequence
from dataclasses import dataclass, field, replace

import cv2
import numpy as np
import numpy.typing as npt

from vision.measurement import FloatArray
from vision.ring import Map, Mask, Ring, wrapped

# Scales of the search, in half-size columns: radius = sigma * sqrt(2), so 4 to 16 mm across on a car's rotor.
SIGMAS = (1.5, 2.2, 3.2, 4.6, 6.6)
SEARCH_LIMIT = 5.0
RELIEF_CAP = 10.0
THRESHOLD = 0.55
MOST = 400
APART = 9
RAY_ANGLES = np.arange(16) * (2 * np.pi / 16)
RAYS = np.stack([np.cos(RAY_ANGLES), np.sin(RAY_ANGLES)], axis=-1)
REACH = np.linspace(0.0, 2.2, 23)
FOLDS = range(4, 61)
MATCH = 4.0
TRIED = 5
SOLID = 0.25
FILLED = 0.5


@dataclass(frozen=True, eq=False)
class Spots:
    """Candidates of one sort, one row each.

    Attributes
    ----------
    at : (N, 2) ndarray
        ``(column, row)`` on the unwrapped ring.
    radius : (N,) ndarray
        In columns.
    step : (N,) ndarray
        Logarithm of the inside's brightness over the surroundings'; negative for dark.
    strength : (N,) ndarray
        Size of the step (discs) or of the slope across (bowls) in units of the local noise.
    closure : (N,) ndarray
        Share of the outline that steps the same way (discs), share of the inside's variance that one slope across
        explains (bowls).
    level : (N,) ndarray
        Logarithm of the brightness inside.
    roughness : (N,) ndarray
        Spread of the brightness inside, in the units of ``step``.
    lean : (N,) ndarray of complex
        Slope of brightness across the inside, as a vector ``x + i y`` on the face, in the units of ``step``.
    folds : int
        How often the pattern repeats round the ring; 0 where nothing repeats.
    regularity : float
        Share of the candidates' weight that this repetition explains beyond chance.
    filled : float
        Share of the pattern's visible places that hold a candidate.
    regular : (N,) ndarray of bool
        Candidates that belong to it.
    """

    at: FloatArray
    radius: FloatArray
    step: FloatArray
    strength: FloatArray
    closure: FloatArray
    level: FloatArray
    roughness: FloatArray
    lean: npt.NDArray[np.complex128]
    folds: int = 0
    regularity: float = 0.0
    filled: float = 0.0
    regular: Mask = field(default_factory=lambda: np.zeros(0, bool))

    def __len__(self) -> int:
        return len(self.at)

    @property
    def weight(self) -> FloatArray:
        """Closed outlines that stand out count fully, faint or open ones hardly."""
        weight: FloatArray = np.clip((self.closure - 0.5) / 0.4, 0, 1) * np.clip(self.strength / 4.0, 0, 1)
        return weight


def find_discs(ring: Ring) -> Spots:
    """Find discs of 4 to 16 mm, dark, bright or half and half, and the pattern they repeat in.

    What counts is that the inside differs from the ring, not in which sense: one dimple may be dark where the ring
    glares, bright where it doesn't, and shaded on one side only.
    """
    small = np.clip(half_size(ring.relief), -SEARCH_LIMIT, SEARCH_LIMIT)
    return with_pattern(_disc_measures(ring, *_candidates([small, half_size(_difference(ring))], ring.seen)), ring)


def find_bowls(ring: Ring) -> Spots:
    """Find discs that are bright on the lamp's far side and dark on its near side, all leaning one way."""
    small = np.clip(half_size(ring.relief), -SEARCH_LIMIT, SEARCH_LIMIT)
    slope, _ = _slope_to_lamp(small, ring.step_rad * 2)
    return with_pattern(_bowl_measures(ring, *_candidates([slope], ring.seen)), ring)


def _difference(ring: Ring) -> Map:
    soft = cv2.GaussianBlur(ring.relief, (0, 0), 1.0)
    return np.asarray(-np.minimum(np.abs(soft), SEARCH_LIMIT), np.float32)


def half_size(image: Map) -> Map:
    """Shrink an unwrapped map to half its columns and rows."""
    rows, columns = image.shape
    return np.asarray(cv2.resize(image, (columns // 2, rows // 2), interpolation=cv2.INTER_AREA), np.float32)


def _slope_to_lamp(small: Map, step_rad: float) -> tuple[Map, float]:
    """Return the slope of brightness along the one direction of the face that it mostly runs in, and the direction.

    A lamp shades every bowl alike as seen in the photo, not as seen from the rotor's axis.
    """
    wide = cv2.GaussianBlur(wrapped(small, 8), (0, 0), 1.2)
    outward = -cv2.Sobel(wide, cv2.CV_32F, 0, 1, ksize=3, scale=0.125)[8:-8, 8:-8]
    onward = cv2.Sobel(wide, cv2.CV_32F, 1, 0, ksize=3, scale=0.125)[8:-8, 8:-8]
    angle = np.arange(small.shape[1]) * step_rad
    slope = (outward + 1j * onward) * np.exp(1j * angle)
    toward = float(np.angle((slope**2).sum())) / 2
    return np.asarray(3.0 * (slope * np.exp(-1j * toward)).real, np.float32), toward


def _candidates(maps: Sequence[Map], seen: Mask) -> tuple[FloatArray, FloatArray]:
    """Return places (N, 2) and radii (N,) of round marks in any of the maps, in columns, the strongest first."""
    found = [_roundness(small) for small in maps]
    blob, scale = found[0]
    for other, its_scale in found[1:]:
        scale = np.where(other > blob, its_scale, scale)
        blob = np.maximum(blob, other)
    row, column = np.nonzero(_peaks(blob) & (half_size(seen.astype(np.float32)) > 0.5))
    order = np.argsort(-blob[row, column])[:MOST]
    row, column = row[order], column[order]
    at = np.asarray(2.0 * np.stack([column, row], axis=-1) + 0.5, np.float64)
    return at, 2.0 * np.sqrt(2.0) * scale[row, column].astype(np.float64)


def _roundness(small: Map) -> tuple[Map, Map]:
    """Return the size of the smaller principal curvature over all scales, and the scale.

    A disc curves the same way in every direction, a groove or a streak in one only.
    """
    pad = int(3 * SIGMAS[-1])
    wide = wrapped(small, pad)
    best = np.zeros(wide.shape, np.float32)
    scale = np.full(wide.shape, SIGMAS[0], np.float32)
    for sigma in SIGMAS:
        soft = cv2.GaussianBlur(wide, (0, 0), sigma)
        xx, yy = (cv2.Sobel(soft, cv2.CV_32F, *order, ksize=3, scale=sigma**2 / 8) for order in ((2, 0), (0, 2)))
        xy = cv2.Sobel(soft, cv2.CV_32F, 1, 1, ksize=3, scale=sigma**2 / 4)
        size = cv2.absdiff(xx, -yy) - cv2.magnitude(xx - yy, xy)
        np.copyto(scale, np.float32(sigma), where=size > best)
        best = np.maximum(best, size)
    return best[pad:-pad, pad:-pad], scale[pad:-pad, pad:-pad]


def _peaks(size: Map) -> Mask:
    wide = wrapped(size, APART)
    top = cv2.dilate(wide, np.ones((APART, APART), np.uint8))[APART:-APART, APART:-APART]
    peaks: Mask = (size >= top) & (size > THRESHOLD)
    return peaks


@dataclass(frozen=True, eq=False)
class _Rays:
    """Brightness along rays from each candidate, in rings of equal radius, and where its outline lies."""

    depth: FloatArray
    relief: FloatArray
    level: FloatArray
    share: FloatArray

    @classmethod
    def read(cls, ring: Ring, at: FloatArray, radius: FloatArray, harmonic: int) -> "_Rays":
        depth, relief, level = (_read(image, at, RAYS, radius) for image in (ring.depth, ring.relief, ring.level))
        if harmonic:
            profile = np.abs((relief * np.exp(1j * harmonic * RAY_ANGLES)).mean(axis=2))
        else:
            profile = np.minimum(np.abs(relief), RELIEF_CAP).mean(axis=2)
        edge = 5.5 + (-np.diff(profile[:, 5:19], axis=1)).argmax(axis=1)
        return cls(depth, relief, level, np.arange(len(REACH))[None, :, None] / edge[:, None, None])

    def between(self, low: float, high: float) -> Mask:
        return (self.share > low) & (self.share < high)

    @property
    def edge_reach(self) -> FloatArray:
        """Radius of the outline in units of the search's radius."""
        reach: FloatArray = REACH[1] / np.maximum(self.share[:, 1, 0], 1e-9)
        return reach


def _disc_measures(ring: Ring, at: FloatArray, radius: FloatArray) -> Spots:
    """Size each candidate by where its mean profile is steepest, and compare inside and outside ray by ray."""
    rays = _Rays.read(ring, at, radius, harmonic=0)
    inner, core, outer = rays.between(0.35, 0.85), rays.between(-1, 0.8), rays.between(1.25, 1.75)
    around = _mean(rays.depth, outer)
    step = _mean(rays.depth, core) - around
    differs = np.minimum(np.abs(rays.relief), RELIEF_CAP)
    strength = _mean(differs, core) - _mean(differs, outer)
    jump = _mean_rays(differs, inner) - _mean_rays(differs, outer)
    closure = (jump > 0.35 * np.maximum(strength, 0.5)[:, None]).mean(axis=1)
    level, roughness = _inside(rays, core, around + step)
    return Spots(
        at,
        radius * rays.edge_reach,
        step,
        np.maximum(strength, 0),
        closure,
        level,
        roughness,
        _lean(rays, ring, at),
    )


def _bowl_measures(ring: Ring, at: FloatArray, radius: FloatArray) -> Spots:
    """Size each candidate by where the slope across ends, and ask how much of the inside that slope explains."""
    rays = _Rays.read(ring, at, radius, harmonic=1)
    inner, core, outer = rays.between(0.25, 0.95), rays.between(-1, 0.8), rays.between(1.25, 1.75)
    around = _mean(rays.depth, outer)
    step = _mean(rays.depth, core) - around
    ray_mean = _mean_rays(rays.relief, inner)
    wave = (ray_mean * np.exp(-1j * RAY_ANGLES)).mean(axis=1)
    power = (ray_mean**2).mean(axis=1) + _mean_rays(rays.relief, outer).var(axis=1)
    closure = np.minimum(2.4 * np.abs(wave) ** 2 / np.maximum(power, 1e-9), 1.0)
    level, roughness = _inside(rays, core, around + step)
    return Spots(at, radius * rays.edge_reach, step, 4 * np.abs(wave), closure, level, roughness, _lean(rays, ring, at))


def _lean(rays: _Rays, ring: Ring, at: FloatArray) -> npt.NDArray[np.complex128]:
    """Turn the slope across each candidate from the unwrapped ring (columns on, rows inward) into the face's frame."""
    ray_mean = _mean_rays(rays.depth, rays.between(0.25, 0.95))
    wave = 2 * (ray_mean * np.exp(1j * RAY_ANGLES)).mean(axis=1)
    onward, inward = wave.real, wave.imag
    turned: npt.NDArray[np.complex128] = (-inward + 1j * onward) * np.exp(1j * ring.step_rad * at[:, 0])
    return turned


def _inside(rays: _Rays, core: Mask, inside: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Return the logarithm of brightness inside and its spread there."""
    spread = np.sqrt(_mean((rays.depth - inside[:, None, None]) ** 2, core))
    return _mean(rays.level, core), spread


def _read(image: Map, at: FloatArray, rays: FloatArray, radius: FloatArray) -> FloatArray:
    """Read (N, reaches, rays) values round each candidate."""
    rows, columns = image.shape
    reach = radius[:, None, None, None] * REACH[None, :, None, None] * rays[None, None, :, :]
    where = (at[:, None, None, :] + reach).astype(np.float32)
    flat = where.reshape(len(at), len(REACH) * len(rays), 2)
    wide = np.concatenate([image, image[:, :1]], axis=1)
    x, y = flat[..., 0] % columns, np.clip(flat[..., 1], 0, rows - 1)
    if not len(at):
        return np.zeros((0, len(REACH), len(rays)))
    read = cv2.remap(wide, x, y, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    return np.asarray(read, np.float64).reshape(len(at), len(REACH), len(rays))


def _mean(values: FloatArray, where: Mask) -> FloatArray:
    weight = np.broadcast_to(where, values.shape)
    mean: FloatArray = (values * weight).sum(axis=(1, 2)) / np.maximum(weight.sum(axis=(1, 2)), 1)
    return mean


def _mean_rays(values: FloatArray, where: Mask) -> FloatArray:
    weight = np.broadcast_to(where, values.shape)
    mean: FloatArray = (values * weight).sum(axis=1) / np.maximum(weight.sum(axis=1), 1)
    return mean


def with_pattern(spots: Spots, ring: Ring) -> Spots:
    """Find the repetition that most of the candidates' weight belongs to."""
    weight = spots.weight * _whole(spots, ring)
    if weight.sum() < 3:
        return replace(spots, regular=np.zeros(len(spots), bool))
    best = replace(spots, regular=np.zeros(len(spots), bool))
    most = 0.0
    for folds, excess in _repetitions(spots, weight, ring):
        filled = _filled(spots, weight, folds, ring)
        regular = (weight > SOLID) & (filled >= FILLED)
        # A pattern of 12 also repeats 6, 4 and 3 times: the finest of equals is the pattern's own.
        size = float(weight[regular] @ filled[regular]) * (1 + 0.003 * folds)
        if size > most or not most:
            most = max(size, most)
            fill = float(np.median(filled[regular])) if regular.any() else float(filled.max())
            best = replace(spots, folds=folds, regularity=excess, filled=fill, regular=regular)
    return best


def _whole(spots: Spots, ring: Ring) -> Mask:
    """Candidates that don't stick out over the ring's edge."""
    row, rows = spots.at[:, 1], len(ring.depth)
    whole: Mask = (row > 0.7 * spots.radius) & (row < rows - 0.7 * spots.radius)
    return whole


def _repetitions(spots: Spots, weight: FloatArray, ring: Ring) -> list[tuple[int, float]]:
    """Return the folds at whose multiples most power lies beyond what scattered spots would give, finest first."""
    rows, columns = ring.depth.shape[0] // 4 + 1, ring.depth.shape[1] // 2
    stamp = np.zeros((rows, columns), np.float32)
    np.add.at(stamp, ((spots.at[:, 1] / 4).astype(int) % rows, (spots.at[:, 0] / 2).astype(int) % columns), weight)
    stamp = cv2.GaussianBlur(wrapped(stamp, 12), (0, 0), 1.6, sigmaY=1.0)[12:-12, 12:-12]
    power = (np.abs(np.fft.rfft(stamp, axis=1)) ** 2).sum(axis=0)[1:241]
    shares = np.array([power[fold - 1 :: fold].sum() for fold in FOLDS]) / float(power.sum())
    chance = np.array([len(power[fold - 1 :: fold]) / len(power) for fold in FOLDS])
    excess = (shares - chance) / (1 - chance)
    top = np.argsort(-excess)[:TRIED]
    return [(FOLDS[i], max(float(excess[i]), 0.0)) for i in sorted(top, reverse=True)]


def _filled(spots: Spots, weight: FloatArray, folds: int, ring: Ring) -> FloatArray:
    """Return the share of the visible places that repeat each candidate and hold one themselves."""
    rows, columns = ring.depth.shape
    period = columns / folds
    phase = spots.at[:, 0] % period
    gap = np.abs(phase[:, None] - phase[None, :])
    gap = np.minimum(gap, period - gap)
    reach = np.maximum(MATCH, 0.4 * np.minimum(spots.radius[:, None], spots.radius[None, :]))
    near = (gap < reach) & (np.abs(spots.at[:, 1, None] - spots.at[None, :, 1]) < reach) & (weight > SOLID)
    # Each candidate's place in another's numbering of the periods, so that none straddles a period's end.
    turn = np.round((spots.at[None, :, 0] - spots.at[:, None, 0]) / period).astype(int) % folds
    filled = np.zeros((len(spots), folds), bool)
    first, other = np.nonzero(near)
    filled[first, turn[first, other]] = True
    places = (spots.at[:, 0, None] + np.arange(folds) * period).round().astype(int) % columns
    row = np.clip(spots.at[:, 1].round().astype(int), 0, rows - 1)
    shown = ring.seen[row[:, None], places] | filled
    share: FloatArray = np.where(filled.sum(axis=1) >= 3, filled.sum(axis=1) / np.maximum(shown.sum(axis=1), 4), 0.0)
    return share
