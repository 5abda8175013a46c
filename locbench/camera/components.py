"""What the residuals of each kind of detection are called."""

from collections.abc import Mapping
from enum import StrEnum
from types import MappingProxyType

from locbench.session import TagKind

__all__ = ["COMPONENTS", "Component"]


class Component(StrEnum):
    """Of a pose along and across the line of sight, and its heading; else what was measured. Metres or radians."""

    ALONG = "along"
    ACROSS = "across"
    HEADING = "heading"
    RANGE = "range"
    BEARING = "bearing"


_POSE = (Component.ALONG, Component.ACROSS, Component.HEADING)
COMPONENTS: Mapping[TagKind, tuple[Component, ...]] = MappingProxyType(
    {
        TagKind.ROBOT_POSE: _POSE,
        TagKind.TAG_POSE: _POSE,
        TagKind.RANGE_BEARING: (Component.RANGE, Component.BEARING),
        TagKind.BEARING: (Component.BEARING,),
        TagKind.RANGE: (Component.RANGE,),
    }
)
"""In the order of the residuals' columns."""
