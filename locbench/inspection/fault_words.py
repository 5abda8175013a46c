"""What each fault of the set-up is, what it does to the results, and what to do, in words."""

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass

from locbench.config import SessionConfig
from locbench.config.session import PodCountsSource
from locbench.config.tag_sources import RobotPoseSource, TagPoseSource
from locbench.inspection.change import DIMENSIONS, Amount, Change, Part
from locbench.inspection.diagnosis import SetupFault
from locbench.units import Dimension, format_quantity

__all__ = ["FaultWords", "shown", "tags_in_words", "words_of"]

_SUBJECTS = {
    Part.TAGS: "the tag table",
    Part.TRUTH: "the truth",
    Part.MARKS: "the table of marks",
    Part.ODOMETRY: "the odometry",
}
# below these a robot does not differ from nothing
_SMALLEST_SHOWN = {Dimension.LENGTH: 1e-4, Dimension.ANGLE: math.radians(0.01), Dimension.TIME: 1e-4}


@dataclass(frozen=True)
class FaultWords:
    """What was found, what it does to the results, and what to do."""

    finding: str
    meaning: str
    remedy: str


def words_of(change: Change, config: SessionConfig) -> FaultWords:
    """Return the words for what a change would mend."""
    return _WORDS[change.fault](change, config)


def _pods(change: Change, config: SessionConfig) -> str:
    noun = "pod" if isinstance(config.odometry, PodCountsSource) else "column"
    if len(change.names) > 2:
        return f"all {noun}s"
    return f"{noun}{'s' if len(change.names) > 1 else ''} {' and '.join(change.names)}"


def tags_in_words(change: Change) -> str:
    """Return the tags that a change touches, such as "tags 2 and 3"."""
    return f"tag {change.tags[0]}" if len(change.tags) == 1 else f"tags {' and '.join(map(str, change.tags))}"


def _subject(change: Change, config: SessionConfig) -> str:
    if change.part is Part.GYRO:
        # a turn column may be anything's
        return "the gyro" if getattr(config.odometry, "heading", None) is not None else "the odometry's turns"
    return _SUBJECTS[change.part]


def _quantity(change: Change, amount: Amount) -> str:
    """Return an amount with its standard uncertainty."""
    dimension = DIMENSIONS[amount]
    std = change.stds.get(amount, 0.0)
    smallest = _SMALLEST_SHOWN.get(dimension, 0.0)
    sure = f" (standard uncertainty {format_quantity(max(std, smallest), dimension)})" if std > 0.0 else ""
    return f"{shown(change.amounts[amount], dimension)}{sure}"


def _factor(change: Change) -> str:
    std = change.stds.get(Amount.FACTOR, 0.0)
    sure = f" (standard uncertainty {std:.2g})" if std > 0.0 else ""
    return f"{change.amounts[Amount.FACTOR]:.4g}{sure}"


def shown(value: float, dimension: Dimension) -> str:
    """Return a quantity as a person reads it; what no robot can tell from nothing is 0."""
    return format_quantity(0.0 if abs(value) < _SMALLEST_SHOWN.get(dimension, 0.0) else value, dimension)


def _or_mount(config: SessionConfig) -> str:
    if isinstance(config.tags, RobotPoseSource | TagPoseSource):
        return ", or, if it is no quarter turn, correct the camera's yaw where its program or the robot file has it"
    return ""


def _pods_exchanged(change: Change, config: SessionConfig) -> FaultWords:
    return FaultWords(
        f"Exchanging the columns of {_pods(change, config)} makes the log consistent.",
        "Each pod's travel is taken for the other's, so turns and drives are mixed up.",
        "Exchange the two columns in session.toml; roll one wheel by hand and watch which count moves.",
    )


def _pod_reversed(change: Change, config: SessionConfig) -> FaultWords:
    remedy = "Change reversed in the robot file; roll the wheel forward by hand: its travel must grow."
    if not isinstance(config.odometry, PodCountsSource):
        remedy = "Let the robot's program log this column with the other sign: forward and left are positive."
    return FaultWords(
        f"{_pods(change, config)[:1].upper()}{_pods(change, config)[1:]} counts against its rolling direction.",
        "Every metre that this pod rolls is taken for a metre the other way.",
        remedy,
    )


def _pod_scale(change: Change, config: SessionConfig) -> FaultWords:
    remedy = (
        "Check counts per revolution (are all edges counted?) and measure the wheel: roll it ten turns along a tape."
    )
    if not isinstance(config.odometry, PodCountsSource):
        remedy = (
            "Correct the constants of the program that writes this column: push the robot 2 m along a tape, its motors "
            "off, and compare."
        )
    return FaultWords(
        f"The travel of {_pods(change, config)} has to be multiplied by {_factor(change)}.",
        "Distances, or turns, come out wrong by that share: dead reckoning drifts with every metre.",
        remedy,
    )


