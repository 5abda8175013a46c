"""A camera's program that goes on reporting an old picture under new times."""

import numpy as np

from locbench.arrays import BoolArray
from locbench.inspection.detections import severity_by_share
from locbench.inspection.diagnosis import Diagnosis, LogFault
from locbench.odometry import Motion
from locbench.session import Detections, Measured, Severity

__all__ = ["stale_detections"]

# Readings rounded to an inch or some degrees stay the same over a little motion; over so much they cannot.
_MOVED_M, _TURNED_RAD = 0.15, float(np.radians(12.0))
_MOST = 0.5


def stale_detections(detections: Detections, motion: Motion, file: str) -> Diagnosis | None:
    """Return a diagnosis of detections that repeat an earlier one of their tag to the digit though the robot moved.

    None for kinds that measure one number: it may well be the same from two places.
    """
    if detections.value.shape[1] < 2 or len(detections) < 2:
        return None
    stale = _stale(detections, motion)
    count = int(np.sum(stale))
    if not count:
        return None
    share = count / len(detections)
    first_s = float(np.min(detections.captured_s[stale]))
    return Diagnosis(
        code=LogFault.STALE_DETECTION,
        severity=Severity.ERROR if share > _MOST else severity_by_share(count, share),
        where=file,
        evidence=f"{count} of {len(detections)} detections ({100.0 * share:.1f} %) repeat an earlier one of their tag "
        f"to the last digit, though the robot moved on by more than {1000.0 * _MOVED_M:.0f} mm or "
        f"{np.degrees(_TURNED_RAD):.0f} deg; the first at {first_s:.6g} s.",
        meaning="An old picture under a new time pulls the pose back to where the robot was.",
        remedy="Log a detection only when its picture is new; many programs repeat the last result while no tag is in "
        "view.",
        measured=(Measured("detections", float(count)), Measured("share", share)),
    )


def _stale(detections: Detections, motion: Motion) -> BoolArray:
    """Return (M,) which detections are like one of their tag that was made elsewhere, without another in between."""
    order = np.lexsort((detections.captured_s, detections.tag))
    value, tag = np.nan_to_num(detections.value[order], nan=np.inf), detections.tag[order]
    begins = np.append(True, np.any(value[1:] != value[:-1], axis=1) | (tag[1:] != tag[:-1]))
    first = np.flatnonzero(begins)[np.cumsum(begins) - 1]
    times = detections.captured_s[order]
    way = np.interp(times, motion.time_s, motion.path_length_m)
    turning = np.interp(times, motion.time_s, motion.turning_rad)
    stale = np.zeros(len(order), dtype=bool)
    stale[order] = (way - way[first] > _MOVED_M) | (turning - turning[first] > _TURNED_RAD)
    return stale
