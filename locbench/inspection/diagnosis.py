"""What an inspection can say: a code, how bad, the evidence in numbers, what it means and what to write where."""

from dataclasses import dataclass
from enum import StrEnum
from typing import TypeAlias

from locbench.config.edits import Edit
from locbench.session import FindingCode, Measured, Severity

__all__ = ["Code", "Diagnosis", "LogFault", "Measured", "SetupFault"]


class LogFault(StrEnum):
    """What is wrong with the log itself, beyond what reading it finds."""

    NO_OVERLAP = "no_overlap"
    NO_MOTION = "no_motion"
    COUNTER_STUCK = "counter_stuck"
    EXCLUDED_TAG = "excluded_tag"
    OFF_THE_FLOOR = "off_the_floor"
    SEEN_FROM_BEHIND = "seen_from_behind"
    BEYOND_THE_FLOOR = "beyond_the_floor"
    STALE_DETECTION = "stale_detection"
    TAG_VIEW = "tag_view"
    OVERLAPPING_VISITS = "overlapping_visits"
    REPEATED_PRESS = "repeated_press"
    MOVING_ON_MARK = "moving_on_mark"
    TRUTH_IN_PART = "truth_in_part"
    TRUTH_IS_ODOMETRY = "truth_is_odometry"
    TRUTH_HEADING_IS_ODOMETRY = "truth_heading_is_odometry"
    TRUTH_IS_ONBOARD = "truth_is_onboard"


class SetupFault(StrEnum):
    """What is wrong with the set-up: what the files say about the robot, its sensors and the floor."""

    PODS_EXCHANGED = "pods_exchanged"
    POD_REVERSED = "pod_reversed"
    POD_SCALE = "pod_scale"
    HEADING_SENSE = "heading_sense"
    HEADING_ZERO = "heading_zero"
    ANGLE_UNIT = "angle_unit"
    LENGTH_UNIT = "length_unit"
    FRAME_ROTATED = "frame_rotated"
    FRAME_MIRRORED = "frame_mirrored"
    FRAME_SHIFTED = "frame_shifted"
    PATH_TOO_STRAIGHT = "path_too_straight"
    TAGS_EXCHANGED = "tags_exchanged"
    TAG_MISPLACED = "tag_misplaced"
    RANGE_SCALE = "range_scale"
    BEARING_BIAS = "bearing_bias"
    CLOCK_SHIFT = "clock_shift"
    GYRO_LAG = "gyro_lag"
    START_POSE = "start_pose"
    GYRO_DRIFT = "gyro_drift"
    UNEXPLAINED = "unexplained"


Code: TypeAlias = FindingCode | LogFault | SetupFault


@dataclass(frozen=True)
class Diagnosis:
    """One thing an inspection found.

    Attributes
    ----------
    code
        Stable; scripts may rely on it.
    severity
        An error makes every number of the session worthless or wrong; a warning may.
    where
        File and column, row or key in words.
    evidence
        One sentence with the numbers that show it.
    measured
        The same numbers for programs.
    meaning
        What it does to the results if it stays.
    remedy
        What to do.
    edits
        The keys to change, if that mends it.
    """

    code: Code
    severity: Severity
    where: str
    evidence: str
    meaning: str
    remedy: str
    measured: tuple[Measured, ...] = ()
    edits: tuple[Edit, ...] = ()
