"""The mean NEES that an honest estimator would have shown on this very run, drawn again and again.

Errors along a run hang together, so a chi-square band that takes each comparison for an independent one is too narrow.
The draws of `fusion.redraws` have the correlation that the estimator's own model implies.
"""

from collections.abc import Sequence

import numpy as np

from locbench.accuracy.comparing import Comparison
from locbench.accuracy.consistency import squared_over_components, usable_comparisons
from locbench.arrays import FloatArray
from locbench.fusion import Estimate, redrawn_errors
from locbench.odometry import Motion

__all__ = ["redrawn_mean_errors_squared"]

# A dwell's mean error is drawn as the mean over that many times of it.
_TIMES_PER_DWELL = 9
_REFERENCE_SEED = 21


def redrawn_mean_errors_squared(
    estimates: Sequence[Estimate], motions: Sequence[Motion], places: Comparison, end_s: FloatArray
) -> FloatArray | None:
    """Return mean normalised errors squared (draws,) per degree of freedom, drawn under the estimator's own model.

    Parameters
    ----------
    estimates, motions
        One per stretch.
    places
        Where the estimator is compared.
    end_s
        (K,) when each comparison ends; it lies about `places.time_s`, over which the error was averaged.

    Returns
    -------
    ndarray or None
        None if there is no comparison with a covariance on both sides.

    Notes
    -----
    The error of a dwell is the mean over it, and so is its draw: fixes that come in while the robot stands make the
    mean a little smaller than the error at any one moment. The reference's own error is drawn for each comparison
    anew; a mark whose survey is off errs alike at each visit, which is not modelled.
    """
    usable = np.flatnonzero(usable_comparisons(places))
    if not len(usable):
        return None
    parts = []
    for stretch, (estimate, motion) in enumerate(zip(estimates, motions, strict=True)):
        rows = usable[places.stretch[usable] == stretch]
        if len(rows):
            parts.append(_mean_over_dwells(estimate, motion, places.time_s[rows], end_s[rows]))
    errors = np.concatenate(parts)
    reference = np.nan_to_num(places.reference_covariance[usable])
    spread = np.sqrt(np.diagonal(reference, axis1=1, axis2=2))
    errors += np.random.default_rng(_REFERENCE_SEED).standard_normal(errors.shape) * spread[:, np.newaxis]
    total = places.believed_covariance[usable] + places.reference_covariance[usable]
    measured_heading = np.isfinite(places.error[usable, 2])
    errors[~measured_heading, :, 2] = np.nan
    squared, size = squared_over_components(errors, total)
    return np.asarray(np.sum(squared, axis=0) / np.sum(size))


def _mean_over_dwells(estimate: Estimate, motion: Motion, middle_s: FloatArray, end_s: FloatArray) -> FloatArray:
    """Return (K, draws, 3) drawn errors, each the mean over a dwell about its middle; of a press, the error then."""
    offsets = np.linspace(-1.0, 1.0, _TIMES_PER_DWELL)
    half = np.maximum(end_s - middle_s, 0.0)
    times = np.clip(middle_s[:, np.newaxis] + half[:, np.newaxis] * offsets, motion.time_s[0], motion.time_s[-1])
    wanted, place = np.unique(times, return_inverse=True)
    errors = redrawn_errors(estimate, motion, wanted)
    place = place.reshape(times.shape)
    return np.asarray(np.mean([errors[place[:, k]] for k in range(_TIMES_PER_DWELL)], axis=0))
