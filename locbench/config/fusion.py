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

    position: Annotated[Share, Field(examples=["30 %"])] = 0.3
    """Share of the difference in position that a fix corrects."""
    heading: Annotated[Share, Field(examples=["30 %"])] = 0.3
    """Share of the difference in heading that a fix corrects."""


class Correction(Config):
    """How accepted detections are applied."""

    mode: CorrectionMode = CorrectionMode.KALMAN
    """What a believed detection does: nothing, replace the pose, move it by a fixed share, or a Kalman gain.
    `replace` and `fixed_gain` need whole poses."""
    use_heading: bool = True
    """Whether the headings of fixes are used."""
    fixed_gain: FixedGain = FixedGain()
    """Shares for mode `fixed_gain`."""


class Latency(Config):
    """How late detections are treated; older ones than `history` on arrival are refused."""

    mode: LatencyMode = LatencyMode.REWIND
    """Apply a late detection at its capture time, or as if captured on arrival."""
    history: Annotated[NonNegativeDuration, Field(examples=["1 s"])] = 1.0
    """Detections older than this on arrival are refused, before all other rules."""


class TagNoise(Config):
    """Standard deviations of a detection, from its own reported range r and view angle v.

    Poses along the line of sight: floor and (at one metre) x r^2, in quadrature: the size of a tag's image falls with
    r. Across it and in heading: floor and (at one metre) x r. Ranges: floor, per metre x r and (at one metre) x r^2,
    the last for ranges taken from an image. Bearings: floor and bearing_offset / r, the angle under which a tag or
    camera displaced sideways by that much is seen. All times 1 + view_angle_growth sin^2 v.

    With source = "log" the log's own standard deviations are used, times `scale`; what a row lacks comes from here.
    """

    source: NoiseSource = NoiseSource.MODEL
    """Where standard deviations come from: this model, or the log's own `_std` columns; rows without any take the
    model."""
    scale: Annotated[float, Field(gt=0.0, strict=True, examples=[1.5])] = 1.0
    """Times the log's own standard deviations; only with `log`."""
    along_floor: Annotated[PositiveLength, Field(examples=["10 mm"])] = 0.020
    """Poses, along the line of sight: the part that does not depend on range."""
    along_at_one_metre: Annotated[NonNegativeLength, Field(examples=["8 mm"])] = 0.010
    """Poses, along the line of sight: at one metre; grows with the square of range."""
    across_floor: Annotated[PositiveLength, Field(examples=["10 mm"])] = 0.020
    """Poses, across the line of sight: the part that does not depend on range."""
    across_at_one_metre: Annotated[NonNegativeLength, Field(examples=["10 mm"])] = 0.010
    """Poses, across the line of sight: at one metre; grows with range."""
    heading_floor: Annotated[NonNegativeAngle, Field(examples=["0.8 deg"])] = float(np.radians(1.0))
    """Headings: the part that does not depend on range."""
    heading_at_one_metre: Annotated[NonNegativeAngle, Field(examples=["0.5 deg"])] = float(np.radians(0.5))
    """Headings: at one metre; grows with range."""
    view_angle_growth: Annotated[float, Field(ge=0.0, strict=True, examples=[1.0])] = 1.0
    """All standard deviations are multiplied by 1 + this x sin² of the view angle."""
    range_floor: Annotated[PositiveLength, Field(examples=["50 mm"])] = 0.050
    """Ranges: the part that does not depend on range."""
    range_per_metre: Annotated[NonNegativeLength, Field(examples=["10 mm"])] = 0.0
    """Ranges: per metre of range."""
    range_at_one_metre: Annotated[NonNegativeLength, Field(examples=["8 mm"])] = 0.0
    """Ranges taken from an image: at one metre; grows with the square of range."""
    bearing_floor: Annotated[PositiveAngle, Field(examples=["0.5 deg"])] = float(np.radians(0.5))
    """Bearings: the part that does not depend on range."""
    bearing_offset: Annotated[NonNegativeLength, Field(examples=["10 mm"])] = 0.010
    """Bearings: how far a tag or camera may be off sideways; divided by range it is an angle."""
    correlation_between_tags: Annotated[Share, Field(examples=["40 %"])] = 1.0
    """How far the errors of several tags in one fix go together; 100 %: more tags make no fix surer."""

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

    excluded_tags: Annotated[tuple[int, ...], Field(examples=[[3, 7]])] = ()
    """Tags never believed; one of them in a fix from several refuses the whole fix."""
    maximum_range: Annotated[PositiveLength | None, Field(examples=["3.5 m"])] = None
    """Longest range believed, as the detection reports it."""
    maximum_view_angle: Annotated[NonNegativeAngle | None, Field(examples=["65 deg"])] = None
    """Largest view angle believed: between the tag's normal and the line of sight, as the detection reports it."""
    maximum_reprojection_ratio: Annotated[float | None, Field(strict=True, ge=0.0, le=1.0, examples=[0.6])] = None
    """Largest ratio believed of the best over the second-best solution's reprojection error; near 1 the wrong tilt
    may have been taken."""
    minimum_tag_count: Annotated[int | None, Field(strict=True, ge=1, examples=[2])] = None
    """Fewest tags a fix must have been computed from."""
    maximum_turn_rate: Annotated[PositiveTurnRate | None, Field(examples=["90 deg/s"])] = None
    """Fastest turn at which fixes are believed, by odometry."""
    maximum_speed: Annotated[PositiveSpeed | None, Field(examples=["1.5 m/s"])] = None
    """Highest speed at which fixes are believed, by odometry."""
    gate_probability: Annotated[Probability | None, Field(examples=["99 %"])] = None
    """Share of good fixes that lie within the gate; what lies further from the belief is refused."""
    only_on_request: Annotated[bool, Field(strict=True)] = False
    """Whether each press in the session's `[requests]` lets one fix through, and nothing else does."""
    request_window: Annotated[PositiveDuration, Field(examples=["1 s"])] = 1.0
    """How long a press waits for a fix."""
    reacquire_after: Annotated[int | None, Field(strict=True, ge=2, examples=[3])] = None
    """When that many fixes in a row are refused by the gate but agree with each other, the belief is given up for
    the last of them."""

    @model_validator(mode="after")
    def _keys_have_a_use(self) -> Self:
        if "request_window" in self.model_fields_set and not self.only_on_request:
            raise ValueError("request_window says how long a press waits|Add only_on_request = true, or remove it")
        if self.reacquire_after is not None and self.gate_probability is None:
            raise ValueError("reacquire_after counts what the gate refuses|Add gate_probability, or remove it")
        return self


