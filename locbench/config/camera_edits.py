"""Changes of a user's files by what was found of a camera: its mount, its stamps, tags that hang elsewhere, ranges."""

import math
from collections.abc import Mapping

from locbench.config.edits import Edit, EditedFile, Quantity
from locbench.config.field import FieldConfig
from locbench.config.robot import CameraMount
from locbench.config.tag_sources import RangeBearingSource, RangeSource, TagSource
from locbench.units import Dimension

__all__ = ["Found", "clock_edit", "mount_edits", "range_scale_edit", "tag_edits"]

Found = tuple[float, float]
"""By how much something is off, and the standard uncertainty of that: SI."""

_DIMENSIONS = {
    "x": Dimension.LENGTH,
    "y": Dimension.LENGTH,
    "yaw": Dimension.ANGLE,
    "facing": Dimension.ANGLE,
}


def mount_edits(name: str, mount: CameraMount, found: Mapping[str, Found]) -> tuple[Edit, ...]:
    """Return the keys of the robot file that a camera elsewhere changes; `found` by "x", "y" and "yaw"."""
    return tuple(
        Edit(EditedFile.ROBOT, ("cameras", name, key), Quantity(getattr(mount, key) + shift, _DIMENSIONS[key], std))
        for key, (shift, std) in found.items()
    )


def clock_edit(source: TagSource, late: Found) -> Edit:
    """Return the key of the session file that moves detections whose stamps are late."""
    value = Quantity(source.offset - late[0], Dimension.TIME, late[1])
    return Edit(EditedFile.SESSION, ("tags", "offset"), value)


def tag_edits(field: FieldConfig, tag: int, found: Mapping[str, Found]) -> tuple[Edit, ...]:
    """Return the keys of the field file that a tag elsewhere changes; `found` by "x", "y" and "facing"."""
    place = next(index for index, one in enumerate(field.tags) if one.id == tag)
    return tuple(
        Edit(
            EditedFile.FIELD,
            ("tags", place, key),
            Quantity(getattr(field.tags[place], key) + shift, _DIMENSIONS[key], std),
        )
        for key, (shift, std) in found.items()
    )


def range_scale_edit(source: TagSource, excess: Found) -> Edit | None:
    """Return the key of the session file for ranges that are too long by a share; None for kinds without ranges."""
    if not isinstance(source, RangeSource | RangeBearingSource):
        return None
    digits = max(3, 1 - math.floor(math.log10(max(excess[1], 1e-5))))
    return Edit(EditedFile.SESSION, ("tags", "range_scale"), round(source.range_scale * (1.0 + excess[0]), digits))
