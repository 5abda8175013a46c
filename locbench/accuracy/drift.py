"""Relative-pose error over the segments between references: what the odometry loses per metre, turn and minute.

Source: Sturm, Engelhard, Endres, Burgard & Cremers, IROS 2012 (relative pose error); Geiger, Lenz & Urtasun, CVPR
2012 (error per length of sub-paths).
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import combinations
from typing import Literal

import numpy as np

from locbench.accuracy.comparing import Comparison
from locbench.arrays import FloatArray, IntArray
from locbench.geometry import between
from locbench.statistics import UncertainNumber, effective_sample_size, measured, root_mean_square, unavailable

__all__ = [
    "DriftNumbers",
    "DriftSegments",
    "confounded_terms",
    "drift_numbers",
    "drift_segments",
    "equal_parts",
    "outlying_segments",
]

Term = Literal["metres", "turns", "minutes"]

_SHORTEST_SEGMENT_M = 0.2
_LEAST_TURN_RAD = math.pi / 2.0
_OUTLYING = 4.0
# So many times larger is the variance of a rate that has to be told from the others. Common practice; see the notes.
_LARGEST_INFLATION = 10.0


@dataclass(frozen=True)
class DriftSegments:
    """Segments (K,) in order of time: start, length, absolute turning, duration, relative-pose error at their end.

    `error` is (K, 3) in the frame of the reference at the end of the segment; `reference_variance` (K, 2) is what the
    references' own uncertainty adds to its squared position and heading.
    """

    start_s: FloatArray
    length_m: FloatArray
    turning_rad: FloatArray
    duration_s: FloatArray
    error: FloatArray
    reference_variance: FloatArray

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
        start_s=comparison.time_s[first],
        length_m=comparison.path_length_m[second] - comparison.path_length_m[first],
        turning_rad=comparison.turning_rad[second] - comparison.turning_rad[first],
        duration_s=comparison.time_s[second] - comparison.time_s[first],
        error=between(true_step, believed_step),
        reference_variance=_reference_variance(comparison, first, second),
    )


def _reference_variance(comparison: Comparison, first: IntArray, second: IntArray) -> FloatArray:
    """Both ends' positions, and the first one's heading, which swings the step; both headings."""
    variance = np.diagonal(comparison.reference_covariance, axis1=1, axis2=2)
    step = comparison.reference[second, :2] - comparison.reference[first, :2]
    swing = np.sum(step**2, axis=1) * variance[first, 2]
    position = variance[first, :2].sum(axis=1) + variance[second, :2].sum(axis=1) + swing
    return np.column_stack([position, variance[first, 2] + variance[second, 2]])


def equal_parts(comparison: Comparison, parts: int) -> Comparison:
    """Return the comparison thinned to the ends of about that many parts of equal path length, stretch by stretch."""
    stretches = [np.flatnonzero(comparison.stretch == number) for number in np.unique(comparison.stretch)]
    lengths = [comparison.path_length_m[rows[-1]] - comparison.path_length_m[rows[0]] for rows in stretches]
    kept: list[IntArray] = []
    for rows, length in zip(stretches, lengths, strict=True):
        path = comparison.path_length_m[rows]
        share = max(1, round(parts * length / max(sum(lengths), 1e-12)))
        wanted = np.linspace(path[0], path[-1], share + 1)
        kept.append(rows[np.unique(np.clip(np.searchsorted(path, wanted), 0, len(rows) - 1))])
    return comparison.chosen(np.concatenate(kept))


def outlying_segments(segments: DriftSegments) -> IntArray:
    """Return the rows whose position error per metre is more than four times the run's median.

    For circular Gaussian errors that happens once in 2^16 segments, so something else was at work there.
    """
    if not len(segments):
        return np.zeros(0, dtype=np.int64)
    per_metre = np.linalg.norm(segments.error[:, :2], axis=1) / segments.length_m
    return np.flatnonzero(per_metre > _OUTLYING * np.median(per_metre))


def confounded_terms(segments: DriftSegments) -> list[list[Term]]:
    """Return groups of "metres", "turns" and "minutes" that never varied apart over the segments.

    Error per metre, turn and minute of one group cannot be told apart: where a robot drives all segments at one speed,
    drift per metre and per minute are the same thing seen twice. A term that is nowhere more than zero is left out.

    Notes
    -----
    Segments say how much of a variance each term explains, so columns are compared as they are, without their means.
    Two or three are confounded if telling them apart makes the variance of a rate more than ten times as large
    (variance inflation: Marquardt, Technometrics 12 (1970) 591-612; Belsley, Kuh & Welsch, "Regression Diagnostics"
    (1980), chapter 3).
    """
    columns: dict[Term, FloatArray] = {
        "metres": segments.length_m,
        "turns": segments.turning_rad,
        "minutes": segments.duration_s,
    }
    present = {name: column / np.linalg.norm(column) for name, column in columns.items() if np.any(column > 0.0)}
    pairs = [[a, b] for a, b in combinations(present, 2) if _inflated([present[a], present[b]])]
    all_alike = len(pairs) == len(columns) or (not pairs and len(present) > 2 and _inflated(list(present.values())))
    return [list(present)] if all_alike else pairs


def _inflated(columns: Sequence[FloatArray]) -> bool:
    """Return whether the variance of any coefficient of these unit columns is inflated beyond what can be told."""
    products = np.array([[float(a @ b) for b in columns] for a in columns])
    if np.linalg.matrix_rank(products) < len(columns):
        return True
    return bool(np.max(np.diagonal(np.linalg.inv(products))) > _LARGEST_INFLATION)


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
    position, heading = segments.error[:, :2], segments.error[:, 2:]
    of_position, of_heading = segments.reference_variance[:, 0], segments.reference_variance[:, 1]
    turns, minutes = segments.turning_rad / (2.0 * math.pi), segments.duration_s / 60.0
    turned = segments.turning_rad >= _LEAST_TURN_RAD
    return DriftNumbers(
        segment_length_m=_median(segments.length_m),
        position_per_metre=_rate(position, segments.length_m, of_position),
        heading_per_metre_rad=_rate(heading, segments.length_m, of_heading),
        heading_per_turn_rad=(
            _rate(heading[turned], turns[turned], of_heading[turned])
            if np.any(turned)
            else unavailable("no segment turns by a quarter turn or more")
        ),
        position_per_minute_m=_rate(position, minutes, of_position),
    )


def _rate(error: FloatArray, per: FloatArray, reference_variance: FloatArray) -> UncertainNumber:
    """Return the root mean square of error (K, D) divided by `per` (K,), the references' share off its lower end."""
    if not len(error):
        return unavailable("no segment")
    ratio = error / per[:, np.newaxis]
    return root_mean_square(ratio, effective_sample_size(ratio), float(np.mean(reference_variance / per**2)))


def _median(lengths: FloatArray) -> UncertainNumber:
    method = "median length of the segments"
    if not len(lengths):
        return unavailable("no two consecutive references with a heading", method=method)
    bounds = (float(np.min(lengths)), float(np.max(lengths)))
    why = f"no interval: the segments are {bounds[0]:.3g} to {bounds[1]:.3g} m long"
    return measured(float(np.median(lengths)), None, len(lengths), method, why)
