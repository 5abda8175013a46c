"""Option types shared by commands; kept free of heavy imports so that --help is quick."""

from enum import StrEnum

__all__ = ["DisplayUnits"]


class DisplayUnits(StrEnum):
    """The choices of --units; the same as `units.UnitSystem`."""

    METRIC = "metric"
    IMPERIAL = "imperial"
