"""The marks of a run sheet as lines for the field file."""

import json
import math

from locbench.runsheet.moves import PartName
from locbench.runsheet.sheet import RunSheet
from locbench.runsheet.survey import Survey, Tape
from locbench.units import UNITS, UnitSystem

__all__ = ["mark_lines", "rounded_up"]


def mark_lines(sheet: RunSheet, system: UnitSystem) -> list[str]:
    """Return the TOML of marks and measured lines that the field file lacks, in the user's units; nothing without."""
    blocks = [_block(survey, sheet.tape, system) for survey in sheet.to_write]
    blocks += [_distance(start, end, sheet, system) for start, end in _measured_lines(sheet)]
    return [line for block in blocks for line in [*block, ""]][:-1]


def _measured_lines(sheet: RunSheet) -> list[tuple[str, str]]:
    """Return the ends of lines whose length the sheet takes for measured and the field file does not have."""
    known = {frozenset((taped.first, taped.second)) for taped in sheet.ground.field.distances}
    lines = [(part.moves[0].start, part.moves[0].end) for part in sheet.plan.parts if part.name is PartName.LINE]
    return [line for line in lines if frozenset(line) not in known]


def _distance(start: str, end: str, sheet: RunSheet, system: UnitSystem) -> list[str]:
    place, small = ("in", "in") if system is UnitSystem.IMPERIAL else ("m", "mm")
    first, second = (sheet.plan.mark(name).pose for name in (start, end))
    length = math.hypot(second.x_m - first.x_m, second.y_m - first.y_m)
    return [
        "[[distances]]",
        f"first = {_quoted(start)}",
        f"second = {_quoted(end)}",
        f"length = {_quantity(length, place, 4)}  # write what the tape says from mark to mark",
        f"std = {_quantity(rounded_up(sheet.tape.reading_std_m(length), small), small, 3)}",
    ]


def _block(survey: Survey, tape: Tape, system: UnitSystem) -> list[str]:
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
    lines.append(f"position_std = {_quantity(rounded_up(survey.used_position_m, small), small, 3)}")
    if survey.used_heading_rad is not None:
        lines.append(f"heading_std = {_quantity(rounded_up(survey.used_heading_rad, 'deg'), 'deg', 3)}")
    lines += _placing(survey, tape, small)
    return lines


def _placing(survey: Survey, tape: Tape, small: str) -> list[str]:
    """Return what of the standard deviations is new at every visit; nothing where the file's own are smaller."""
    lines = []
    if tape.placing_m <= survey.used_position_m:
        lines.append(f"placing_std = {_quantity(tape.placing_m, small, 3)}")
    if survey.used_heading_rad is not None and tape.placing_heading_rad <= survey.used_heading_rad:
        lines.append(f"placing_heading_std = {_quantity(tape.placing_heading_rad, 'deg', 3)}")
    return lines


def rounded_up(std: float, symbol: str) -> float:
    """Return a standard deviation (SI) with two digits in that unit, rounded up: it shall not look surer than it is."""
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
