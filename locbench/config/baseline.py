"""The baseline file of a pre-event check: figures of a good day, how sure they are, and how far they may change."""

from collections import Counter
from collections.abc import Mapping
from enum import StrEnum
from types import MappingProxyType
from typing import Annotated, Literal, Self

from pydantic import Field, model_validator

from locbench.config.quantities import Config, Text

__all__ = ["BaselineConfig", "BaselineFigure", "BaselineUnit", "FigureKind", "FigureRole"]

BaselineUnit = Literal["m", "mm", "in", "deg", "rad", "ms", "s", "deg/s", "%", "per minute", "1"]
"""Units of a figure; `1` is a plain ratio."""


class FigureKind(StrEnum):
    """What a figure is of."""

    WHEEL_DIAMETER = "wheel diameter"
    TRAVEL_SCALE = "travel scale"
    LEVER_ARM = "lever arm"
    ROLLING_DIRECTION = "rolling direction"
    GYRO_SCALE = "gyro scale"
    GYRO_LAG = "gyro lag"
    LATENCY = "latency"
    MOUNT_PLACE = "camera place"
    MOUNT_YAW = "camera yaw"
    GYRO_DRIFT = "gyro drift at rest"
    DRIFT = "drift"
    TAG_LENGTH = "noise of fixes"
    TAG_ANGLE = "noise of headings"
    WRONG_DETECTIONS = "wrong detections"
    TAGS_PER_MINUTE = "tags per minute"
    SLIPS_PER_MINUTE = "slips per minute"
    HIT_PROBABILITY = "hit probability"


class FigureRole(StrEnum):
    """What a figure may say of the whole check."""

    DECIDING = "deciding"
    WATCHED = "watched"


_LENGTH: tuple[BaselineUnit, ...] = ("m", "mm", "in")
_ANGLE: tuple[BaselineUnit, ...] = ("deg", "rad")
_TIME: tuple[BaselineUnit, ...] = ("ms", "s")
_RATIO: tuple[BaselineUnit, ...] = ("1", "%")
_UNITS: Mapping[FigureKind, tuple[BaselineUnit, ...]] = MappingProxyType(
    {
        FigureKind.WHEEL_DIAMETER: _LENGTH,
        FigureKind.TRAVEL_SCALE: _RATIO,
        FigureKind.LEVER_ARM: _LENGTH,
        FigureKind.ROLLING_DIRECTION: _ANGLE,
        FigureKind.GYRO_SCALE: _RATIO,
        FigureKind.GYRO_LAG: _TIME,
        FigureKind.LATENCY: _TIME,
        FigureKind.MOUNT_PLACE: _LENGTH,
        FigureKind.MOUNT_YAW: _ANGLE,
        FigureKind.GYRO_DRIFT: ("deg/s",),
        FigureKind.DRIFT: _RATIO,
        FigureKind.TAG_LENGTH: _LENGTH,
        FigureKind.TAG_ANGLE: _ANGLE,
        FigureKind.WRONG_DETECTIONS: _RATIO,
        FigureKind.TAGS_PER_MINUTE: ("per minute",),
        FigureKind.SLIPS_PER_MINUTE: ("per minute",),
        FigureKind.HIT_PROBABILITY: _RATIO,
    }
)


class BaselineFigure(Config):
    """One figure, in one unit all through."""

    name: Annotated[Text, Field(examples=["pods.left.wheel_diameter"])]
    """What it is called in `precheck.json`."""
    kind: FigureKind
    """What it is of: which units fit, what a change means, and which run sheet makes it surer."""
    unit: Annotated[BaselineUnit, Field(examples=["mm"])]
    """Unit of the numbers below."""
    value: Annotated[float, Field(strict=False, allow_inf_nan=False, examples=[49.803])]
    """What it was on the good day."""
    std: Annotated[float, Field(strict=False, ge=0.0, allow_inf_nan=False, examples=[0.031])]
    """Its standard uncertainty."""
    least_change: Annotated[float | None, Field(strict=False, le=0.0, allow_inf_nan=False, examples=[-0.15])] = None
    """How far it may fall, as a negative number; left out, as far as it likes."""
    most_change: Annotated[float | None, Field(strict=False, ge=0.0, allow_inf_nan=False, examples=[0.15])] = None
    """How far it may rise; left out, as far as it likes."""
    role: FigureRole = FigureRole.DECIDING
    """A watched one fails the check too, but leaves it undecided only where it plainly changed, by more than
    allowed: drives like these are not sure enough of it."""

    @model_validator(mode="after")
    def _unit_suits_the_kind(self) -> Self:
        fitting = _UNITS[self.kind]
        if self.unit not in fitting:
            raise ValueError(f'a {self.kind} is not measured in "{self.unit}"|Valid units: {", ".join(fitting)}')
        return self


class BaselineConfig(Config):
    """A baseline, written by `locbench precheck --save` and yours to edit: above all the changes allowed."""

    name: Annotated[Text, Field(examples=["Orchard, healthy"])]
    """The session it was taken from."""
    saved: Annotated[Text, Field(examples=["2026-11-26T10:30"])]
    """When it was saved."""
    figures: tuple[BaselineFigure, ...] = ()
    """What the robot was on that day, figure by figure; at least one."""

    @model_validator(mode="after")
    def _names_are_unique(self) -> Self:
        repeated = [name for name, count in Counter(one.name for one in self.figures).items() if count > 1]
        if repeated:
            raise ValueError(f"figure {repeated[0]!r} appears more than once|Remove one of them")
        if not self.figures:
            raise ValueError("a baseline without figures says nothing|Save one: locbench precheck SESSION --save FILE")
        return self
