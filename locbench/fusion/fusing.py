"""One way to ask for a filter's answer, whatever engine its file names."""

from collections.abc import Callable

import numpy as np

from locbench.arrays import FloatArray
from locbench.config import Engine, FusionConfig, MotionNoise
from locbench.fusion.compiled import fuse_compiled
from locbench.fusion.estimators import Estimate
from locbench.fusion.textbook import fuse_by_samples
from locbench.odometry import Motion
from locbench.session import StartPose
from locbench.vision import Sightings

__all__ = ["fuse"]

_NO_REQUESTS = np.zeros(0)


def fuse(
    motion: Motion,
    start: StartPose,
    sightings: Sightings,
    fusion: FusionConfig,
    noise: MotionNoise,
    requests_s: FloatArray = _NO_REQUESTS,
    progress: Callable[[float], None] = lambda _: None,
) -> Estimate:
    """Return what a filter would have published over one stretch.

    Parameters
    ----------
    motion
        The odometry of the stretch.
    start
        Pose and covariance at its first time.
    sightings
        The session's detections; those that act before the stretch or arrive after it are not offered.
    fusion
        Engine, correction mode, trust rules, latency.
    noise
        The robot's motion noise, single keys already replaced by the fusion file's.
    requests_s
        (P,) when the driver asked for a correction; only a filter that waits for that looks at it.
    progress
        Told now and then which share of the stretch is done; the compiled replay is over before it could tell.
    """
    if fusion.engine is Engine.KERNEL:
        return fuse_compiled(motion, start, sightings, fusion, noise, requests_s)
    return fuse_by_samples(motion, start, sightings, fusion, noise, requests_s, progress)
