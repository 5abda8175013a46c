"""What to drive and press, step by step, and the boxes for what happened."""

import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from types import MappingProxyType

from locbench.report.numbers import plain_text, quantity_text, survey_length
from locbench.runsheet.moves import Move, Part, PartName
from locbench.runsheet.sheet import RunSheet
from locbench.units import UnitSystem

__all__ = ["BoxRow", "PartSteps", "box_rows", "part_steps"]

_WHOLE_TURN_RAD = 2.0 * math.pi
_NO_TURN_RAD = math.radians(0.5)

_TITLES: Mapping[PartName, str] = MappingProxyType(
    {
        PartName.IN_ORDER: "in order",
        PartName.OTHER_WAY_ROUND: "the other way round",
        PartName.ONWARD: "on to the next place",
        PartName.LINE: "there and back, without turning round",
        PartName.SPINS_LEFT: "turns to the left",
        PartName.SPINS_RIGHT: "turns to the right",
        PartName.SQUARE_LEFT: "square, left round",
        PartName.SQUARE_RIGHT: "square, right round",
        PartName.STANDS: "stands before the tag",
        PartName.PASSES_SLOW: "slow turns past the tag",
        PartName.PASSES_FAST: "fast turns past the tag",
    }
)


@dataclass(frozen=True)
class PartSteps:
    """A part's heading and its steps, the first of which has the number `first`."""

    title: str
    first: int
    steps: tuple[str, ...]


@dataclass(frozen=True)
class BoxRow:
    """A lap to fill in: what it is, and the marks pressed on in it, in order."""

    lap: str
    marks: tuple[str, ...]


def part_steps(sheet: RunSheet, system: UnitSystem) -> list[PartSteps]:
    """Return the steps of every part; they are numbered through, as in the picture."""
    found = []
    first = 1
    for part in sheet.plan.parts:
        steps = tuple(_step(move, sheet, system) for move in part.moves)
        found.append(PartSteps(_title(part), first, steps))
        first += len(steps)
    return found


def box_rows(sheet: RunSheet) -> list[BoxRow]:
    """Return one row per lap; a part that presses once in a lap has all of its laps in one row."""
    return [row for part in sheet.plan.parts for row in _part_rows(part)]


def _part_rows(part: Part) -> Iterator[BoxRow]:
    marks = tuple(plain_text(move.end) for move in part.moves if move.pressed)
    title = _TITLES[part.name].split(",", maxsplit=1)[0] if part.name is PartName.LINE else _TITLES[part.name]
    if len(marks) == 1:
        yield BoxRow(title, marks * part.times)
        return
    for lap in range(1, part.times + 1):
        yield BoxRow(f"{title} {lap}" if part.times > 1 else title, marks)


def _title(part: Part) -> str:
    times = "once" if part.times == 1 else f"{part.times} times"
    rate = "" if part.turn_rate_rad_s is None else f" at {math.degrees(part.turn_rate_rad_s):.0f} deg/s"
    presses = "1 press" if part.presses == 1 else f"{part.presses} presses"
    return f"{_TITLES[part.name].capitalize()}{rate}: {times}, {presses}"


def _step(move: Move, sheet: RunSheet, system: UnitSystem) -> str:
    done = [_turn_words(move.turn_before_rad), _drive_words(move.length_m, system), _turn_words(move.turn_after_rad)]
    words = ", ".join(filter(None, done)) or "nothing to drive"
    name = plain_text(move.end)
    if not move.pressed:
        return words
    place = f"on {name}" if move.start == move.end else f"to {name}"
    return f"{place}: {words}; stand {sheet.plan.pace.dwell_s:g} s, press"


def _drive_words(length_m: float, system: UnitSystem) -> str:
    if length_m == 0.0:
        return ""
    way = "forward" if length_m > 0.0 else "backwards"
    return f"{way} {quantity_text(abs(length_m), survey_length(system))}"


def _turn_words(turn_rad: float) -> str:
    if abs(turn_rad) < _NO_TURN_RAD:
        return ""
    sense = "left" if turn_rad > 0.0 else "right"
    turns = abs(turn_rad) / _WHOLE_TURN_RAD
    if turns > 1.0 - 1e-9:
        return f"{turns:g} whole turns {sense}"
    return f"turn {sense} {math.degrees(abs(turn_rad)):.0f} deg"
