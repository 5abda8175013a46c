"""Intervals and effective sample sizes, from arrays alone."""

import math

import numpy as np
from scipy import special

from locbench.arrays import FloatArray

__all__ = [
    "NORMAL_95",
    "chi_square_mean_band",
    "chi_square_quantile",
    "effective_sample_size",
    "order_statistic_interval",
    "rms_interval",
    "wilson_interval",
]

NORMAL_95 = float(special.ndtri(0.975))


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
    series = series.reshape(count, -1)
    padded = 1 << (2 * count - 1).bit_length()
    spectrum = np.abs(np.fft.rfft(series, padded, axis=0)) ** 2
    correlation = np.fft.irfft(spectrum.sum(axis=1), padded)[:count] / energy
    not_positive = np.flatnonzero(correlation <= 0.0)
    last = int(not_positive[0]) if len(not_positive) else count
    return count / (1.0 + 2.0 * float(np.sum(correlation[1:last] ** 2)))


def rms_interval(rms: float, independent: float) -> tuple[float, float]:
    """Return the 95 % interval of a root mean square of position errors.

    Parameters
    ----------
    rms
        Root mean square of the radial errors.
    independent
        Number of independent errors; also the degrees of freedom, on the safe side of two per position.

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

    Notes
    -----
    P(X_(l) <= q <= X_(u)) is binomial: David & Nagaraja, "Order Statistics" (2003), section 7.1.
    """
    ordered = np.sort(np.asarray(values, dtype=float))
    count = len(ordered)
    below = special.bdtr(np.arange(count + 1), count, quantile) if count else np.array([])
    lower = np.flatnonzero(below <= 0.025)
    upper = np.flatnonzero(below >= 0.975)
    # X_(k) is at or below the quantile with probability P(B >= k): k - 1 is the largest with P(B <= k - 1) <= 2.5 %
    if not len(lower) or not len(upper) or upper[0] >= count:
        return None
    return float(ordered[lower[-1]]), float(ordered[upper[0]])
