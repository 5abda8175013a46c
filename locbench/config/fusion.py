"""The fusion file: how far vision is trusted."""

from enum import StrEnum
from typing import Annotated, Self

import numpy as np
from pydantic import Field, model_validator

from locbench.config.quantities import (
    Config,
    NonNegativeAngle,
    NonNegativeDuration,
    NonNegativeLength,
    PositiveAngle,
    PositiveDuration,
    PositiveLength,
    PositiveSpeed,
    PositiveTurnRate,
    Probability,
    Share,
    Text,
)
from locbench.config.robot import DoubtedFactor, MotionNoise

__all__ = [
    "CorrectionMode",
    "Engine",
    "FusionConfig",
    "Latency",
    "LatencyMode",
    "MotionNoiseOverride",
    "NoiseSource",
    "TagNoise",
    "Trust",
]


class Engine(StrEnum):
    """Which filter runs: the compiled extended Kalman filter, or the extended or unscented one of filterpy."""

    KERNEL = "kernel"
    TEXTBOOK = "textbook"
    UNSCENTED = "unscented"


class CorrectionMode(StrEnum):
    """What an accepted detection does to the believed pose."""

    NONE = "none"
    REPLACE = "replace"
    FIXED_GAIN = "fixed_gain"
    KALMAN = "kalman"


class LatencyMode(StrEnum):
    """Whether a late detection is applied at its capture time or as if captured on arrival."""

    REWIND = "rewind"
    IGNORE = "ignore"


class NoiseSource(StrEnum):
    """Whether a detection's noise comes from the fusion file's model or from the log's own columns."""

    MODEL = "model"
    LOG = "log"


class FixedGain(Config):
    """The share of the difference that an accepted detection corrects."""

    position: Share = 0.3
    heading: Share = 0.3


class Correction(Config):
    """How accepted detections are applied."""

    mode: CorrectionMode = CorrectionMode.KALMAN
    use_heading: bool = True
    fixed_gain: FixedGain = FixedGain()


class Latency(Config):
    """How late detections are treated; older ones than `history` on arrival are refused."""

    mode: LatencyMode = LatencyMode.REWIND
    history: NonNegativeDuration = 1.0


class TagNoise(Config):
    """Standard deviations of a detection, from its own reported range r and view angle v.

    Poses along the line of sight: floor and (at one metre) x r^2, in quadrature: the size of a tag's image falls with
    r. Across it and in heading: floor and (at one metre) x r. Ranges: floor, per metre x r and (at one metre) x r^2,
    the last for ranges taken from an image. Bearings: floor and bearing_offset / r, the angle under which a tag or
    camera displaced sideways by that much is seen. All times 1 + view_angle_growth sin^2 v.

    With source = "log" the log's own standard deviations are used, times `scale`; what a row lacks comes from here.
    """

    source: Annotated[NoiseSource, Field(description="Where standard deviations come from")] = NoiseSource.MODEL
    scale: Annotated[float, Field(gt=0.0, strict=True, description="Times the log's own standard deviations")] = 1.0
    along_floor: PositiveLength = 0.020
    along_at_one_metre: NonNegativeLength = 0.010
    across_floor: PositiveLength = 0.020
    across_at_one_metre: NonNegativeLength = 0.010
    heading_floor: NonNegativeAngle = float(np.radians(1.0))
    heading_at_one_metre: NonNegativeAngle = float(np.radians(0.5))
    view_angle_growth: Annotated[float, Field(ge=0.0, strict=True)] = 1.0
    range_floor: PositiveLength = 0.050
    range_per_metre: NonNegativeLength = 0.0
    range_at_one_metre: NonNegativeLength = 0.0
    bearing_floor: PositiveAngle = float(np.radians(0.5))
    bearing_offset: NonNegativeLength = 0.010
    correlation_between_tags: Annotated[
        Share, Field(description="Of the errors of several tags in one fix; 100 %: more tags make no fix surer")
    ] = 1.0

    @model_validator(mode="after")
    def _scale_has_a_use(self) -> Self:
        if self.source is NoiseSource.MODEL and self.scale != 1.0:
            raise ValueError('scale multiplies the log\'s own standard deviations|Add source = "log", or remove scale')
        return self


