"""How large residuals are: by a model of the noise, and how many of them hang together."""

import numpy as np

from locbench.arrays import FloatArray
from locbench.camera.components import Component
from locbench.camera.observed import Observed
from locbench.config.fusion import TagNoise
from locbench.statistics import effective_mean_size
from locbench.statistics.robust import MAD_TO_SIGMA
from locbench.vision.noise import bearing_variance, pose_covariance, range_variance, share_of_one_tag

__all__ = ["model_variance", "robust_scale", "together"]

_FEWEST = 30
# as a covariance of poses has them
_OF_POSE = (Component.ALONG, Component.ACROSS, Component.HEADING)


def model_variance(seen: Observed, noise: TagNoise, range_m: FloatArray, view_rad: FloatArray) -> FloatArray:
    """Return (M, D) variances of the residuals by a fusion file's noise, at ranges (M,) and view angles (M,)."""
    columns = []
    poses = None
    for name in seen.components:
        if name is Component.RANGE:
            columns.append(range_variance(range_m, view_rad, noise))
        elif name is Component.BEARING:
            columns.append(bearing_variance(range_m, view_rad, noise))
        else:
            if poses is None:
                ahead = np.tile([1.0, 0.0], (len(range_m), 1))
                share = share_of_one_tag(seen.detections.tag_count, noise)
                poses = share[:, np.newaxis] * np.diagonal(
                    pose_covariance(ahead, range_m, view_rad, noise), axis1=1, axis2=2
                )
            columns.append(poses[:, _OF_POSE.index(name)])
    return np.column_stack(columns)


def robust_scale(values: FloatArray) -> FloatArray:
    """Return (D,) standard deviations of columns (M, D) by the median distance from zero; NaN are left out."""
    scale = MAD_TO_SIGMA * np.nanmedian(np.abs(values), axis=0)
    return np.where(np.isfinite(scale) & (scale > 0.0), scale, 1.0)


def together(normalised: FloatArray) -> float:
    """Return how many residuals (M,) in a row are worth one for their mean; 1 where they are few."""
    values = normalised[np.isfinite(normalised)]
    if len(values) < _FEWEST:
        return 1.0
    return max(1.0, len(values) / max(effective_mean_size(np.clip(values, -3.0, 3.0)), 1.0))
