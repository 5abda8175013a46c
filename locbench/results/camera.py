"""camera.json: what the detections of some sessions are worth, set beside a reference that never saw them."""

from typing import Annotated, Literal

from pydantic import Field

from locbench.camera.components import Component
from locbench.results.models import Record

__all__ = [
    "BiasAndSpread",
    "CameraBin",
    "CameraRecord",
    "Estimated",
    "SlowRecord",
    "TagPlacement",
    "TrustRecord",
]


class Estimated(Record):
    """A number with its standard uncertainty (None where it has none), SI; `unit` is m, rad, s or 1 (a ratio)."""

    value: float
    std: float | None
    unit: Literal["m", "rad", "s", "1"]


class TagPlacement(Record):
    """By how much a tag hangs elsewhere than the field file says, field frame; None where it cannot be told.

    `hangs_wrong` if that is beyond its uncertainty, all tags considered, and beyond 10 mm or 0.5 deg. It was seen on
    `legs` of the reference's stretches between marks (or seconds of a truth); on too few of them it is not
    `is_provable`, wherever it seems to hang.
    """

    x: Estimated | None
    y: Estimated | None
    facing: Estimated | None
    count: int
    legs: int
    is_provable: bool
    hangs_wrong: bool


class BiasAndSpread(Record):
    """Mean of a residual and scatter about it, each with its standard uncertainty; metres or radians."""

    bias: float
    bias_std: float
    spread: float
    spread_std: float


class CameraBin(Record):
    """Detections from `low` to below `high` of what they are sorted by, or of one tag; residuals as logged."""

    by: Literal["range", "view_angle", "speed", "turn_rate", "tag"]
    low: float
    high: float
    count: int
    outliers: int
    components: dict[Component, BiasAndSpread]


class TrustRecord(Record):
    """Detections of one range and view angle: RMS of the good ones by component, and how many are wrong."""

    range_low_m: float
    range_high_m: float
    view_low_rad: float
    view_high_rad: float
    count: int
    outliers: int
    rms: dict[Component, float]


class SlowRecord(Record):
    """Share of a component's variance that stays the same all through a pass, and how long its errors stay alike.

    All fixes of one pass are worth at most `worth_at_most` independent ones; None where they may be white.
    """

    share: float
    ci95: tuple[float, float]
    passes: int
    worth_at_most: float | None
    correlation_time_s: float | None


class CameraRecord(Record):
    """The whole of camera.json; what cannot be given is None, the reason in `why` under the same name.

    `noise` are keys of a fusion file's [tag_noise] that were told, `kept_noise` those of this kind that stayed as the
    fusion file has them. Stamps as moved by the session file's `[tags] offset` are late by `latency_s`: pictures were
    taken that much before. `mount` is by how much the camera sits elsewhere than the robot file says, `range_scale`
    comes on top of the session file's. `beyond_chance` names what of these chance alone explains in one study of a
    hundred at most. `remarks` are for the reader.
    """

    schema_: Annotated[Literal[1], Field(alias="schema")] = 1
    locbench: str
    command: Literal["camera"] = "camera"
    units: Literal["SI"] = "SI"
    sessions: list[str]
    reference: Literal["truth", "marks", "both"]
    kind: Literal["robot_pose", "tag_pose", "range_bearing", "bearing", "range"]
    camera: str | None
    detections: int
    compared: int
    noise: dict[str, Estimated]
    kept_noise: dict[str, Estimated]
    latency_s: float | None
    latency_std_s: float | None
    outlier_share: Estimated | None
    flip_share: Estimated | None
    mount: dict[Literal["x", "y", "yaw"], Estimated]
    tags: dict[str, TagPlacement]
    range_scale: Estimated | None
    beyond_chance: list[Literal["latency", "x", "y", "yaw", "range_scale"]]
    slow: dict[Component, SlowRecord]
    bins: list[CameraBin]
    trust_map: list[TrustRecord]
    why: dict[str, str]
    remarks: list[str]
