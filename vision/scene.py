"""The scene behind a photo: one robust least-squares fit of camera, face plane, rim and reference, with covariance."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
from uncertainties import UFloat, correlated_values

from vision.camera import Camera, Pose
from vision.measurement import FloatArray
from vision.terms import Term, View, Weighted, robust_loss
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
    frame : (3, 3) ndarray
        The rotation the leans start from.
    size_px : (int, int)
        Width and height of the photo.
    terms : tuple of Weighted
        The observations with their final weights.
    misfit : float
        Sum of the samples' robust losses, priors included: comparable between fits of the same samples.
    strain : float
        Worst root mean square of the curves that give the scale, in standard deviations.
    unknowns : Unknowns
        What was fitted, with its priors.
    """

    values: Mapping[str, float]
    covariance: FloatArray
    frame: FloatArray
    size_px: tuple[int, int]
    terms: tuple[Weighted, ...]
    misfit: float
    strain: float
    unknowns: Unknowns

    @cached_property
    def _view(self) -> View:
        return View.of({name: np.array([[value]]) for name, value in self.values.items()}, self.frame, self.size_px)

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
        values = {name: np.array([[value]]) for name, value in self.values.items()}
        residuals = [w.residuals(self._view, values) for w in self.terms if w.term.offset_name == offset_name]
        return float(np.sqrt(np.mean(np.concatenate(residuals, axis=1) ** 2)))

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
        return sum(len(weighted.weight) for weighted in self.terms)

    @cached_property
    def floors(self) -> dict[str, float]:
        """What the photo's geometry allows.

        Deviations of the unknowns were all samples as good as they are said to be, and none like its neighbours.
        """
        problem = _Problem(self.unknowns, self.frame, self.size_px)
        bare = problem.covariance(np.array(list(self.values.values())), self.terms, np.ones(len(self.terms)))
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
    problem = _Problem(unknowns, frame, size_px)
    x = unknowns.column("start")
    inflation = np.ones(len(terms))
    for number in range(rounds):
        view, values = problem.trial(x[None, :])
        weighted = [Weighted.of(term, view, values) for term in terms]
        if number >= rounds - 2:
            inflation = np.array([_inflation(w, view, values) for w in weighted])
        x = problem.solve(x, weighted, inflation, MOST_STEPS if number == rounds - 1 else FEW_STEPS)
    covariance = problem.covariance(x, weighted, inflation)
    strain = problem.strain(x, weighted)
    covariance = covariance * max(1.0, strain / USUAL_STRAIN) ** 2
    misfit = problem.misfit(x, weighted)
    values_found = dict(zip(unknowns.names, map(float, x), strict=True))
    return Scene(values_found, covariance, frame, size_px, tuple(weighted), misfit, strain, unknowns)


@dataclass(frozen=True)
class _Problem:
    unknowns: Unknowns
    frame: FloatArray
    size_px: tuple[int, int]

    def trial(self, batch: FloatArray) -> tuple[View, dict[str, FloatArray]]:
        values = {name: batch[:, i, None] for i, name in enumerate(self.unknowns.names)}
        return View.of(values, self.frame, self.size_px), values

    def residuals(self, batch: FloatArray, weighted: Sequence[Weighted], inflation: FloatArray) -> FloatArray:
        view, values = self.trial(batch)
        mean, std = self.unknowns.column("mean"), self.unknowns.column("std")
        known = np.isfinite(std)
        priors = (batch[:, known] - mean[known]) / std[known]
        data = [w.residuals(view, values) / s for w, s in zip(weighted, inflation, strict=True)]
        # A trial step may leave the world (a plane behind the camera): it must look bad, not end the fit.
        everything = np.concatenate([*data, priors], axis=1)
        tame: FloatArray = np.nan_to_num(everything, nan=FAR, posinf=FAR, neginf=-FAR).clip(-FAR, FAR)
        return tame

    def strain(self, x: FloatArray, weighted: Sequence[Weighted]) -> float:
        """Return the worst root mean square, in standard deviations, of the curves that give the scale.

        Where they contradict each other, none of them is known as well as its own samples say.
        """
        view, values = self.trial(x[None, :])
        curves: dict[str, list[FloatArray]] = {}
        for w in weighted:
            if w.term.gives_scale:
                curves.setdefault(w.term.curve, []).append(w.residuals(view, values)[0])
        return max((float(np.sqrt(np.mean(np.concatenate(parts) ** 2))) for parts in curves.values()), default=0.0)

    def misfit(self, x: FloatArray, weighted: Sequence[Weighted]) -> float:
        bare = [replace(w, weight=np.ones_like(w.weight)) for w in weighted]
        residuals = self.residuals(x[None, :], bare, np.ones(len(bare)))[0]
        count = sum(len(w.weight) for w in bare)
        return float(robust_loss(residuals[:count]).sum() + 0.5 * residuals[count:] @ residuals[count:])

    def linear(
        self, x: FloatArray, weighted: Sequence[Weighted], inflation: FloatArray
    ) -> tuple[FloatArray, FloatArray]:
        """Return residuals (R,) and their Jacobian (R, P), by differences, from one batch of trial scenes."""
        step = DERIVATIVE_STEP * self.unknowns.column("scale")
        here, ahead = np.split(self.residuals(np.vstack([x, x + np.diag(step)]), weighted, inflation), [1])
        slope: FloatArray = ((ahead - here) / step[:, None]).T
        return here[0], slope

    def covariance(self, x: FloatArray, weighted: Sequence[Weighted], inflation: FloatArray) -> FloatArray:
        """Return the covariance (P, P) that the Jacobian at a solution gives."""
        _, jacobian = self.linear(x, weighted, inflation)
        size = np.maximum(np.linalg.norm(jacobian, axis=0), 1e-9)
        square = (jacobian / size).T @ (jacobian / size)
        return np.asarray(np.linalg.pinv(square, hermitian=True) / np.outer(size, size), np.float64)

    def solve(self, x: FloatArray, weighted: Sequence[Weighted], inflation: FloatArray, steps: int) -> FloatArray:
        """Go downhill by Levenberg and Marquardt's steps, each unknown measured in its own scale."""
        scale, damping = self.unknowns.column("scale"), FIRST_DAMPING
        for _ in range(steps):
            here, slope = self.linear(x, weighted, inflation)
            slope = slope * scale
            square, gradient = slope.T @ slope, slope.T @ here
            before = here @ here
            for _ in range(MOST_TRIALS):
                damped = square + damping * np.diag(np.diag(square) + LEAST_CURVATURE)
                trial = x - scale * np.linalg.solve(damped, gradient).clip(-FARTHEST, FARTHEST)
                there = self.residuals(trial[None, :], weighted, inflation)[0]
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


def _inflation(weighted: Weighted, view: View, values: Mapping[str, FloatArray]) -> float:
    """Return by how much a term's samples say less than their stated deviations would have it."""
    residual = weighted.residuals(view, values)[0]
    active = weighted.weight > 0.3
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
