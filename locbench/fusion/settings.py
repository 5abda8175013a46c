"""Fusion files as numbers: one row per candidate, in the form the compiled replay takes."""

import math
from collections.abc import Sequence
from enum import Enum, auto
from typing import Any, NamedTuple

import numpy as np

from locbench.arrays import BoolArray
from locbench.config import CorrectionMode, FusionConfig, LatencyMode, MotionNoise
from locbench.config.fusion import Latency, NoiseSource
from locbench.fusion.rows import empty_rows
from locbench.fusion.rules import gate_threshold
from locbench.odometry.moments import variances

__all__ = ["FIXED_GAIN", "KALMAN", "NO_CORRECTION", "REPLACE", "Settings", "TagNoiseFrom", "settings_table"]

_MODES = (CorrectionMode.NONE, CorrectionMode.REPLACE, CorrectionMode.FIXED_GAIN, CorrectionMode.KALMAN)
NO_CORRECTION, REPLACE, FIXED_GAIN, KALMAN = range(4)


_LIMITS = (
    "maximum_range",
    "maximum_view_angle",
    "maximum_reprojection_ratio",
    "maximum_turn_rate",
    "maximum_speed",
)
_VARIANCES = (
    "along_floor",
    "along_at_one_metre",
    "across_floor",
    "across_at_one_metre",
    "heading_floor",
    "heading_at_one_metre",
    "range_floor",
    "range_per_metre",
    "range_at_one_metre",
    "bearing_floor",
    "bearing_offset",
)
_SETTING = np.dtype(
    [
        ("mode", np.int64),
        ("use_heading", bool),
        ("position_gain", float),
        ("heading_gain", float),
        ("history", float),
        *((name, float) for name in _LIMITS),
        ("minimum_tag_count", float),
        ("gate", float, (3,)),
        ("only_on_request", bool),
        ("request_window", float),
        ("reacquire_after", np.int64),
        ("own_factor", float),
        ("view_angle_growth", float),
        *((name, float) for name in _VARIANCES),
        ("correlation", float),
        ("motion", float, (2, 5)),
    ],
    align=True,
)


class TagNoiseFrom(Enum):
    """Whether views carry the covariances that count, or each candidate makes its own from them and its model."""

    GIVEN = auto()
    CANDIDATES = auto()


class Settings(NamedTuple):
    """Candidates as numbers.

    Attributes
    ----------
    rows
        (C,) with a field per key of a fusion file. Limits that are not set are infinite, `minimum_tag_count` and
        `reacquire_after` 0. Noise is in variances: `motion` (2, 5) of the undoubted and the doubted way. `gate` has a
        limit per degrees of freedom. `own_factor` multiplies the log's own covariances; 0 takes the model's.
    excluded
        (C, T + 1) whether each tag is, the last of which stands for no tag.
    """

    rows: Any
    excluded: BoolArray


def settings_table(
    candidates: Sequence[FusionConfig], robot_noise: MotionNoise, tags: Sequence[int], tag_noise: TagNoiseFrom
) -> Settings:
    """Return the table of candidates.

    Parameters
    ----------
    candidates
        Fusion files; which engine they name does not matter.
    robot_noise
        The robot's motion noise, of which each may replace single keys.
    tags
        Ids of the plan's tags.
    tag_noise
        Where the covariances of detections come from.
    """
    rows = empty_rows(len(candidates), _SETTING)
    for name, column in _columns(candidates, robot_noise).items():
        rows[name] = column
    if tag_noise is TagNoiseFrom.GIVEN:
        rows["own_factor"] = 1.0
    excluded = np.array([[tag in one.trust.excluded_tags for tag in tags] for one in candidates], dtype=bool)
    nowhere = np.zeros((len(candidates), 1), dtype=bool)
    return Settings(rows, np.hstack([excluded.reshape(len(candidates), len(tags)), nowhere]))


def _columns(candidates: Sequence[FusionConfig], robot_noise: MotionNoise) -> dict[str, list[Any]]:
    """Return an entry per candidate for every field: by columns, because a sweep has thousands of rows."""
    trusts = [candidate.trust for candidate in candidates]
    corrections = [candidate.correction for candidate in candidates]
    noises = [candidate.tag_noise for candidate in candidates]
    return {
        "mode": [_MODES.index(correction.mode) for correction in corrections],
        "use_heading": [correction.use_heading for correction in corrections],
        "position_gain": [correction.fixed_gain.position for correction in corrections],
        "heading_gain": [correction.fixed_gain.heading for correction in corrections],
        "history": [_history(candidate.latency) for candidate in candidates],
        **{name: [_limit(getattr(trust, name)) for trust in trusts] for name in _LIMITS},
        "minimum_tag_count": [trust.minimum_tag_count or 0 for trust in trusts],
        "gate": [[gate_threshold(candidate, size) for size in (1, 2, 3)] for candidate in candidates],
        "only_on_request": [trust.only_on_request for trust in trusts],
        "request_window": [trust.request_window for trust in trusts],
        "reacquire_after": [trust.reacquire_after or 0 for trust in trusts],
        "own_factor": [noise.scale**2 if noise.source is NoiseSource.LOG else 0.0 for noise in noises],
        "view_angle_growth": [noise.view_angle_growth for noise in noises],
        "correlation": [noise.correlation_between_tags for noise in noises],
        "motion": [_motion(candidate.motion_noise.applied_to(robot_noise)) for candidate in candidates],
        **{name: [getattr(noise, name) ** 2 for noise in noises] for name in _VARIANCES},
    }


def _limit(value: float | None) -> float:
    return math.inf if value is None else value


def _history(latency: Latency) -> float:
    return latency.history if latency.mode is LatencyMode.REWIND else math.inf


def _motion(noise: MotionNoise) -> list[list[float]]:
    plain = variances(noise)
    return [plain, [noise.doubted_factor**2 * variance for variance in plain]]
