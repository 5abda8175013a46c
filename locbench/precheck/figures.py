"""The figures of a pre-event check: how far each may change, what a change means, what to do."""

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from types import MappingProxyType

from locbench.config.baseline import BaselineUnit, FigureKind
from locbench.drive_kinds import DriveKind

__all__ = ["KINDS", "Figure", "KindFacts"]


@dataclass(frozen=True)
class Figure:
    """A figure of one session: SI (rates per second and per minute, ratios as such), standard uncertainty of it."""

    name: str
    kind: FigureKind
    value: float
    std: float


@dataclass(frozen=True)
class KindFacts:
    """What is known of a kind of figure.

    Attributes
    ----------
    unit, factor
        In which unit it is written, and what one of it is in SI.
    may_change
        By how much it may fall and rise from a value (SI); infinite where that would be no fault.
    cause
        The likely cause of a change beyond that.
    action
        What to do next.
    drive
        The kind of run sheet that makes the figure surer.
    as_ratio
        Whether the limit is a share of the baseline, and so as unsure as that share of it.
    """

    unit: BaselineUnit
    factor: float
    may_change: Callable[[float], tuple[float, float]]
    cause: str
    action: str
    drive: DriveKind
    as_ratio: bool = False


_DEGREE = math.radians(1.0)


def _within(most: float) -> Callable[[float], tuple[float, float]]:
    return lambda _: (-most, most)


def _share(most: float) -> Callable[[float], tuple[float, float]]:
    return lambda value: (-most * abs(value), most * abs(value))


def _rise(share: float, least: float) -> Callable[[float], tuple[float, float]]:
    return lambda value: (-math.inf, max(share * abs(value), least))


# how far a figure may change before shots suffer: common practice, no source; every baseline file may say otherwise
KINDS: Mapping[FigureKind, KindFacts] = MappingProxyType(
    {
        FigureKind.WHEEL_DIAMETER: KindFacts(
            "mm",
            1e-3,
            _share(0.003),
            "the wheel is worn, dirty, or another one; or the pod presses differently on this floor",
            "Clean and measure the wheel, check the pod's spring; then write today's diameter into the robot",
            DriveKind.STRAIGHT,
        ),
        FigureKind.TRAVEL_SCALE: KindFacts(
            "1",
            1.0,
            _within(0.003),
            "wheels are worn or dirty",
            "Write today's scale into the robot",
            DriveKind.STRAIGHT,
        ),
        FigureKind.LEVER_ARM: KindFacts(
            "mm",
            1e-3,
            _within(0.004),
            "a pod was moved or its bracket is bent",
            "Check the pod's screws and bracket; then write today's place into the robot",
            DriveKind.SPIN,
        ),
        FigureKind.ROLLING_DIRECTION: KindFacts(
            "deg",
            _DEGREE,
            _within(1.5 * _DEGREE),
            "a pod is twisted in its bracket",
            "Set the pod straight and tighten it; then write today's direction into the robot",
            DriveKind.STRAIGHT,
        ),
        FigureKind.GYRO_SCALE: KindFacts(
            "1",
            1.0,
            _within(0.003),
            "the gyro is another one, or mounted at a tilt",
            "Check that the gyro lies flat and is screwed down; then write today's scale into the robot",
            DriveKind.SPIN,
        ),
        FigureKind.GYRO_LAG: KindFacts(
            "ms",
            1e-3,
            _within(0.010),
            "the gyro is read over another bus or at another rate",
            "Compare the program with the one of the good day",
            DriveKind.SPIN,
        ),
        FigureKind.LATENCY: KindFacts(
            "ms",
            1e-3,
            _within(0.015),
            "the camera's frame rate, exposure or network changed",
            "Compare the camera's settings with those of the good day; then tell the robot the new latency",
            DriveKind.CAMERA,
        ),
        FigureKind.MOUNT_PLACE: KindFacts(
            "mm",
            1e-3,
            _within(0.015),
            "the camera was moved",
            "Check the camera's mount; then write today's place into the robot",
            DriveKind.CAMERA,
        ),
        FigureKind.MOUNT_YAW: KindFacts(
            "deg",
            _DEGREE,
            _within(_DEGREE),
            "the camera was knocked aside",
            "Set the camera straight and tighten it; then write today's yaw into the robot",
            DriveKind.CAMERA,
        ),
        FigureKind.GYRO_DRIFT: KindFacts(
            "deg/s",
            _DEGREE,
            _within(0.1 * _DEGREE),
            "the gyro is warm or cold, or the robot was touched at rest",
            "Let the robot warm up, hands off, and take the bias again",
            DriveKind.SPIN,
        ),
        FigureKind.DRIFT: KindFacts(
            "%",
            1e-2,
            _rise(1.0, 0.01),
            "pods slip on this floor, or a constant is off",
            "Look at the constants above; if they pass, clean the wheels and look for slip",
            DriveKind.TOUR,
        ),
        FigureKind.TAG_LENGTH: KindFacts(
            "mm",
            1e-3,
            _rise(0.5, 0.010),
            "light, focus or resolution changed",
            "Clean the lens, check focus and exposure under this light",
            DriveKind.CAMERA,
        ),
        FigureKind.TAG_ANGLE: KindFacts(
            "deg",
            _DEGREE,
            _rise(0.5, 0.5 * _DEGREE),
            "light, focus or resolution changed",
            "Clean the lens, check focus and exposure under this light",
            DriveKind.CAMERA,
        ),
        FigureKind.WRONG_DETECTIONS: KindFacts(
            "%",
            1e-2,
            lambda _: (-math.inf, 0.05),
            "reflections, or other things that look like tags",
            "Look at the pictures that went wrong; refuse more in the fusion file",
            DriveKind.CAMERA,
        ),
        FigureKind.TAGS_PER_MINUTE: KindFacts(
            "per minute",
            1.0,
            lambda value: (-0.5 * value, math.inf),
            "the camera sees less: light, covered lens, tags that hang elsewhere",
            "Clean the lens, check exposure, look at every tag",
            DriveKind.CAMERA,
            # from route to route it varies by as much as a limit allows: subtracting two of them tells little
            as_ratio=True,
        ),
        FigureKind.SLIPS_PER_MINUTE: KindFacts(
            "per minute",
            1.0,
            lambda _: (-math.inf, 6.0),
            "a pod's spring is weak, its wheel dirty or its counter fails, or this floor is slippery",
            "Look which pod with locbench slip, and clean and check that one",
            DriveKind.TOUR,
        ),
        FigureKind.HIT_PROBABILITY: KindFacts(
            "%",
            1e-2,
            # a check has few shots from each band
            lambda _: (-0.50, math.inf),
            "what is off above costs shots here",
            "Mend what failed above; until then shoot from nearer",
            DriveKind.TOUR,
        ),
    }
)
"""What is known of every kind of figure."""
