"""Changes proposed to a user's files: a key, its new value, and which file it stands in."""

from dataclasses import dataclass
from enum import StrEnum
from typing import TypeAlias

from locbench.units import Dimension

__all__ = ["Edit", "EditedFile", "EditedValue", "Quantity"]


class EditedFile(StrEnum):
    """Which of a session's files a change belongs into."""

    SESSION = "session"
    ROBOT = "robot"
    FIELD = "field"


@dataclass(frozen=True)
class Quantity:
    """A value in SI, its dimension, and its standard deviation in SI if it is known, which decides the digits shown."""

    si: float
    dimension: Dimension
    std_si: float | None = None


# unit symbols, axis names and column names are texts; ratios without a unit are plain numbers
EditedValue: TypeAlias = Quantity | str | bool | int | float


@dataclass(frozen=True)
class Edit:
    """One key to set.

    Attributes
    ----------
    file
        Which file.
    path
        Keys from the top of the file to the one to set, such as ("pods", "left", "wheel_diameter"); an int is a
        position, from 0, in a list of tables, such as ("tags", 3, "x").
    value
        What to write there. A quantity is written in the unit that the file already uses for that key.
    """

    file: EditedFile
    path: tuple[str | int, ...]
    value: EditedValue
