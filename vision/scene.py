"""The scene behind a photo: one robust least-squares fit of camera, face plane, rim and reference, with covariance."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from uncertainties import UFloat, correlated_values

from vision.band import BoolArray
from vision.camera import Camera, Pose
from vision.measurement import FloatArray
from vision.observed import Observed
from vision.terms import Term, View, robust_loss
from vision.unknowns import Unknowns

ROUNDS = 4
DERIVATIVE_STEP = 1e-4
# Levenberg and Marquardt: where damping starts, trials a step, and the gain under which it has arrived.
FIRST_DAMPING, MOST_TRIALS, LEAST_GAIN, LEAST_CURVATURE = 1e-3, 6, 1e-4, 1e-9
# Steps of a round whose weights are renewed after it, and of the last.
FEW_STEPS, MOST_STEPS = 3, 10
# A step goes no farther, in each unknown's own scale.
FARTHEST = 40.0
FAR = 1e4
# Edges of real photos leave this much of their stated deviation; what they leave beyond it widens every interval.
USUAL_STRAIN = 1.0
# A curve that fits ill must not be let go: it would slide away and fit nothing.
MOST_INFLATION = 3.0


@dataclass(frozen=True)
class Scene:
    """A fitted scene. The face is the plane z = 0, its outward normal +z, the rotor's axis runs through the origin.

    Attributes
    ----------
    values : mapping of str to float
        Every unknown at its best; ``log_rim`` is the logarithm of the rim's radius in mm.
    covariance : (P, P) ndarray
        Of the unknowns in the order of ``values``.
    observed : Observed
    weight : (N,) ndarray
        What each sample counted in the end.
    misfit : float
        Sum of the samples' robust losses, priors included: comparable between fits of the same samples.
    strain : float
        Worst root mean square of the curves that give the scale, in standard deviations.
    unknowns : Unknowns
        What was fitted, with its priors.
    """

    values: Mapping[str, float]
    covariance: FloatArray
    observed: Observed
    weight: FloatArray
    misfit: float
    strain: float
    unknowns: Unknowns

    @cached_property
    def _view(self) -> View:
        values = {name: np.array([[value]]) for name, value in self.values.items()}
        return View.of(values, self.observed.frame, self.observed.size_px)

    @cached_property
    def camera(self) -> Camera:
        """The camera, plain numbers."""
        batch = self._view.camera
        return Camera(*(float(np.squeeze(x)) for x in (batch.focal_px, batch.centre_x_px, batch.centre_y_px, batch.k1)))

    @cached_property
    def pose(self) -> Pose:
        """The rotor's pose, unbatched."""
        return Pose(self._view.pose.rotation[0], self._view.pose.centre_mm[0])

    @property
    def rim_radius_mm(self) -> float:
        """The rim's radius; nominal where the scale is free."""
        return float(np.exp(self.values["log_rim"]))

    @property
    def tilt_deg(self) -> float:
        """Angle between the rotor's axis and the line of sight to its centre."""
        centre = self.pose.centre_mm
        cosine = -self.pose.rotation[:, 2] @ centre / np.linalg.norm(centre)
        return float(np.degrees(np.arccos(np.clip(cosine, -1, 1))))

    def to_pixels(self, points_mm: FloatArray) -> FloatArray:
        """Project rotor points (N, 3) to pixels (N, 2)."""
        return self.camera.pixels(self.pose.camera_points(points_mm))

    def to_plane(self, xy_px: FloatArray, height_mm: float = 0.0) -> FloatArray:
        """Carry pixels (N, 2) to the plane ``z = height_mm``: (N, 2) mm."""
        return np.stack(self.pose.on_plane(*self.camera.rays(xy_px), height_mm), axis=-1)

    def root_mean_square(self, offset_name: str) -> float:
        """Return the root mean square of a curve's residuals, in standard deviations, outliers weighed down."""
        residual = self.observed.residuals(self._x[None])[0] * self.weight
        parts = zip(self.observed.terms, self.observed.parts, strict=True)
        own = [residual[part] for term, part in parts if term.offset_name == offset_name]
        return float(np.sqrt(np.mean(np.concatenate(own) ** 2)))

    @property
    def _x(self) -> FloatArray:
        return np.array(list(self.values.values()))

    def std(self, name: str) -> float:
        """Return an unknown's standard deviation."""
        at = list(self.values).index(name)
        return float(np.sqrt(self.covariance[at, at]))

    @property
    def camera_strain(self) -> float:
        """Return how far the camera lies from what was known of it before, in standard deviations."""
        known = {name: self.unknowns.table[name] for name in ("log_focal", "shift_x", "shift_y", "k1")}
        return float(np.linalg.norm([(self.values[name] - each.mean) / each.std for name, each in known.items()]))

    @property
    def sample_count(self) -> int:
        """How many edge samples were fitted."""
        return len(self.observed)

    @cached_property
    def floors(self) -> dict[str, float]:
        """What the photo's geometry allows.

        Deviations of the unknowns were all samples as good as they are said to be, and none like its neighbours.
        """
        bare = _Problem(self.unknowns, self.observed).covariance(self._x, self.weight)
        return dict(zip(self.values, map(float, np.sqrt(np.diag(bare))), strict=True))

    @cached_property
    def numbers(self) -> dict[str, UFloat]:
        """Every unknown as a number with its correlations."""
        return dict(zip(self.values, correlated_values(list(self.values.values()), self.covariance), strict=True))


