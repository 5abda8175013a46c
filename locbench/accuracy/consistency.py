"""Whether an estimator is as sure as it is right.

Source: Bar-Shalom, Li & Kirubarajan, "Estimation with Applications to Tracking and Navigation" (2001), section 5.4.
"""

from collections.abc import Sequence

import numpy as np

from locbench.accuracy.comparing import Comparison
from locbench.arrays import BoolArray, FloatArray
from locbench.fusion import Corrections
from locbench.statistics import (
    UncertainNumber,
    chi_square_mean_band,
    chi_square_quantile,
    measured,
    order_statistic_interval,
    unavailable,
)

__all__ = [
    "innovation_ratios",
    "mean_innovation_squared",
    "mean_normalised_error_squared",
    "normalised_errors_squared",
    "squared_over_components",
    "typical_innovation_squared",
    "usable_comparisons",
]


def usable_comparisons(comparison: Comparison) -> BoolArray:
    """Return (K,) which comparisons have a position and a covariance on both sides."""
    return np.asarray(comparison.covered & np.isfinite(comparison.believed_covariance[:, 0, 0]))


def normalised_errors_squared(comparison: Comparison) -> tuple[FloatArray, FloatArray]:
    """Return e' (P + R)^-1 e per comparison with both, and over how many components each runs (2 or 3)."""
    usable = usable_comparisons(comparison)
    total = comparison.believed_covariance[usable] + comparison.reference_covariance[usable]
    squared, size = squared_over_components(comparison.error[usable, np.newaxis], total)
    return squared[:, 0], size


def squared_over_components(error: FloatArray, total: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Return e' S^-1 e (K, D) of D errors each, and over how many components they run (K,): 2 without a heading.

    Parameters
    ----------
    error
        (K, D, 3); the heading is NaN where the reference has none.
    total
        (K, 3, 3) covariances S.
    """
    full = np.isfinite(error[:, 0, 2]) & np.isfinite(total[:, 2, 2])
    squared = np.empty(error.shape[:2])
    for size, rows in ((3, full), (2, ~full)):
        part = np.swapaxes(error[rows, :, :size], 1, 2)
        squared[rows] = np.sum(part * np.linalg.solve(total[rows, :size, :size], part), axis=1)
    return squared, np.where(full, 3.0, 2.0)


def mean_normalised_error_squared(comparison: Comparison) -> UncertainNumber:
    """Return the mean of the normalised errors squared per degree of freedom (1 if the estimator is honest)."""
    method = "mean of e' (P + R)^-1 e at the references, per degree of freedom"
    squared, size = normalised_errors_squared(comparison)
    if not len(squared):
        return unavailable("the estimator gives no covariance, or there is no reference", method=method)
    return measured(
        float(np.sum(squared) / np.sum(size)),
        None,
        len(squared),
        method,
        "see the band beside it",
    )


def innovation_ratios(parts: Sequence[Corrections]) -> FloatArray:
    """Return (M,) normalised innovations squared, each over the median of an honest one with as many components."""
    size = np.concatenate([part.degrees_of_freedom for part in parts])
    squared = np.concatenate([part.normalised_innovation_squared for part in parts])[size > 0]
    honest = {count: chi_square_quantile(0.5, count) for count in np.unique(size[size > 0])}
    return np.asarray(squared / np.array([honest[count] for count in size[size > 0]]))


def typical_innovation_squared(parts: Sequence[Corrections]) -> UncertainNumber:
    """Return the median normalised innovation squared as a multiple of an honest filter's median (1 if honest).

    Each one is divided by the median of the chi-square distribution with its own degrees of freedom. Half of the fixes
    would have to be wrong to move it, so it tells noise set too small from a few wrong fixes.
    """
    method = "median of y' S^-1 y over the chi-square median, detections before the gate; order-statistic interval"
    ratio = innovation_ratios(parts)
    if not len(ratio):
        return unavailable("no detection reached the filter", method=method)
    interval = order_statistic_interval(ratio, 0.5)
    why = None if interval else "no interval: too few detections"
    return measured(float(np.median(ratio)), interval, len(ratio), method, why)


def mean_innovation_squared(parts: Sequence[Corrections]) -> tuple[UncertainNumber, tuple[float, float] | None]:
    """Return the mean of the normalised innovations squared per degree of freedom, and its 95 % band if honest.

    It runs over all detections of the stretches (at least one) that rules on the data let through, before the gate.
    """
    method = "mean of y' S^-1 y over detections before the gate, per degree of freedom"
    size = np.concatenate([part.degrees_of_freedom for part in parts])
    squared = np.concatenate([part.normalised_innovation_squared for part in parts])[size > 0]
    total = float(np.sum(size))
    if not len(squared):
        return unavailable("no detection reached the filter", method=method), None
    value = measured(float(np.sum(squared)) / total, None, len(squared), method, "see the band beside it")
    return value, chi_square_mean_band(1.0, total)
