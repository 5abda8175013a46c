"""The usual one-number summaries of position and heading errors, each with the interval it deserves."""

import math
from dataclasses import replace

import numpy as np
from scipy import special

from locbench.arrays import FloatArray
from locbench.statistics.intervals import (
    effective_mean_size,
    mean_square_freedom,
    quantile_interval,
    rms_interval,
    too_little_freedom,
)
from locbench.statistics.uncertain import UncertainNumber, measured, unavailable

__all__ = [
    "bias_with_interval",
    "circular_error_probable",
    "largest",
    "mean_with_interval",
    "radius95",
    "root_mean_square",
]

_FEWEST_FOR_AN_INTERVAL = 6
_FEWEST_FOR_R95 = 20


def _too_few(independent: float) -> str | None:
    if independent >= _FEWEST_FOR_AN_INTERVAL:
        return None
    return (
        f"no interval: errors of one run hang together, so these are worth {independent:.1f} independent ones; "
        f"{_FEWEST_FOR_AN_INTERVAL} are needed"
    )


def _radii(errors: FloatArray) -> FloatArray:
    return np.asarray(np.linalg.norm(errors.reshape(len(errors), -1), axis=1))


def root_mean_square(errors: FloatArray, independent: float, reference_variance: float = 0.0) -> UncertainNumber:
    """Return the root mean square of errors.

    Parameters
    ----------
    errors
        (N,) or (N, D) without NaN, in order of time.
    independent
        How many independent errors they are worth if they are Gaussian.
    reference_variance
        Mean variance of the reference, summed over the D components (GUM: the marks' own uncertainty). It is part
        of what is observed, so the interval's lower end is given with it taken off.
    """
    count = len(errors)
    method = "root mean square; chi-square interval, degrees of freedom from the errors' scatter and correlation"
    if count == 0:
        return unavailable("no comparison with a reference", method=method)
    value = math.sqrt(float(np.mean(_radii(errors) ** 2)))
    freedom = mean_square_freedom(errors, independent)
    why = _too_few(independent) or too_little_freedom(freedom, "a few large errors")
    if why is not None:
        return measured(value, None, count, method, why, freedom)
    lower, upper = rms_interval(value, freedom)
    interval = (math.sqrt(max(0.0, lower**2 - reference_variance)), upper)
    return measured(value, interval, count, method, None, freedom)


def mean_with_interval(radii: FloatArray, independent: float) -> UncertainNumber:
    """Return the mean of radial errors (N,), in order of time, with a Student interval."""
    number = bias_with_interval(radii, independent)
    if number.ci95 is None:
        return number
    return replace(number, ci95=(max(0.0, number.ci95[0]), number.ci95[1]))


def bias_with_interval(errors: FloatArray, independent: float) -> UncertainNumber:
    """Return the mean of signed errors (N,), in order of time, with a Student interval.

    Parameters
    ----------
    errors
        Without NaN.
    independent
        How many independent ones they hold at most; their own correlation may leave fewer.

    Notes
    -----
    Mean of correlated values: Zwiers & von Storch, J. Climate 8 (1995) 336-351.
    """
    count = len(errors)
    method = "mean; Student interval on the effective number of independent errors"
    if count == 0:
        return unavailable("no comparison with a reference", method=method)
    value = float(np.mean(errors))
    independent = min(independent, effective_mean_size(errors))
    why = _too_few(independent)
    if why is not None:
        return measured(value, None, count, method, why, independent)
    # the scatter of correlated values about their own mean is too small by the share they are worth
    spread = float(np.std(errors, ddof=1)) * math.sqrt(independent / (independent - 1.0))
    half = float(special.stdtrit(independent - 1.0, 0.975)) * spread / math.sqrt(independent)
    return measured(value, (value - half, value + half), count, method, None, independent)


def circular_error_probable(radii: FloatArray, independent: float) -> UncertainNumber:
    """Return the radius that holds half of the radial errors (N,), with an order-statistic interval."""
    count = len(radii)
    method = "median radius; order-statistic interval on as many errors as are independent"
    if count == 0:
        return unavailable("no comparison with a reference", method=method)
    why = _too_few(independent)
    interval = None if why else quantile_interval(radii, 0.5, independent)
    if interval is None and why is None:
        why = "no interval: too few errors are independent"
    return measured(float(np.median(radii)), interval, count, method, why, independent)


def radius95(radii: FloatArray, independent: float, sessions: int | None = None) -> UncertainNumber:
    """Return the radius that holds 95 % of the radial errors (N,); unavailable below 20 independent ones.

    Where sessions are the unit of resampling, their number bounds what the interval rests on.
    """
    count = len(radii)
    method = "95th percentile of radius; order-statistic interval"
    if independent < _FEWEST_FOR_R95:
        why = f"needs {_FEWEST_FOR_R95} independent errors; these {count} are worth {independent:.1f}"
        return unavailable(why, n=count, method=method)
    worth = independent if sessions is None else min(independent, float(sessions))
    interval = quantile_interval(radii, 0.95, worth)
    why_none = None if interval else "no interval: its upper end lies beyond the largest error seen"
    return measured(float(np.quantile(radii, 0.95)), interval, count, method, why_none, worth)


def largest(sizes: FloatArray) -> UncertainNumber:
    """Return the largest of the sizes (N,); an extreme of one run has no interval."""
    method = "largest observed"
    if len(sizes) == 0:
        return unavailable("nothing to compare", method=method)
    return measured(float(np.max(sizes)), None, len(sizes), method, "no interval: an extreme of what was seen")
