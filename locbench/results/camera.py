"""camera.json: what the detections of some sessions are worth, set beside a reference that never saw them."""

from typing import Annotated, Literal

from pydantic import Field

from locbench.results.models import Record

__all__ = ["CameraRecord", "Estimated", "TagPlacement"]


class Estimated(Record):
    """A number with its standard uncertainty (None where it has none), SI; `unit` is m, rad, s or 1 (a ratio)."""

    value: float
    std: float | None
    unit: Literal["m", "rad", "s", "1"]


class TagPlacement(Record):
    """By how much a tag hangs elsewhere than the field file says, field frame; None where it cannot be told."""

    x: Estimated | None
    y: Estimated | None
    facing: Estimated | None
    count: int


class CameraRecord(Record):
    """The whole of camera.json; what cannot be given is None, the reason in `why` under the same name."""

    schema_: Annotated[Literal[1], Field(alias="schema")] = 1
    locbench: str
    command: Literal["camera"] = "camera"
    units: Literal["SI"] = "SI"
    sessions: list[str]
    kind: Literal["robot_pose", "tag_pose", "range_bearing", "bearing", "range"]
    detections: int
    compared: int
    noise: dict[str, Estimated]
    latency_s: float | None
    latency_std_s: float | None
    outlier_share: Estimated | None
    flip_share: Estimated | None
    mount: dict[str, Estimated]
    tags: dict[str, TagPlacement]
    range_scale: Estimated | None
    why: dict[str, str]
