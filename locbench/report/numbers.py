"""How a number looks to a person: units of the chosen system, digits worth reading, the interval beside it.

Terminal and HTML share this file, so that both show the same digits.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from locbench.arrays import FloatArray
from locbench.statistics import UncertainNumber
from locbench.units import UNITS, UnitSystem

__all__ = [
    "DEGREES",
    "DRIFT_PERCENT",
    "MILLISECONDS",
    "MISSING",
    "PLAIN",
    "SECONDS",
    "SHARE_PERCENT",
    "TURNS",
    "DisplayUnit",
    "as_sentence",
    "error_length",
    "floor_length",
    "in_words",
    "interval_text",
    "interval_words",
    "number_text",
    "plain_text",
    "quantity_text",
    "rule_words",
    "survey_length",
    "with_interval",
]

MISSING = "–"
# From here on a number is broken or absurd: its size says so, its digits would push the names off the terminal.
_MOST_SHOWN = 1e6


@dataclass(frozen=True)
class DisplayUnit:
    """A unit for display: `factor` times a shown number gives SI.

    `fine` decimals are shown below 10, `coarse` ones from there on.
    """

    symbol: str
    factor: float
    fine: int
    coarse: int

    def shown(self, values: Sequence[float | None] | Sequence[float]) -> FloatArray:
        """Return SI values (K,) as shown numbers; None becomes NaN, which breaks a drawn line."""
        return np.array([math.nan if value is None else value for value in values], dtype=float) / self.factor


def _unit(symbol: str, fine: int, coarse: int) -> DisplayUnit:
    return DisplayUnit(symbol, UNITS[symbol].factor, fine, coarse)


DEGREES = _unit("deg", 2, 1)
MILLISECONDS = _unit("ms", 0, 0)
SECONDS = _unit("s", 1, 0)
SHARE_PERCENT = _unit("%", 0, 0)
DRIFT_PERCENT = _unit("%", 2, 1)
TURNS = DisplayUnit("", 1.0, 1, 1)
PLAIN = DisplayUnit("", 1.0, 2, 1)


def error_length(system: UnitSystem) -> DisplayUnit:
    """Return the unit for errors and misses: millimetres or inches, whatever their size, so that they compare."""
    return _unit("in", 2, 1) if system is UnitSystem.IMPERIAL else _unit("mm", 1, 0)


def floor_length(system: UnitSystem) -> DisplayUnit:
    """Return the unit for paths, ranges and the floor: metres or feet."""
    return _unit("ft", 1, 1) if system is UnitSystem.IMPERIAL else _unit("m", 2, 1)


def survey_length(system: UnitSystem) -> DisplayUnit:
    """Return the unit for what is read off a tape: metres to the millimetre, or inches to the hundredth."""
    return _unit("in", 2, 2) if system is UnitSystem.IMPERIAL else _unit("m", 3, 3)


def plain_text(text: str) -> str:
    """Return user data with every unprintable character as a space, so that it cannot steer a terminal or break XML."""
    return "".join(character if character.isprintable() else " " for character in text)


def rule_words(rule: str) -> str:
    """Return the name of a trust rule as words."""
    return plain_text(rule).replace("_", " ")


def as_sentence(text: str) -> str:
    """Return user data as a sentence: printable, and ended by a full stop if nothing else ends it."""
    clean = plain_text(text).strip()
    return clean if not clean or clean[-1] in ".!?" else clean + "."


def _decimals(value: float, unit: DisplayUnit) -> int:
    return unit.fine if abs(value / unit.factor) < 10.0 else unit.coarse


def _digits(value: float, unit: DisplayUnit, decimals: int) -> str:
    shown = value / unit.factor
    if abs(shown) >= _MOST_SHOWN:
        return f"{shown:.1e}"
    # adding 0.0 turns "-0.0" into "0.0"
    return f"{round(shown, decimals) + 0.0:.{decimals}f}"


def number_text(value: float | None, unit: DisplayUnit) -> str:
    """Return the digits of an SI value without its unit; a dash for None or a value that is not finite."""
    if value is None or not math.isfinite(value):
        return MISSING
    return _digits(value, unit, _decimals(value, unit))


def _symbol(unit: DisplayUnit) -> str:
    return f" {unit.symbol}" if unit.symbol else ""


def quantity_text(value: float | None, unit: DisplayUnit) -> str:
    """Return an SI value as number, space, unit."""
    digits = number_text(value, unit)
    return digits if digits == MISSING else digits + _symbol(unit)


def interval_text(bounds: tuple[float, float], unit: DisplayUnit, beside: float | None = None) -> str:
    """Return the bounds without unit, with as many decimals as the value they stand beside."""
    decimals = _decimals(max(bounds) if beside is None else beside, unit)
    low, high = (_digits(bound, unit, decimals) for bound in bounds)
    return f"{low} to {high}" if low.startswith("-") else f"{low}–{high}"


def with_interval(number: UncertainNumber, unit: DisplayUnit) -> str:
    """Return a table cell: "31 (24–45)", or "31 (n=4)" without an interval, or a dash without a value."""
    if number.value is None:
        return MISSING
    inside = f"n={number.n}" if number.ci95 is None else interval_text(number.ci95, unit, number.value)
    return f"{number_text(number.value, unit)} ({inside})"


def _is_wide(value: str, bounds: str) -> bool:
    """Return whether the bounds say anything: narrower than the digits shown they would only look like certainty."""
    return bounds != f"{value}–{value}"


def in_words(number: UncertainNumber, unit: DisplayUnit) -> str:
    """Return a piece of a sentence: "31 mm (95 % 24–45 mm, n = 14)"; it says so if there is no interval or value."""
    if number.value is None:
        return f"unknown ({plain_text(number.why or 'no reason given')})"
    count = f"n = {number.n}"
    if number.independent is not None and number.independent < 0.9 * number.n:
        count += f" worth {number.independent:.0f}"
    if number.ci95 is None:
        return f"{quantity_text(number.value, unit)} (no interval, {count})"
    value, bounds = number_text(number.value, unit), interval_text(number.ci95, unit, number.value)
    if not _is_wide(value, bounds):
        return f"{quantity_text(number.value, unit)} ({count})"
    return f"{value}{_symbol(unit)} (95 % {bounds}{_symbol(unit)}, {count})"


def interval_words(number: UncertainNumber, unit: DisplayUnit) -> str | None:
    """Return "95 % 24–45 mm", or None if there is no interval or it is narrower than the digits shown."""
    if number.value is None or number.ci95 is None:
        return None
    bounds = interval_text(number.ci95, unit, number.value)
    return f"95 % {bounds}{_symbol(unit)}" if _is_wide(number_text(number.value, unit), bounds) else None