def fit_scene(
    unknowns: Unknowns, terms: Sequence[Term], frame: FloatArray, size_px: tuple[int, int], *, rounds: int = ROUNDS
) -> Scene:
    """Fit every unknown to every edge sample at once.

    Parameters
    ----------
    unknowns : Unknowns
        Starts and priors.
    terms : sequence of Term
    frame : (3, 3) ndarray
        Rotation near the solution: columns are the rotor's axes in the camera's frame.
    size_px : (int, int)
    rounds : int
        Fits between which weights and scales are renewed.

    Returns
    -------
    Scene
        Never raises for a poor photo: the covariance and the terms' residuals tell.

    Notes
    -----
    Neighbouring samples of one curve share texture and blur. Each term's standard deviation is therefore inflated by
    the correlation length of its own residuals and by their size before the last rounds, so that the covariance is
    that of the estimate actually made.
    """
    observed = Observed.of(terms, unknowns.names, frame, size_px)
    problem = _Problem(unknowns, observed)
    x = unknowns.column("start")
    inflation = np.ones(len(observed))
    for number in range(rounds):
        residual = observed.residuals(x[None])[0]
        weight = observed.weights(residual)
        if number >= rounds - 2:
            for part in observed.parts:
                inflation[part] = _inflation(residual[part] * weight[part], weight[part])
        x = problem.solve(x, weight / inflation, MOST_STEPS if number == rounds - 1 else FEW_STEPS)
    residual = observed.residuals(x[None])[0]
    strain = _strain(observed, residual * weight)
    covariance = problem.covariance(x, weight / inflation) * max(1.0, strain / USUAL_STRAIN) ** 2
    values = dict(zip(unknowns.names, map(float, x), strict=True))
    return Scene(values, covariance, observed, weight, problem.misfit(x, residual), strain, unknowns)


def _strain(observed: Observed, residual: FloatArray) -> float:
    """Return the worst root mean square, in standard deviations, of the curves that give the scale.

    Where they contradict each other, none of them is known as well as its own samples say.
    """
    curves: dict[str, list[FloatArray]] = {}
    for term, part in zip(observed.terms, observed.parts, strict=True):
        if term.gives_scale:
            curves.setdefault(term.curve, []).append(residual[part])
    return max((float(np.sqrt(np.mean(np.concatenate(parts) ** 2))) for parts in curves.values()), default=0.0)


