"""The fit: constants by nonlinear least squares, poses and survey errors eliminated, outliers weighed down.

Rounds of iteratively reweighted least squares: each linearises the poses about the last guess, solves for the constants
with `scipy.optimize.least_squares`, moves the poses, and weighs groups of residuals anew (Holland & Welsch,
Communications in Statistics A6(9) 1977, 813-827): a group beyond the 99.7 % point of its chi-square counts in inverse
proportion to its square, so that a flipped fix or a slip pulls next to nothing.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from types import MappingProxyType

import numpy as np
from scipy import optimize

from locbench.arrays import FloatArray
from locbench.calibration.linear import Block, Eliminated, eliminated
from locbench.calibration.model import Group, Guess, Model, Part
from locbench.calibration.reading import Set
from locbench.calibration.starting import first_guess
from locbench.calibration.wheels import noise_seen
from locbench.statistics import chi_square_quantile, effective_mean_size
from locbench.statistics.robust import MAD_TO_SIGMA

__all__ = ["Fit", "GroupScale", "fit"]

_MOST_ROUNDS = 25
# Residuals that are scaled by their own scatter are weighed from the start; others mean little before constants settle.
_SCALED = frozenset({Group.PARITY, Group.DETECTIONS})
_NEVER_WEIGHED = frozenset({Group.SURVEY, Group.DISTANCES})
_ALL_WEIGHED_FROM = 3
_DRIFT_STEP = 1e-5
# of what each constant needs to be known to
_CONVERGED = 0.01
_BEYOND = 0.997
_FEWEST_TO_SCALE = 30


@dataclass(frozen=True)
class GroupScale:
    """By how much the noise of a group is larger than the files say, and by how much more its errors hang together.

    Attributes
    ----------
    noise
        (D,) factor of the standard deviation of each component, from the median absolute deviation.
    together
        (D,) how many residuals in a row are worth one.
    """

    noise: FloatArray
    together: FloatArray

    @property
    def divisor(self) -> FloatArray:
        """(D,) what residuals are divided by."""
        return np.asarray(self.noise * np.sqrt(self.together))


@dataclass(frozen=True)
class Fit:
    """What a set of drives says of its constants.

    Attributes
    ----------
    fitted
        The drives.
    guess
        All unknowns as fitted.
    information
        (P, P) inverse covariance of the shifts by the data alone, drifts and poses eliminated.
    slopes
        (R, P + D) weighted derivatives of the residuals by shifts and drifts.
    prior_std
        (P + D,) tolerances of shifts and drifts.
    parts
        Residuals as fitted, scaled, with their weights.
    scales
        Of parities and detections, by group and drive.
    wheel_noise
        Per drive how many times the wheels' noise is that of the robot file, by their contradictions.
    converged
        Whether the rounds settled.
    """

    fitted: Set
    guess: Guess
    information: FloatArray
    slopes: FloatArray
    prior_std: FloatArray
    parts: tuple[Part, ...]
    scales: Mapping[tuple[Group, int], GroupScale]
    wheel_noise: tuple[float, ...]
    converged: bool


@dataclass(frozen=True)
class _Round:
    """One round's linearised problem."""

    model: Model
    scales: Mapping[tuple[Group, int], GroupScale]
    weights: tuple[FloatArray, ...]
    prior_std: FloatArray

    def parts(self, vector: FloatArray) -> list[Part]:
        return [_scaled(part, self.scales) for part in self.model.parts(vector)]

    def weighed(self, parts: Iterable[Part]) -> list[Block]:
        blocks = [part.block for part in parts]
        return [Block(b.residual, b.slopes, weight) for b, weight in zip(blocks, self.weights, strict=True)]

    def residual(self, vector: FloatArray) -> FloatArray:
        """Return all residuals (R,), weighted."""
        blocks = self.weighed(self.parts(vector))
        return np.concatenate([(np.sqrt(b.weight)[:, np.newaxis] * b.residual).ravel() for b in blocks])

    def slopes(self, vector: FloatArray, steps: FloatArray) -> FloatArray:
        """Return (R, P + D) by differences: over such steps all residuals are straight lines."""
        here = self.residual(vector)
        columns = []
        for place, step in enumerate(steps):
            shifted = np.zeros(len(steps))
            shifted[place] = step
            columns.append((self.residual(vector + shifted) - here) / step)
        return np.column_stack(columns)


def fit(fitted: Set) -> Fit:
    """Return the constants that bring a set of drives together best.

    Parameters
    ----------
    fitted
        The drives.
    """
    drift_std = np.array([drive.drift_std_rad_s for drive in fitted.drives])
    prior_std = np.concatenate([fitted.constants.tolerances, drift_std])
    needed = np.concatenate([fitted.constants.needed_stds, drift_std])
    steps = np.concatenate([fitted.constants.steps, np.full(len(fitted.drives), _DRIFT_STEP)])
    guess, converged, weighed = first_guess(fitted), False, _SCALED
    noise = (1.0,) * len(fitted.drives)
    for count in range(_MOST_ROUNDS):
        before = _round(fitted, guess, prior_std, weighed)
        moved = _solved(before, steps)
        change = float(np.max(np.abs(moved.vector - guess.vector) / needed))
        guess = moved
        if change < _CONVERGED and count > _ALL_WEIGHED_FROM:
            converged = True
            break
        if count == _ALL_WEIGHED_FROM:
            # what the wheels contradict each other beyond their noise by now is their noise
            noise = _noise_seen(fitted, guess)
            fitted = _noisier(fitted, noise)
            weighed = frozenset(Group) - _NEVER_WEIGHED
    last = _round(fitted, guess, prior_std, weighed)
    slopes = last.slopes(guess.vector, steps)
    information = _information(last, slopes)
    return Fit(fitted, guess, information, slopes, prior_std, tuple(_weighed(last)), last.scales, noise, converged)