class Trust(Config):
    """When a detection is believed. A rule that is left out is not applied.

    A planar tag's pose has two solutions; where the errors of both are nearly alike, their ratio near 1, the wrong one
    may have been taken (Schweighofer & Pinz, IEEE PAMI 28(12) 2006; Collins & Bartoli, Int. J. Computer Vision 109,
    2014). Turn rate and speed are the odometry's, at the time at which the detection acts. After `reacquire_after`
    fixes in a row that the gate refuses but that agree with each other, the belief is given up for the last of them.
    """

    excluded_tags: tuple[int, ...] = ()
    maximum_range: PositiveLength | None = None
    maximum_view_angle: NonNegativeAngle | None = None
    maximum_reprojection_ratio: Annotated[
        float | None, Field(strict=True, ge=0.0, le=1.0, description="Best over second-best solution's error")
    ] = None
    minimum_tag_count: Annotated[int | None, Field(strict=True, ge=1, description="Tags a fix was computed from")] = (
        None
    )
    maximum_turn_rate: PositiveTurnRate | None = None
    maximum_speed: PositiveSpeed | None = None
    gate_probability: Probability | None = None
    only_on_request: Annotated[bool, Field(strict=True, description="Each press lets one detection through")] = False
    request_window: Annotated[PositiveDuration, Field(description="How long a press waits for a detection")] = 1.0
    reacquire_after: Annotated[
        int | None, Field(strict=True, ge=2, description="Agreeing fixes in a row, refused by the gate, that reset")
    ] = None

    @model_validator(mode="after")
    def _keys_have_a_use(self) -> Self:
        if "request_window" in self.model_fields_set and not self.only_on_request:
            raise ValueError("request_window says how long a press waits|Add only_on_request = true, or remove it")
        if self.reacquire_after is not None and self.gate_probability is None:
            raise ValueError("reacquire_after counts what the gate refuses|Add gate_probability, or remove it")
        return self


class MotionNoiseOverride(Config):
    """Single keys of the robot's [motion_noise] that this filter believes instead."""

    along_per_metre: NonNegativeLength | None = None
    across_per_metre: NonNegativeLength | None = None
    heading_per_metre: NonNegativeAngle | None = None
    heading_per_turn: NonNegativeAngle | None = None
    heading_per_minute: NonNegativeAngle | None = None
    doubted_factor: DoubtedFactor | None = None

    def applied_to(self, noise: MotionNoise) -> MotionNoise:
        """Return `noise` with the keys given here replaced."""
        given = {name: value for name in self.model_fields_set if (value := getattr(self, name)) is not None}
        return noise.model_copy(update=given) if given else noise


RESERVED_NAMES = ("dead_reckoning", "tags_only", "onboard")


class FusionConfig(Config):
    """One way to fuse odometry and tags, under the name it has in every table."""

    name: Text
    engine: Engine = Engine.KERNEL
    correction: Correction = Correction()
    latency: Latency = Latency()
    tag_noise: TagNoise = TagNoise()
    trust: Trust = Trust()
    motion_noise: MotionNoiseOverride = MotionNoiseOverride()

    @model_validator(mode="after")
    def _means_something(self) -> Self:
        if self.name in RESERVED_NAMES:
            raise ValueError(f'the name "{self.name}" is reserved for an estimator that is always there|Rename it')
        if self.correction.use_heading and self.tag_noise.heading_floor <= 0.0:
            raise ValueError(
                "tag_noise.heading_floor must be more than 0 deg when headings are used"
                "|Raise it, or set correction.use_heading = false"
            )
        if self.engine is Engine.UNSCENTED and self.correction.mode is CorrectionMode.FIXED_GAIN:
            raise ValueError('fixed_gain has no unscented form|Set engine = "kernel"')
        if self.trust.reacquire_after is not None and self.correction.mode is CorrectionMode.NONE:
            raise ValueError('with mode = "none" nothing can be reacquired|Remove trust.reacquire_after')
        return self
