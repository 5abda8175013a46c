"""What the residuals of each kind of detection are called."""

from enum import StrEnum

__all__ = ["Component"]


class Component(StrEnum):
    """Of a pose along and across the line of sight, and its heading; else what was measured. Metres or radians."""

    ALONG = "along"
    ACROSS = "across"
    HEADING = "heading"
    RANGE = "range"
    BEARING = "bearing"