def _round(fitted: Set, guess: Guess, prior_std: FloatArray, weighed: frozenset[Group]) -> "_Round":
    """Return the problem about a guess, scaled and weighted by what it leaves there."""
    model = Model(fitted, guess)
    raw = list(model.parts(guess.vector))
    scales = _scales(raw)
    weights = tuple(
        _weight(_scaled(part, scales)) if part.group in weighed else np.ones(len(part.block.residual)) for part in raw
    )
    return _Round(model, scales, weights, prior_std)


def _noise_seen(fitted: Set, guess: Guess) -> tuple[float, ...]:
    return tuple(
        noise_seen(drive.wheels.time_s, drive.wheels.rolled(fitted.constants, guess.shifts, float(drift)))
        for drive, drift in zip(fitted.drives, guess.drifts_rad_s, strict=True)
    )


def _noisier(fitted: Set, factors: Iterable[float]) -> Set:
    """Return the drives with the wheels' noise that many times as large."""
    drives = [
        replace(drive, wheels=drive.wheels.noisier(factor))
        for drive, factor in zip(fitted.drives, factors, strict=True)
    ]
    return replace(fitted, drives=tuple(drives))


def _solved(round_: _Round, steps: FloatArray) -> Guess:
    """Return the guess after one round: shifts and drifts, then the poses that go with them."""
    start = round_.model.about.vector
    elimination = eliminated(round_.weighed(round_.parts(start)), round_.model.unknowns)
    slope = elimination.left(round_.slopes(start, steps))
    prior = np.diag(1.0 / round_.prior_std)

    def residual(vector: FloatArray) -> FloatArray:
        left = elimination.left(round_.residual(vector))
        return np.concatenate([left, vector / round_.prior_std])

    def jacobian(_: FloatArray) -> FloatArray:
        # within a round poses stay linearised, and so may the constants
        return np.vstack([slope, prior])

    vector = optimize.least_squares(residual, start, jacobian, method="trf", x_scale=round_.prior_std, max_nfev=4).x
    return round_.model.about.with_vector(vector).moved(elimination.best(round_.residual(vector)))


def _scaled(part: Part, scales: Mapping[tuple[Group, int], GroupScale]) -> Part:
    scale = None if part.drive is None else scales.get((part.group, part.drive))
    if scale is None:
        return part
    slopes = tuple((index, slope / scale.divisor[:, np.newaxis]) for index, slope in part.block.slopes)
    return Part(part.group, part.drive, Block(part.block.residual / scale.divisor, slopes, part.block.weight))


def _scales(parts: Iterable[Part]) -> Mapping[tuple[Group, int], GroupScale]:
    """Return how large parities and detections really scatter: the files may not know."""
    found: dict[tuple[Group, int], GroupScale] = {}
    for part in parts:
        if part.group in _SCALED and part.drive is not None:
            found[part.group, part.drive] = _group_scale(part.block.residual)
    return MappingProxyType(found)


def _group_scale(residual: FloatArray) -> GroupScale:
    noise, together = np.ones(residual.shape[1]), np.ones(residual.shape[1])
    for column in range(residual.shape[1]):
        values = residual[residual[:, column] != 0.0, column]
        if len(values) < _FEWEST_TO_SCALE:
            continue
        noise[column] = max(MAD_TO_SIGMA * float(np.median(np.abs(values))), 1e-3)
        inner = np.clip(values, -3.0 * noise[column], 3.0 * noise[column])
        together[column] = len(inner) / max(effective_mean_size(inner), 1.0)
    return GroupScale(noise, together)


def _weight(part: Part) -> FloatArray:
    square = np.sum(part.block.residual**2, axis=1)
    limit = chi_square_quantile(_BEYOND, part.block.residual.shape[1])
    return np.asarray(np.minimum(1.0, limit / np.maximum(square, 1e-12)))


def _weighed(round_: _Round) -> list[Part]:
    parts = round_.parts(round_.model.about.vector)
    blocks = round_.weighed(parts)
    return [Part(part.group, part.drive, block) for part, block in zip(parts, blocks, strict=True)]


def _information(round_: _Round, slopes: FloatArray) -> FloatArray:
    """Return (P, P) of the shifts, drifts eliminated with what is known of them beforehand."""
    vector = round_.model.about.vector
    elimination: Eliminated = eliminated(round_.weighed(round_.parts(vector)), round_.model.unknowns)
    slope = elimination.left(slopes)
    whole = slope.T @ slope
    count = len(round_.model.about.shifts)
    drifts = whole[count:, count:] + np.diag(1.0 / round_.prior_std[count:] ** 2)
    across = whole[:count, count:]
    return np.asarray(whole[:count, :count] - across @ np.linalg.solve(drifts, across.T))
