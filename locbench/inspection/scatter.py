"""How much fixes scatter from one picture to the next: noise of the camera, which no change of the set-up mends."""

import numpy as np

from locbench.geometry import between, compose, wrap_angle
from locbench.inspection.misfit import Comparison, Misfit

__all__ = ["is_scatter"]

_SOON_S = 0.5
_FEWEST_PAIRS = 8
# a median distance in units of what the scatter alone makes of it; common practice, no source
_NO_MORE = 1.5
# fixes in a comparison: what they err by adds up
_FIXES_IN = {Comparison.FIXES: 1, Comparison.ODOMETRY_FIXES: 2}


def is_scatter(left: Misfit, kind: Comparison) -> bool:
    """Return whether a comparison with fixes leaves no more than neighbouring fixes of one tag contradict each other.

    A wrong frame, place or clock moves neighbours alike, so it leaves more than that.
    """
    fixes, odometry = left.log.fixes, left.log.odometry
    if fixes is None or kind not in _FIXES_IN:
        return False
    order = np.lexsort((fixes.time_s, fixes.tag))
    first, second = order[:-1], order[1:]
    gap = fixes.time_s[second] - fixes.time_s[first]
    near = (fixes.tag[first] == fixes.tag[second]) & (gap > 0.0) & (gap < _SOON_S)
    first, second = first[near], second[near]
    way = between(odometry.at(fixes.time_s[first]), odometry.at(fixes.time_s[second]))
    error = fixes.pose[second] - compose(fixes.pose[first], way)
    error = error[np.isfinite(error).all(axis=1)]
    if len(error) < _FEWEST_PAIRS:
        return False
    by_scatter = _NO_MORE * np.sqrt(_FIXES_IN[kind] / 2.0)
    residuals = left.residuals[kind]
    return bool(
        residuals.typical_m <= by_scatter * np.median(np.hypot(error[:, 0], error[:, 1]))
        and residuals.typical_rad <= by_scatter * np.median(np.abs(wrap_angle(error[:, 2])))
    )