def _heading_sense(change: Change, config: SessionConfig) -> FaultWords:
    return FaultWords(
        f"Angles of {_subject(change, config)} grow the other way round than the files say.",
        "Every left turn is taken for a right turn.",
        "Set heading_sense in the table's frame; turn the robot to the left by hand and watch the number.",
    )


def _heading_zero(change: Change, config: SessionConfig) -> FaultWords:
    return FaultWords(
        f"Headings of {_subject(change, config)} need {_quantity(change, Amount.TURN)} added.",
        "Forward is taken for another direction, so fixes and odometry pull the pose apart.",
        f"Set heading_zero in the table's frame{_or_mount(config)}.",
    )


def _angle_unit(change: Change, config: SessionConfig) -> FaultWords:
    too_large = change.amounts[Amount.FACTOR] < 1.0
    taken = "degrees are taken for radians" if too_large else "radians are taken for degrees"
    return FaultWords(
        f"Angles of {_subject(change, config)} are read 57 times too {'large' if too_large else 'small'}: {taken}.",
        "Every turn by them comes out wrong by that factor.",
        "Correct the column's unit in session.toml; if it is what the program means to write, the program converts "
        "twice, or not at all.",
    )


def _length_unit(change: Change, config: SessionConfig) -> FaultWords:
    return FaultWords(
        f"Lengths of {_subject(change, config)} have to be multiplied by {_factor(change)}: another unit.",
        "Positions are read too large or too small by that factor.",
        "Correct the unit of these columns in session.toml; if it is what the program means to write, the program "
        "converts twice, or not at all.",
    )


def _frame_rotated(change: Change, config: SessionConfig) -> FaultWords:
    place = f"{_quantity(change, Amount.X)} and {_quantity(change, Amount.Y)}"
    return FaultWords(
        f"The frame of {_subject(change, config)} is turned by {_quantity(change, Amount.TURN)}, its origin moved by "
        f"{place} along x and y.",
        "Its poses are those of another coordinate system than the field file's.",
        "Say so in the table's frame, or let the robot's program use the field file's axes.",
    )


def _frame_mirrored(change: Change, config: SessionConfig) -> FaultWords:
    return FaultWords(
        f"The frame of {_subject(change, config)} is mirrored: an alignment with reflection fits, one without does "
        "not.",
        "Left and right are exchanged, which no rotation can mend.",
        "Set y_axis and heading_sense in the table's frame; look whether x and y are exchanged, or one is negated.",
    )


def _frame_shifted(change: Change, config: SessionConfig) -> FaultWords:
    return FaultWords(
        f"The origin of {_subject(change, config)} lies elsewhere: its positions need {_quantity(change, Amount.X)} "
        f"and {_quantity(change, Amount.Y)} added along x and y.",
        "Its poses are those of another coordinate system than the field file's.",
        "Set origin_x and origin_y in the table's frame, or survey the floor's corner again.",
    )


def _tags_exchanged(change: Change, _: SessionConfig) -> FaultWords:
    if change.part is Part.FLOOR:
        return FaultWords(
            f"{tags_in_words(change).capitalize()} each hang where the field file has the other.",
            "Fixes from either put the robot in the wrong place, by metres.",
            "Exchange their ids in the field file (and in the camera's program, if it has a map of its own), or rehang "
            "them.",
        )
    return FaultWords(
        f"The program that computes the robot's pose has the places of {tags_in_words(change)} exchanged.",
        "Fixes from either put the robot in the wrong place, by metres.",
        "Exchange their ids in the map that the camera's program uses; the field file is right.",
    )


def _tag_misplaced(change: Change, config: SessionConfig) -> FaultWords:
    program = " and in the map of the camera's program" if isinstance(config.tags, RobotPoseSource) else ""
    ways = [(Amount.X, "along x"), (Amount.Y, "along y"), (Amount.TURN, "of facing")]
    # ranges and bearings do not tell how a tag is turned
    told = [f"{_quantity(change, amount)} {way}" for amount, way in ways if amount in change.amounts]
    return FaultWords(
        f"{tags_in_words(change).capitalize()} seems to hang {', '.join(told[:-1])} and {told[-1]} from its place.",
        "Every fix from it pulls the pose aside by about as much.",
        f"Measure where it hangs; correct it in the field file{program}, or rehang it.",
    )


