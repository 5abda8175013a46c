"""The marks of a run sheet as lines for the field file."""

import json
import math

from locbench.runsheet.sheet import RunSheet
from locbench.runsheet.survey import Survey
from locbench.units import UNITS, UnitSystem

__all__ = ["mark_lines"]


def mark_lines(sheet: RunSheet, system: UnitSystem) -> list[str]:
    """Return the TOML of the marks that the field file lacks, in the user's units; nothing if it has them all."""
    blocks = [_block(survey, system) for survey in sheet.to_write]
    return [line for block in blocks for line in [*block, ""]][:-1]


def _block(survey: Survey, system: UnitSystem) -> list[str]:
    pose = survey.mark.pose
    place, small = ("in", "in") if system is UnitSystem.IMPERIAL else ("m", "mm")
    lines = [
        "[[marks]]",
        f"name = {_quoted(survey.mark.name)}",
        f"x = {_quantity(pose.x_m, place, 4)}",
        f"y = {_quantity(pose.y_m, place, 4)}",
    ]
    if pose.heading_rad is not None:
        lines.append(f"heading = {_quantity(pose.heading_rad, 'deg', 2)}")
    lines.append(f"position_std = {_quantity(_rounded_up(survey.used_position_m, small), small, 3)}")
    if survey.used_heading_rad is not None:
        lines.append(f"heading_std = {_quantity(_rounded_up(survey.used_heading_rad, 'deg'), 'deg', 3)}")
    return lines


def _rounded_up(std: float, symbol: str) -> float:
    """Return a standard deviation with two digits, rounded up: it shall not look surer than it is."""
    factor = UNITS[symbol].factor
    step = 10.0 ** (math.floor(math.log10(std / factor)) - 1)
    return math.ceil(std / factor / step - 1e-9) * step * factor


def _quantity(value: float, symbol: str, decimals: int) -> str:
    # adding 0.0 turns "-0" into "0"
    digits = f"{round(value / UNITS[symbol].factor, decimals) + 0.0:.{decimals}f}".rstrip("0").rstrip(".")
    return f'"{digits} {symbol}"'


def _quoted(name: str) -> str:
    # JSON leaves one character as it is that TOML wants escaped
    return json.dumps(name, ensure_ascii=False).replace("\x7f", "\\u007f")
