"""Intervals and effective sample sizes, from arrays alone."""

import math
from functools import lru_cache

import numpy as np
from scipy import special

from locbench.arrays import FloatArray

__all__ = [
    "NORMAL_95",
    "chi_square_mean_band",
    "chi_square_quantile",
    "effective_mean_size",
    "effective_sample_size",
    "mean_square_freedom",
    "order_statistic_interval",
    "proportion_interval",
    "quantile_interval",
    "rms_interval",
    "too_little_freedom",
    "wilson_interval",
]

_FEWEST_FREEDOM = 4
NORMAL_95 = float(special.ndtri(0.975))
_ONE_SIDED = 0.035


@lru_cache(maxsize=1024)
def chi_square_quantile(probability: float, degrees_of_freedom: float) -> float:
    """Return the chi-square quantile; degrees of freedom need not be whole."""
    return float(2.0 * special.gammaincinv(degrees_of_freedom / 2.0, probability))


def effective_sample_size(errors: FloatArray) -> float:
    """Return how many independent errors the given ones are worth for their mean square.

    Parameters
    ----------
    errors
        (N,) or (N, D), in order of time, without NaN. Zero, not their mean, is what they should be, so a constant
        offset counts as perfectly correlated.

    Returns
    -------
    float
        N / (1 + 2 sum rho_k^2) with the sum cut at the first non-positive autocorrelation; between 0 and N.

    Notes
    -----
    The variance of a mean square of a Gaussian series grows by 1 + 2 sum rho_k^2: Bayley & Hammersley, "The
    effective number of independent observations in an autocorrelated time series", J. R. Stat. Soc. Suppl. 8 (1946)
    184-197. Cutting the sum where the estimate first fails to be positive: Geyer, Stat. Sci. 7 (1992) 473-483.
    """
    series = np.asarray(errors, dtype=float)
    count = len(series)
    energy = float(np.sum(series**2))
    if count < 2 or energy == 0.0:
        return float(count)
    return count / (1.0 + 2.0 * float(np.sum(_positive_correlations(series.reshape(count, -1)) ** 2)))


def effective_mean_size(values: FloatArray) -> float:
    """Return how many independent values the given ones are worth for their mean.

    Parameters
    ----------
    values
        (N,) in order of time, without NaN.

    Returns
    -------
    float
        N / (1 + 2 sum rho_k) about their mean, the sum cut as in `effective_sample_size`; between 0 and N.
    """
    count = len(values)
    centred = np.asarray(values, dtype=float) - np.mean(values) if count else np.zeros(0)
    if count < 2 or not np.any(centred):
        return float(count)
    return count / (1.0 + 2.0 * float(np.sum(_positive_correlations(centred.reshape(count, 1)))))


def _positive_correlations(series: FloatArray) -> FloatArray:
    """Return the autocorrelations of (N, D) from lag 1 to before the first that is not positive."""
    count = len(series)
    padded = 1 << (2 * count - 1).bit_length()
    spectrum = np.abs(np.fft.rfft(series, padded, axis=0)) ** 2
    correlation = np.fft.irfft(spectrum.sum(axis=1), padded)[:count] / float(np.sum(series**2))
    not_positive = np.flatnonzero(correlation <= 0.0)
    return np.asarray(correlation[1 : int(not_positive[0]) if len(not_positive) else count])


def mean_square_freedom(errors: FloatArray, independent: float) -> float:
    """Return the degrees of freedom with which the mean square of errors is known.

    Parameters
    ----------
    errors
        (N,) or (N, D) in order of time, without NaN.
    independent
        How many independent errors they are worth if they are Gaussian.

    Notes
    -----
    Satterthwaite, Biometrics Bulletin 2 (1946) 110-114: 2 mean^2 / variance of the mean, here of the squared sizes with
    their own scatter and autocorrelation. A few large errors among many small ones leave few degrees of freedom.
    """
    sizes = (
        np.sum(np.asarray(errors, dtype=float).reshape(len(errors), -1) ** 2, axis=1) if len(errors) else np.zeros(0)
    )
    if len(sizes) < 2 or not np.any(sizes):
        return independent
    relative_variance = float(np.var(sizes, ddof=1)) / float(np.mean(sizes)) ** 2
    if relative_variance == 0.0:
        return independent
    return min(independent, 2.0 * effective_mean_size(sizes) / relative_variance)


def too_little_freedom(freedom: float, carriers: str) -> str | None:
    """Return why so few degrees of freedom give no interval, or None; `carriers` says in words what is few."""
    if freedom >= _FEWEST_FREEDOM:
        return None
    return f"no interval: {carriers} carry the figure ({freedom:.1f} degrees of freedom, {_FEWEST_FREEDOM} needed)"


