"""Relative-pose error over the segments between references: what the odometry loses per metre, turn and minute.

Source: Sturm, Engelhard, Endres, Burgard & Cremers, IROS 2012 (relative pose error); Geiger, Lenz & Urtasun, CVPR
2012 (error per length of sub-paths).
"""

import math
from dataclasses import dataclass, fields

import numpy as np

from locbench.accuracy.comparing import Comparison
from locbench.arrays import FloatArray
from locbench.geometry import between
from locbench.statistics import UncertainNumber, effective_sample_size, measured, root_mean_square, unavailable

__all__ = ["DriftNumbers", "DriftSegments", "drift_numbers", "drift_segments", "equal_parts"]

_SHORTEST_SEGMENT_M = 0.2
_LEAST_TURN_RAD = math.pi / 2.0


@dataclass(frozen=True)
class DriftSegments:
    """Segments (K,) in order of time: length, absolute turning, duration, and relative-pose error at their end.

    `error` is (K, 3) in the frame of the reference at the end of the segment.
    """

    length_m: FloatArray
    turning_rad: FloatArray
    duration_s: FloatArray
    error: FloatArray

    def __len__(self) -> int:
        return len(self.length_m)


def drift_segments(comparison: Comparison) -> DriftSegments:
    """Return the segments between consecutive references with a heading, inside one stretch.

    The error is (Q_i^-1 Q_j)^-1 (P_i^-1 P_j) of references Q and believed poses P.
    """
    usable = comparison.covered & np.isfinite(comparison.error[:, 2])
    rows = np.flatnonzero(usable)
    first, second = rows[:-1], rows[1:]
    together = comparison.stretch[first] == comparison.stretch[second]
    long_enough = comparison.path_length_m[second] - comparison.path_length_m[first] >= _SHORTEST_SEGMENT_M
    first, second = first[together & long_enough], second[together & long_enough]
    true_step = between(comparison.reference[first], comparison.reference[second])
    believed_step = between(comparison.believed[first], comparison.believed[second])
    return DriftSegments(
        length_m=comparison.path_length_m[second] - comparison.path_length_m[first],
        turning_rad=comparison.turning_rad[second] - comparison.turning_rad[first],
        duration_s=comparison.time_s[second] - comparison.time_s[first],
        error=between(true_step, believed_step),
    )


def equal_parts(comparison: Comparison, parts: int) -> Comparison:
    """Return the comparison thinned to the ends of that many parts of equal path length."""
    wanted = np.linspace(comparison.path_length_m[0], comparison.path_length_m[-1], parts + 1)
    rows = np.unique(np.clip(np.searchsorted(comparison.path_length_m, wanted), 0, len(comparison) - 1))
    return Comparison(**{f.name: getattr(comparison, f.name)[rows] for f in fields(Comparison)})


@dataclass(frozen=True)
class DriftNumbers:
    """Drift in numbers; see `results.Drift`."""

    segment_length_m: UncertainNumber
    position_per_metre: UncertainNumber
    heading_per_metre_rad: UncertainNumber
    heading_per_turn_rad: UncertainNumber
    position_per_minute_m: UncertainNumber


def drift_numbers(segments: DriftSegments) -> DriftNumbers:
    """Return root mean squares of error per length, turn and time of each segment."""
    position = segments.error[:, :2]
    heading = segments.error[:, 2]
    turned = segments.turning_rad >= _LEAST_TURN_RAD
    return DriftNumbers(
        segment_length_m=_median(segments.length_m),
        position_per_metre=_rate(position / segments.length_m[:, np.newaxis]),
        heading_per_metre_rad=_rate(heading / segments.length_m),
        heading_per_turn_rad=(
            _rate(heading[turned] / (segments.turning_rad[turned] / (2.0 * math.pi)))
            if np.any(turned)
            else unavailable("no segment turns by a quarter turn or more")
        ),
        position_per_minute_m=_rate(position / (segments.duration_s[:, np.newaxis] / 60.0)),
    )


def _rate(ratio: FloatArray) -> UncertainNumber:
    return root_mean_square(ratio, effective_sample_size(ratio)) if len(ratio) else unavailable("no segment")


def _median(lengths: FloatArray) -> UncertainNumber:
    method = "median length of the segments"
    if not len(lengths):
        return unavailable("no two consecutive references with a heading", method=method)
    bounds = (float(np.min(lengths)), float(np.max(lengths)))
    why = f"no interval: the segments are {bounds[0]:.3g} to {bounds[1]:.3g} m long"
    return measured(float(np.median(lengths)), None, len(lengths), method, why)
