"""The kinds of TOML files."""

from enum import StrEnum

__all__ = ["ConfigKind"]


class ConfigKind(StrEnum):
    """What a TOML file describes."""

    ROBOT = "robot"
    FIELD = "field"
    FUSION = "fusion"
    SHOOTER = "shooter"
    SESSION = "session"
    SCENARIO = "scenario"
    BASELINE = "baseline"