def rms_interval(rms: float, independent: float) -> tuple[float, float]:
    """Return the 95 % interval of a root mean square of position errors.

    Parameters
    ----------
    rms
        Root mean square of the radial errors.
    independent
        Degrees of freedom: the number of independent errors, on the safe side of two per position, or what
        `mean_square_freedom` leaves of it.

    Notes
    -----
    rms^2 n / chi-square quantiles. Source: e.g. NIST/SEMATECH e-Handbook of Statistical Methods, section 7.2.3.1.
    """
    upper = chi_square_quantile(0.975, independent)
    lower = chi_square_quantile(0.025, independent)
    return rms * math.sqrt(independent / upper), rms * math.sqrt(independent / lower)


def wilson_interval(successes: float, trials: float) -> tuple[float, float]:
    """Return the 95 % interval of a proportion; trials may be an effective number.

    Source: Wilson, J. Am. Stat. Assoc. 22 (1927) 209-212.
    """
    share, square = successes / trials, NORMAL_95**2
    centre = share + square / (2.0 * trials)
    half = NORMAL_95 * math.sqrt(share * (1.0 - share) / trials + square / (4.0 * trials**2))
    scale = 1.0 + square / trials
    return max(0.0, (centre - half) / scale), min(1.0, (centre + half) / scale)


def proportion_interval(successes: float, trials: float) -> tuple[float, float]:
    """Return a 95 % interval of a proportion that covers also where successes or failures are rare.

    Wilson's holds a share near 0 or 1 in only 83 % of cases, because one success puts its lower end above the truth.
    So its ends give way to exact one-sided bounds of 3.5 % (Clopper & Pearson, Biometrika 26 (1934) 404-413) where
    those are wider. Exact coverage with 4 to 100 trials: at least 93 % at every proportion (`tests/statistics/`).

    Parameters
    ----------
    successes, trials
        Need not be whole: trials may be an effective number.

    Notes
    -----
    How Wilson's fails and that widening it at the ends mends it: Brown, Cai & DasGupta, Stat. Sci. 16 (2001) 101-133.
    """
    lower, upper = wilson_interval(successes, trials)
    failures = trials - successes
    if successes > 0.0:
        lower = min(lower, float(special.betaincinv(successes, failures + 1.0, _ONE_SIDED)))
    if failures > 0.0:
        upper = max(upper, 1.0 - float(special.betaincinv(failures, successes + 1.0, _ONE_SIDED)))
    return lower, upper


def chi_square_mean_band(degrees_of_freedom: float, independent: float) -> tuple[float, float]:
    """Return the two-sided 95 % band of the mean of `independent` chi-square values.

    Source: Bar-Shalom, Li & Kirubarajan, "Estimation with Applications to Tracking and Navigation" (2001), 5.4.
    """
    total = degrees_of_freedom * independent
    return chi_square_quantile(0.025, total) / independent, chi_square_quantile(0.975, total) / independent


def order_statistic_interval(values: FloatArray, quantile: float) -> tuple[float, float] | None:
    """Return the distribution-free 95 % interval of a quantile, or None if so few values allow none.

    Parameters
    ----------
    values
        (N,) independent observations, without NaN.
    quantile
        Between 0 and 1.
    """
    return quantile_interval(values, quantile, float(len(values)))


def quantile_interval(values: FloatArray, quantile: float, independent: float) -> tuple[float, float] | None:
    """Return the distribution-free 95 % interval of a quantile of values that hang together, or None.

    Parameters
    ----------
    values
        (N,) observations, without NaN.
    quantile
        Between 0 and 1.
    independent
        How many independent observations they are worth; at most N.

    Notes
    -----
    Of n independent values P(X_(l) <= q <= X_(u)) is binomial: David & Nagaraja, "Order Statistics" (2003), section
    7.1. Values worth fewer take the ranks of those few, stretched over all of them and rounded outwards: the inversion
    of Woodruff, J. Am. Stat. Assoc. 47 (1952) 635-646.
    """
    ordered = np.sort(np.asarray(values, dtype=float))
    few = math.floor(independent)
    if few < 1:
        return None
    below = special.bdtr(np.arange(few + 1), few, quantile)
    lower = np.flatnonzero(below <= 0.025)
    upper = np.flatnonzero(below >= 0.975)
    # X_(k) is at or below the quantile with probability P(B >= k): k - 1 is the largest with P(B <= k - 1) <= 2.5 %
    if not len(lower) or not len(upper) or upper[0] >= few:
        return None
    # in whole numbers: rounding must not stretch the last rank past the last value
    first = int(lower[-1]) * len(ordered) // few
    last = -(-(int(upper[0]) + 1) * len(ordered) // few) - 1
    return float(ordered[first]), float(ordered[last])
