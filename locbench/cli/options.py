"""Option types shared by commands; kept free of heavy imports so that --help is quick."""

from enum import StrEnum

__all__ = ["DisplayUnits", "FileKind"]


class DisplayUnits(StrEnum):
    """The choices of --units; the same as `units.UnitSystem`."""

    METRIC = "metric"
    IMPERIAL = "imperial"


class FileKind(StrEnum):
    """The kinds of TOML files; the same as `config.kinds.ConfigKind`."""

    ROBOT = "robot"
    FIELD = "field"
    FUSION = "fusion"
    SHOOTER = "shooter"
    SESSION = "session"
    SCENARIO = "scenario"
    BASELINE = "baseline"
