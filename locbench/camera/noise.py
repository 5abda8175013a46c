"""The noise of detections by maximum likelihood, in the terms of a fusion file, beside a share of outliers.

A detection is a good one, each component normal with the model's variance and the reference's, or with the outliers'
share a wrong one, spread widely (Tukey's contaminated normal; Huber & Ronchetti, "Robust Statistics" (2009), section
1.1). Range and view angle are the detection's own where it reports them, as for the filter.

How much the reference adds is itself only stated, not measured: it counts as known as well as from five observations,
and the doubt enters the uncertainties (JCGM 100:2008 (GUM), E.4.3 and table E.1).
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from scipy import optimize, special

from locbench.arrays import FloatArray
from locbench.camera.components import Component
from locbench.camera.observed import Observed, components_of
from locbench.camera.spread import model_variance
from locbench.config.fusion import TagNoise
from locbench.session import TagKind
from locbench.statistics import effective_sample_size

__all__ = ["NoiseModel", "keys_of_kind", "noise_model"]

_WIDE: Mapping[Component, float] = {
    Component.ALONG: 1.0,
    Component.ACROSS: 1.0,
    Component.HEADING: 1.0,
    Component.RANGE: 1.0,
    Component.BEARING: 0.5,
}
"""Standard deviations of wrong detections: metres, radians."""
_KEYS: Mapping[Component, tuple[str, ...]] = {
    Component.ALONG: ("along_floor", "along_at_one_metre"),
    Component.ACROSS: ("across_floor", "across_at_one_metre"),
    Component.HEADING: ("heading_floor", "heading_at_one_metre"),
    Component.RANGE: ("range_floor", "range_per_metre"),
    Component.BEARING: ("bearing_floor", "bearing_offset"),
}
_GROWTH = "view_angle_growth"
_START = {"floor": 0.010, "heading_floor": 0.01, "heading_at_one_metre": 0.005, "bearing_floor": 0.005}
_SMALLEST = 1e-5
_LARGEST = 5.0
# a growth that is less sure than this says nothing
_GROWTH_TOLD = 0.5
# standard uncertainty of the logarithm of the reference's variance: twice the 36 % of a standard deviation from five
# observations (GUM table E.1, from memory)
_REFERENCE_LOG_STD = 0.72
_REFERENCE_LOG_RANGE = 3.0
_START_SHARE = 0.02


@dataclass(frozen=True)
class NoiseModel:
    """Noise of detections.

    Attributes
    ----------
    value, std
        By key of a fusion file's [tag_noise]; std None where the data hold the value at its bound.
    fixed
        Keys that the data cannot tell, which were kept as they were, and why.
    outlier_share, outlier_std
        Of wrong detections.
    wrong
        (M,) probability of each being one.
    noise
        All of it as a fusion file's noise.
    reference_scale
        The reference's variance over the stated one, as far as the data and that statement tell.
    """

    value: Mapping[str, float]
    std: Mapping[str, float | None]
    fixed: Mapping[str, str]
    outlier_share: float
    outlier_std: float
    wrong: FloatArray
    noise: TagNoise
    reference_scale: float


@dataclass(frozen=True)
class _Problem:
    seen: Observed
    residual: FloatArray
    extra: FloatArray
    range_m: FloatArray
    view_rad: FloatArray
    keys: tuple[str, ...]
    kept: TagNoise

    def noise(self, values: FloatArray) -> TagNoise:
        return self.kept.model_copy(update=dict(zip(self.keys, map(float, values), strict=True)))

    def variance(self, values: FloatArray, log_scale: float) -> FloatArray:
        """Return (M, D) what good ones scatter by, the reference's part scaled."""
        own = model_variance(self.seen, self.noise(values), self.range_m, self.view_rad)
        return np.asarray(own + np.exp(log_scale) * self.extra)

    def logs(self, values: FloatArray, log_scale: float) -> tuple[FloatArray, FloatArray]:
        """Return log densities (M,) of good and wrong detections."""
        variance = self.variance(values, log_scale)
        wide = np.array([_WIDE[name] for name in self.seen.components]) ** 2
        return _log_density(self.residual, variance), _log_density(self.residual, np.broadcast_to(wide, variance.shape))

    def cost(self, whole: FloatArray) -> float:
        """Return the negative log likelihood of values, the log of the reference's scale, and the outliers' share."""
        log_scale, share = whole[-2:]
        good, wrong = self.logs(whole[:-2], log_scale)
        stated = 0.5 * (log_scale / _REFERENCE_LOG_STD) ** 2
        return float(stated - np.sum(np.logaddexp(good + np.log1p(-share), wrong + np.log(share))))


def noise_model(seen: Observed, residual: FloatArray, extra: FloatArray, kept: TagNoise) -> NoiseModel:
    """Return the noise that makes residuals most likely.

    Parameters
    ----------
    seen
        M detections.
    residual
        (M, D) what they are off by, systematic errors taken off; NaN where a component is missing.
    extra
        (M, D) what the reference adds to the variance.
    kept
        Noise that holds where the data cannot tell.
    """
    reported_range, reported_view = seen.detections.range_m, seen.detections.view_angle_rad
    range_m = np.where(np.isfinite(reported_range), reported_range, seen.range_m)
    view = np.where(np.isfinite(reported_view), reported_view, seen.view_angle_rad)
    keys = tuple(key for name in seen.components for key in _KEYS[name])
    problem = _Problem(seen, residual, extra, range_m, view, (*keys, _GROWTH), kept)
    values, log_scale, share, information = _most_likely(problem)
    fixed: dict[str, str] = {}
    if not _told(information, len(keys)):
        fixed[_GROWTH] = "the view angles hardly differ: how the noise grows with them cannot be told"
        problem = _Problem(seen, residual, extra, range_m, view, keys, kept)
        values, log_scale, share, information = _most_likely(problem)
    good, wrong = problem.logs(values, log_scale)
    probability = np.asarray(special.expit(wrong + np.log(share) - good - np.log1p(-share)))
    alike = _alike(residual, problem.variance(values, log_scale), probability)
    stds = _stds(information, alike)
    return NoiseModel(
        value=dict(zip(problem.keys, map(float, values), strict=True)),
        std=dict(zip(problem.keys, stds[:-2], strict=True)),
        fixed=fixed,
        outlier_share=float(share),
        outlier_std=float(stds[-1] or np.sqrt(max(share * (1.0 - share), 1.0 / len(seen)) / len(seen))),
        wrong=probability,
        noise=problem.noise(values),
        reference_scale=float(np.exp(log_scale)),
    )


