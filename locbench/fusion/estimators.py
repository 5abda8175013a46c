"""The estimators that need no filter, and the form in which every estimator answers."""

from dataclasses import dataclass

import numpy as np

from locbench.arrays import IntArray
from locbench.config import MotionNoise
from locbench.fusion.corrections import Corrections
from locbench.fusion.steps import CorrectionSteps
from locbench.fusion.track import Between, Track
from locbench.odometry import Motion
from locbench.session import Detections, PoseTrack, StartPose

__all__ = ["UNCORRECTED", "Estimate", "dead_reckoning", "onboard", "tags_only"]

# Nothing corrects these: their errors pile up along the run, so a run is one observation.
UNCORRECTED = frozenset({"dead_reckoning", "onboard"})

# A pose from tags alone counts this long after its capture; without odometry it is stale soon.
_HOLD_S = 0.5


@dataclass(frozen=True)
class Estimate:
    """What one estimator published over a stretch, the motion noise it believes, and its corrections if any.

    `steps` says how each correction acted on an error; None where nothing corrects.
    """

    name: str
    track: Track
    noise: MotionNoise
    corrections: Corrections | None
    steps: CorrectionSteps | None = None


def dead_reckoning(motion: Motion, start: StartPose, noise: MotionNoise) -> Estimate:
    """Return odometry alone from the start pose: nothing else is ever published anew."""
    track = Track(
        time_s=motion.time_s[:1],
        pose=start.pose[np.newaxis].astype(float),
        covariance=start.covariance[np.newaxis].astype(float),
        valid_until_s=np.full(1, np.inf),
        between=Between.ODOMETRY,
    )
    return Estimate("dead_reckoning", track, noise, None)


def onboard(track: PoseTrack, motion: Motion, noise: MotionNoise) -> Estimate:
    """Return what the robot itself believed, as logged."""
    inside = (track.time_s >= motion.time_s[0]) & (track.time_s <= motion.time_s[-1])
    count = int(np.sum(inside))
    entries = Track(
        time_s=track.time_s[inside],
        pose=track.pose[inside],
        covariance=np.full((count, 3, 3), np.nan),
        valid_until_s=np.full(count, np.inf),
        between=Between.LINEAR,
    )
    return Estimate("onboard", entries, noise, None)


def tags_only(detections: Detections, motion: Motion, noise: MotionNoise) -> Estimate:
    """Return the newest robot pose that a tag gave, held for at most half a second after its capture.

    `detections` are robot poses. No rule, no odometry and, since no noise is configured for it, no covariance: what
    vision alone would be worth.
    """
    order = _newest_first_seen(detections, motion)
    captured = detections.captured_s[order]
    entries = Track(
        time_s=detections.arrived_s[order],
        pose=detections.value[order],
        covariance=np.full((len(order), 3, 3), np.nan),
        valid_until_s=captured + _HOLD_S,
        between=Between.HOLD,
    )
    return Estimate("tags_only", entries, noise, None)


def _newest_first_seen(detections: Detections, motion: Motion) -> IntArray:
    """Return indices in order of arrival, without those that arrive when a later capture is already known."""
    inside = (detections.captured_s >= motion.time_s[0]) & (detections.arrived_s <= motion.time_s[-1])
    order = np.lexsort((detections.row, detections.captured_s, detections.arrived_s))
    order = order[inside[order]]
    captured = detections.captured_s[order]
    newest = np.maximum.accumulate(captured) if len(captured) else captured
    return np.asarray(order[captured >= newest])
