"""How far a fix lies from what the estimator said just before: all that tags alone can tell."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from locbench.arrays import FloatArray
from locbench.fusion import Estimate, sample_track
from locbench.geometry import wrap_angle
from locbench.odometry import Motion
from locbench.session import Detections, TagKind
from locbench.statistics import (
    UncertainNumber,
    circular_error_probable,
    effective_sample_size,
    root_mean_square,
    unavailable,
)

__all__ = ["ResidualNumbers", "residual_numbers", "tag_residuals"]


@dataclass(frozen=True)
class ResidualNumbers:
    """Residuals in numbers; see `results.TagResiduals`."""

    residual_rms_m: UncertainNumber
    residual_median_m: UncertainNumber
    residual_heading_rms_rad: UncertainNumber


def tag_residuals(estimate: Estimate, motion: Motion, detections: Detections) -> FloatArray:
    """Return fix minus the pose published just before its picture was taken.

    Parameters
    ----------
    estimate
        What was published over one stretch.
    motion
        Its odometry.
    detections
        Of the session; those outside the stretch are left out, and so are those whose kind is no robot pose.

    Returns
    -------
    (M, 3)
        x, y, heading in the field frame, in order of capture; heading NaN where the fix has none. Every fix counts,
        the refused ones too, so that estimators are compared over the same ones.
    """
    if detections.kind is not TagKind.ROBOT_POSE:
        return np.zeros((0, 3))
    inside = (detections.captured_s > motion.time_s[0]) & (detections.captured_s <= motion.time_s[-1])
    rows = np.flatnonzero(inside)[np.argsort(detections.captured_s[inside], kind="stable")]
    # a fix without latency is published at its capture, so the moment before is asked for
    before = np.nextafter(detections.captured_s[rows], -np.inf)
    residual = detections.value[rows] - sample_track(estimate.track, motion, estimate.noise, before).pose
    residual[:, 2] = wrap_angle(residual[:, 2])
    return np.asarray(residual[np.isfinite(residual[:, 0])])


def residual_numbers(stretches: Sequence[FloatArray]) -> ResidualNumbers:
    """Return root mean square, median and heading of the residuals of all stretches."""
    residual = np.concatenate(stretches) if stretches else np.zeros((0, 3))
    if not len(residual):
        none = unavailable("no fix of a whole robot pose inside the odometry log")
        return ResidualNumbers(none, none, none)
    independent = effective_sample_size(residual[:, :2])
    heading = residual[np.isfinite(residual[:, 2]), 2]
    return ResidualNumbers(
        residual_rms_m=root_mean_square(residual[:, :2], independent),
        residual_median_m=circular_error_probable(np.linalg.norm(residual[:, :2], axis=1), independent),
        residual_heading_rms_rad=(
            root_mean_square(heading, effective_sample_size(heading))
            if len(heading)
            else unavailable("the fixes have no heading")
        ),
    )
