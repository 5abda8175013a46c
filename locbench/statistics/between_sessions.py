"""Summaries of several sessions, each counted once: what differs from session to session is in the interval."""

import math
from collections.abc import Sequence

import numpy as np

from locbench.arrays import FloatArray
from locbench.statistics.intervals import rms_interval, too_little_freedom
from locbench.statistics.uncertain import UncertainNumber, measured

__all__ = ["FEWEST_SESSIONS", "mean_of_sessions", "root_mean_square_of_sessions"]

# From here on the session is the unit of resampling, and one estimator may be called better than another.
FEWEST_SESSIONS = 6


def root_mean_square_of_sessions(errors: Sequence[FloatArray], reference_variance: float = 0.0) -> UncertainNumber:
    """Return the root mean square of errors over at least six sessions.

    Parameters
    ----------
    errors
        Per session (N,) or (N, D), without NaN, none empty.
    reference_variance
        As in `root_mean_square`: taken off the interval's lower end.

    Notes
    -----
    rms^2 f / chi-square_f quantiles. The degrees of freedom f are the number of sessions, or fewer where their mean
    squares scatter more than those of a single Gaussian error each would (Satterthwaite 1946), or their lengths differ.
    Measured coverage at 6, 8, 12 and 20 sessions: 0.94 and more, also where one session in ten fails.
    """
    method = "root mean square over sessions; chi-square interval, one degree of freedom per session at most"
    squares = np.array([np.sum(part**2) / len(part) for part in errors])
    counts = np.array([float(len(part)) for part in errors])
    value = math.sqrt(float(np.average(squares, weights=counts)))
    freedom = _freedom(squares, counts)
    why = too_little_freedom(freedom, "a few sessions")
    if why is not None:
        return measured(value, None, int(np.sum(counts)), method, why, freedom)
    lower, upper = rms_interval(value, freedom)
    interval = (math.sqrt(max(0.0, lower**2 - reference_variance)), upper)
    return measured(value, interval, int(np.sum(counts)), method, None, freedom)


def mean_of_sessions(radii: Sequence[FloatArray]) -> UncertainNumber:
    """Return the mean of radial errors over at least six sessions, per session (N,), none empty.

    A radius is positive and skewed, and a mean scales with it, so the interval is that of a scale.
    """
    method = "mean over sessions; chi-square interval of the scale, one degree of freedom per session at most"
    means, counts = np.array([np.mean(part) for part in radii]), np.array([float(len(part)) for part in radii])
    value = float(np.average(means, weights=counts))
    freedom = _freedom(means**2, counts)
    why = too_little_freedom(freedom, "a few sessions")
    interval = None if why else rms_interval(value, freedom)
    return measured(value, interval, int(np.sum(counts)), method, why, freedom)


def _freedom(squares: FloatArray, weights: FloatArray) -> float:
    sessions = float(np.sum(weights)) ** 2 / float(np.sum(weights**2))
    mean = float(np.average(squares, weights=weights))
    if mean == 0.0:
        return sessions
    variance = float(np.average((squares - mean) ** 2, weights=weights)) * len(squares) / (len(squares) - 1.0)
    return sessions if variance == 0.0 else min(sessions, 2.0 * sessions * mean**2 / variance)
