"""What corrections did, judged against the reference."""

import numpy as np

from locbench.fusion import Corrections
from locbench.odometry import Motion
from locbench.reference import KnownPoses
from locbench.statistics import CorrectionVerdict, judge_corrections

__all__ = ["judged", "longest_without_fix"]


def judged(corrections: Corrections, known: KnownPoses) -> list[CorrectionVerdict | None]:
    """Return a verdict per accepted correction, None per refused one; `known` holds the poses at the arrivals."""
    verdicts = judge_corrections(corrections.before, corrections.after, known.pose, known.covariance[:, :2, :2])
    return [v if ok else None for v, ok in zip(verdicts, corrections.accepted, strict=True)]


def longest_without_fix(corrections: Corrections, motion: Motion) -> float:
    """Return the longest time in seconds without an accepted correction, ends of the stretch included."""
    accepted = np.sort(corrections.arrived_s[corrections.accepted])
    return float(np.max(np.diff(np.concatenate([motion.time_s[:1], accepted, motion.time_s[-1:]]))))