def _range_scale(change: Change, config: SessionConfig) -> FaultWords:
    factor = change.amounts[Amount.FACTOR]
    std = change.stds.get(Amount.FACTOR, 0.0)
    long = 100.0 * (1.0 / factor - 1.0)
    remedy = "Set range_scale in session.toml."
    if isinstance(config.tags, TagPoseSource):
        remedy = "Correct the tag's size or the focal length in the camera's program; both scale every range."
    return FaultWords(
        f"Ranges read {abs(long):.1f} % too {'long' if long > 0.0 else 'short'}: {1.0 / factor:.4f} times the distance "
        f"(standard uncertainty {std / factor**2:.2g}).",
        "Positions from them are off by that share of the distance to the tag.",
        remedy,
    )


def _bearing_bias(change: Change, _: SessionConfig) -> FaultWords:
    return FaultWords(
        f"Bearings need {_quantity(change, Amount.TURN)} added.",
        "The camera looks elsewhere than the robot file says; fixes lie aside by that angle times the distance.",
        "Correct the camera's yaw in the robot file, after a look at its mount: is it loose?",
    )


def _clock_shift(change: Change, config: SessionConfig) -> FaultWords:
    late = "early" if change.amounts[Amount.SHIFT] > 0.0 else "late"
    captured = " If only capture times are off, log when the picture was taken, not when it arrived."
    return FaultWords(
        f"The times of {_subject(change, config)} are {late}: they need {_quantity(change, Amount.SHIFT)} added.",
        "Everything in this table is compared with where the robot was at another time.",
        f"Set the table's offset.{captured if change.part is Part.TAGS else ''}",
    )


def _gyro_lag(change: Change, _: SessionConfig) -> FaultWords:
    late = "late" if change.amounts[Amount.SHIFT] < 0.0 else "early"
    amount = format_quantity(abs(change.amounts[Amount.SHIFT]), Dimension.TIME)
    return FaultWords(
        f"The gyro's heading is {amount} {late} against the pods "
        f"(standard uncertainty {format_quantity(change.stds.get(Amount.SHIFT, 0.0), Dimension.TIME)}).",
        "While the robot turns, its travel is laid in a direction that it has already left.",
        "Read gyro and pods in one cycle, or set heading_lag in [odometry].",
    )


def _start_pose(change: Change, _: SessionConfig) -> FaultWords:
    return FaultWords(
        f"The robot started {shown(change.amounts[Amount.X], Dimension.LENGTH)} along x, "
        f"{shown(change.amounts[Amount.Y], Dimension.LENGTH)} along y and "
        f"{shown(change.amounts[Amount.TURN], Dimension.ANGLE)} of heading from where [start] says.",
        "Dead reckoning carries this error along to the end.",
        "Correct [start], and place the robot against the taped corner before every run.",
    )


def _gyro_drift(change: Change, _: SessionConfig) -> FaultWords:
    return FaultWords(
        f"The gyro drifts by {_quantity(change, Amount.RATE)} while the robot stands, after its bias was taken off.",
        "The heading turns away all through the run; a filter that believes the robot file trusts it too much.",
        "Let the gyro warm up and keep the robot still for 3 s before the start; if it stays, raise heading_per_minute "
        "of [gyro] and [motion_noise] in the robot file, or replace the gyro.",
    )


_WORDS: Mapping[SetupFault, Callable[[Change, SessionConfig], FaultWords]] = {
    SetupFault.PODS_EXCHANGED: _pods_exchanged,
    SetupFault.POD_REVERSED: _pod_reversed,
    SetupFault.POD_SCALE: _pod_scale,
    SetupFault.HEADING_SENSE: _heading_sense,
    SetupFault.HEADING_ZERO: _heading_zero,
    SetupFault.ANGLE_UNIT: _angle_unit,
    SetupFault.LENGTH_UNIT: _length_unit,
    SetupFault.FRAME_ROTATED: _frame_rotated,
    SetupFault.FRAME_MIRRORED: _frame_mirrored,
    SetupFault.FRAME_SHIFTED: _frame_shifted,
    SetupFault.TAGS_EXCHANGED: _tags_exchanged,
    SetupFault.TAG_MISPLACED: _tag_misplaced,
    SetupFault.RANGE_SCALE: _range_scale,
    SetupFault.BEARING_BIAS: _bearing_bias,
    SetupFault.CLOCK_SHIFT: _clock_shift,
    SetupFault.GYRO_LAG: _gyro_lag,
    SetupFault.START_POSE: _start_pose,
    SetupFault.GYRO_DRIFT: _gyro_drift,
}
