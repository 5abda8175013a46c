"""Which detections a stretch is offered, when they act, and in which order they arrive."""

import numpy as np

from locbench.arrays import FloatArray, IntArray
from locbench.config import LatencyMode
from locbench.odometry import Motion
from locbench.session import Detections

__all__ = ["applied_times", "arrival_order"]


def applied_times(detections: Detections, latency: LatencyMode) -> FloatArray:
    """Return (M,) the times at which detections act: their capture, or without rewinding their arrival."""
    return detections.captured_s if latency is LatencyMode.REWIND else detections.arrived_s


def arrival_order(detections: Detections, motion: Motion, latency: LatencyMode) -> IntArray:
    """Return indices of the detections that a stretch is offered, in the order (arrival, capture, row).

    Those that act before the stretch or arrive after it are not offered.
    """
    inside = applied_times(detections, latency) >= motion.time_s[0]
    inside &= detections.arrived_s <= motion.time_s[-1]
    order = np.lexsort((detections.row, detections.captured_s, detections.arrived_s))
    return np.asarray(order[inside[order]])