@dataclass(frozen=True)
class _Problem:
    """What is known and seen; ``weight`` (N,) is what each sample counts."""

    unknowns: Unknowns
    observed: Observed

    @cached_property
    def _known(self) -> tuple[BoolArray, FloatArray, FloatArray]:
        """Which unknowns have a prior, its means and its deviations."""
        mean, std = self.unknowns.column("mean"), self.unknowns.column("std")
        known = np.isfinite(std)
        return known, mean[known], std[known]

    def residuals(self, batch: FloatArray, weight: FloatArray) -> FloatArray:
        known, mean, std = self._known
        everything = np.concatenate([self.observed.residuals(batch) * weight, (batch[:, known] - mean) / std], axis=1)
        return _tame(everything)

    def misfit(self, x: FloatArray, residual: FloatArray) -> float:
        known, mean, std = self._known
        off = (x[known] - mean) / std
        return float(robust_loss(_tame(residual)).sum() + 0.5 * off @ off)

    def linear(self, x: FloatArray, weight: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Return residuals (R,) and their Jacobian (R, P), by differences, from one batch of trial scenes."""
        step = DERIVATIVE_STEP * self.unknowns.column("scale")
        here, ahead = np.split(self.residuals(np.vstack([x, x + np.diag(step)]), weight), [1])
        slope: FloatArray = ((ahead - here) / step[:, None]).T
        return here[0], slope

    def covariance(self, x: FloatArray, weight: FloatArray) -> FloatArray:
        """Return the covariance (P, P) that the Jacobian at a solution gives."""
        _, jacobian = self.linear(x, weight)
        size = np.maximum(np.linalg.norm(jacobian, axis=0), 1e-9)
        square = (jacobian / size).T @ (jacobian / size)
        return np.asarray(np.linalg.pinv(square, hermitian=True) / np.outer(size, size), np.float64)

    def solve(self, x: FloatArray, weight: FloatArray, steps: int) -> FloatArray:
        """Go downhill by Levenberg and Marquardt's steps, each unknown measured in its own scale."""
        scale, damping = self.unknowns.column("scale"), FIRST_DAMPING
        for _ in range(steps):
            here, slope = self.linear(x, weight)
            slope = slope * scale
            square, gradient = slope.T @ slope, slope.T @ here
            before = here @ here
            for _ in range(MOST_TRIALS):
                damped = square + damping * np.diag(np.diag(square) + LEAST_CURVATURE)
                trial = x - scale * np.linalg.solve(damped, gradient).clip(-FARTHEST, FARTHEST)
                there = self.residuals(trial[None, :], weight)[0]
                after = there @ there
                if after < before:
                    break
                damping *= 10
            else:
                return x
            x, damping = trial, damping / 10
            if before - after < LEAST_GAIN * before:
                break
        return x


def _tame(residual: FloatArray) -> FloatArray:
    """Bound residuals: a trial that leaves the world (a plane behind the camera) must look bad, not end the fit."""
    return np.asarray(np.nan_to_num(residual, nan=FAR, posinf=FAR, neginf=-FAR).clip(-FAR, FAR))


def _inflation(residual: FloatArray, weight: FloatArray) -> float:
    """Return by how much a term's samples say less than their stated deviations would have it."""
    active = weight > 0.3
    if active.sum() < 8:
        return 1.0
    spread = max(1.0, float(np.mean(residual[active] ** 2)))
    return min(MOST_INFLATION, float(np.sqrt(spread * _correlation_length(residual))))


def _correlation_length(residual: FloatArray) -> float:
    """Return how many neighbouring samples count as one: ``1 + 2 sum(rho)`` up to the first lag without correlation."""
    centred = residual - residual.mean()
    power = float(centred @ centred)
    if power <= 0:
        return 1.0
    total = 1.0
    for lag in range(1, min(len(residual) // 4, 60)):
        rho = float(centred[lag:] @ centred[:-lag]) / power
        if rho < 0.05:
            break
        total += 2 * rho
    return total