class MotionNoiseOverride(Config):
    """Single keys of the robot's [motion_noise] that this filter believes instead."""

    along_per_metre: Annotated[NonNegativeLength | None, Field(examples=["20 mm"])] = None
    """Instead of the robot's: standard deviation along the direction of travel after one metre."""
    across_per_metre: Annotated[NonNegativeLength | None, Field(examples=["20 mm"])] = None
    """Instead of the robot's: standard deviation across the direction of travel after one metre."""
    heading_per_metre: Annotated[NonNegativeAngle | None, Field(examples=["0.4 deg"])] = None
    """Instead of the robot's: standard deviation of the heading after one metre."""
    heading_per_turn: Annotated[NonNegativeAngle | None, Field(examples=["1 deg"])] = None
    """Instead of the robot's: standard deviation of the heading after one whole turn."""
    heading_per_minute: Annotated[NonNegativeAngle | None, Field(examples=["0.5 deg"])] = None
    """Instead of the robot's: standard deviation of the heading after one minute."""
    doubted_factor: DoubtedFactor | None = None
    """Instead of the robot's: times all of the noise while odometry looks doubtful, so that tags are believed more
    then."""

    def applied_to(self, noise: MotionNoise) -> MotionNoise:
        """Return `noise` with the keys given here replaced."""
        given = {name: value for name in self.model_fields_set if (value := getattr(self, name)) is not None}
        return noise.model_copy(update=given) if given else noise


RESERVED_NAMES = ("dead_reckoning", "tags_only", "onboard")


class FusionConfig(Config):
    """One way to fuse odometry and tags, under the name it has in every table."""

    name: Annotated[Text, Field(examples=["gated_kalman"])]
    """What this way of fusing is called in every table."""
    engine: Engine = Engine.KERNEL
    """The filter: compiled and fast, or filterpy's extended or unscented one, sample by sample, to compare with."""
    correction: Correction = Correction()
    """What a believed detection does."""
    latency: Latency = Latency()
    """How late detections are treated."""
    tag_noise: TagNoise = TagNoise()
    """Standard deviations of a detection, from its own range and view angle."""
    trust: Trust = Trust()
    """When a detection is believed; a rule that is left out is not applied."""
    motion_noise: MotionNoiseOverride = MotionNoiseOverride()
    """Keys that go before those of the robot's `[motion_noise]`."""

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