def keys_of_kind(kind: TagKind) -> list[str]:
    """Return the keys of [tag_noise] by which a kind of detection is believed, told by a study or not."""
    components = components_of(kind)
    keys = [key for name in components for key in _KEYS[name]]
    keys += ["range_at_one_metre"] if Component.RANGE in components else []
    return [*keys, _GROWTH, *(["correlation_between_tags"] if kind is TagKind.ROBOT_POSE else [])]


def _log_density(residual: FloatArray, variance: FloatArray) -> FloatArray:
    each = -0.5 * (residual**2 / variance + np.log(2.0 * np.pi * variance))
    return np.asarray(np.nansum(np.where(np.isfinite(residual), each, np.nan), axis=1))


def _start_of(key: str) -> float:
    if key == _GROWTH:
        return 0.5
    return _START.get(key, _START["floor"])


def _most_likely(problem: _Problem) -> tuple[FloatArray, float, float, FloatArray]:
    """Return values (K,), log of the reference's scale, outlier share, and the information (K + 2, K + 2) on all."""
    scale = np.array([*(_start_of(key) for key in problem.keys), 1.0, _START_SHARE])
    start = np.array([*(_start_of(key) for key in problem.keys), 0.0, _START_SHARE])
    low = np.array([*(0.0 if key == _GROWTH else _SMALLEST for key in problem.keys), -_REFERENCE_LOG_RANGE, 1e-6])
    high = np.array([*(_LARGEST for _ in problem.keys), _REFERENCE_LOG_RANGE, 0.5])

    def cost(scaled: FloatArray) -> float:
        return problem.cost(np.clip(scaled * scale, low, high))

    bounds = list(zip(low / scale, high / scale, strict=True))
    found = optimize.minimize(cost, start / scale, method="L-BFGS-B", bounds=bounds, options={"maxiter": 300})
    best = np.clip(found.x * scale, low, high)
    return best[:-2], float(best[-2]), float(best[-1]), _information(problem, best, low)


def _information(problem: _Problem, best: FloatArray, low: FloatArray) -> FloatArray:
    """Return Fisher's information of normal variances, wrong detections left out; infinite where at a bound.

    Expected, not observed: it stays positive where noise and reference hardly come apart.
    """
    values, log_scale, share = best[:-2], float(best[-2]), float(best[-1])
    good, wrong = problem.logs(values, log_scale)
    weight = special.expit(good + np.log1p(-share) - wrong - np.log(share))
    step = np.array([*(0.001 * values + 1e-7), 1e-3])

    def slope(place: int) -> FloatArray:
        moved = np.zeros_like(step)
        moved[place] = step[place]
        more, less = best[:-1] + moved, best[:-1] - moved
        change = np.log(problem.variance(more[:-1], more[-1]) / problem.variance(less[:-1], less[-1]))
        return np.where(np.isfinite(problem.residual), change / (2.0 * step[place]), 0.0)

    slopes = np.stack([slope(place) for place in range(len(step))], axis=-1)
    information = np.zeros((len(best), len(best)))
    information[:-1, :-1] = 0.5 * np.einsum("m,mdp,mdq->pq", weight, slopes, slopes, optimize=True)
    information[-2, -2] += 1.0 / _REFERENCE_LOG_STD**2
    information[-1, -1] = len(weight) / (share * (1.0 - share))
    at_bound = best < np.where(low > 0.0, 20.0 * low, low) + 1e-6
    information[at_bound, at_bound] = np.inf
    return information


def _covariance(information: FloatArray) -> FloatArray:
    """Return (K, K), zero where a value lies at its bound."""
    free = np.flatnonzero(np.isfinite(np.diag(information)))
    covariance = np.zeros_like(information)
    scale = np.sqrt(np.maximum(np.diag(information)[free], 1e-300))
    alike = information[np.ix_(free, free)] / np.outer(scale, scale)
    covariance[np.ix_(free, free)] = np.linalg.pinv(alike, hermitian=True) / np.outer(scale, scale)
    return covariance


def _told(information: FloatArray, growth: int) -> bool:
    if not np.isfinite(information[growth, growth]):
        return True
    return bool(0.0 < _covariance(information)[growth, growth] < _GROWTH_TOLD**2)


def _alike(residual: FloatArray, variance: FloatArray, wrong: FloatArray) -> float:
    """Return how many good detections in a row are worth one for their spread."""
    good = residual[wrong < 0.5] / np.sqrt(variance[wrong < 0.5])
    sizes = [
        len(column[np.isfinite(column)]) / max(effective_sample_size(column[np.isfinite(column)]), 1.0)
        for column in good.T
        if np.sum(np.isfinite(column)) > 2
    ]
    return max([1.0, *sizes])


def _stds(information: FloatArray, alike: float) -> Sequence[float | None]:
    variance = np.diag(_covariance(information)) * alike
    return [float(np.sqrt(one)) if one > 0.0 else None for one in variance]
