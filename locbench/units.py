"""Quantities with units: the whitelist, how they are read and how they are shown.

Inside the package every number is in SI and radians. A quantity crosses the border only with its unit,
written as number, space, unit: "35 mm". Factors come from `scipy.constants` (CODATA / exact definitions).
"""

import math
import re
from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum
from types import MappingProxyType

from scipy import constants

from locbench.errors import QuantityError, nearest_choice

__all__ = [
    "LARGEST_SI",
    "UNITS",
    "Dimension",
    "Unit",
    "UnitSystem",
    "format_clock",
    "format_quantity",
    "parse_quantity",
    "quantity_as_written",
    "quantity_pattern",
    "unit_factor",
    "unit_symbols",
]


class Dimension(StrEnum):
    """What a quantity measures."""

    LENGTH = "length"
    ANGLE = "angle"
    TIME = "time"
    MASS = "mass"
    SPEED = "speed"
    TURN_RATE = "turn rate"
    RATIO = "ratio"


class UnitSystem(StrEnum):
    """How quantities are shown to a person."""

    METRIC = "metric"
    IMPERIAL = "imperial"


@dataclass(frozen=True)
class Unit:
    """One whitelisted unit; `factor` times a number in it gives SI (radians for angles)."""

    symbol: str
    dimension: Dimension
    factor: float


def _whitelist() -> Mapping[str, Unit]:
    turn = 2.0 * math.pi
    table = {
        Dimension.LENGTH: {
            "m": 1.0,
            "cm": constants.centi,
            "mm": constants.milli,
            "in": constants.inch,
            "ft": constants.foot,
        },
        Dimension.ANGLE: {"deg": constants.degree, "rad": 1.0, "turn": turn},
        Dimension.TIME: {
            "s": 1.0,
            "ms": constants.milli,
            "us": constants.micro,
            "ns": constants.nano,
            "min": constants.minute,
        },
        Dimension.MASS: {"kg": 1.0, "g": constants.gram},
        Dimension.SPEED: {
            "m/s": 1.0,
            "cm/s": constants.centi,
            "mm/s": constants.milli,
            "in/s": constants.inch,
            "ft/s": constants.foot,
        },
        Dimension.TURN_RATE: {"deg/s": constants.degree, "rad/s": 1.0, "rpm": turn / constants.minute},
        Dimension.RATIO: {"%": 0.01},
    }
    units = {
        symbol: Unit(symbol, dimension, float(factor))
        for dimension, symbols in table.items()
        for symbol, factor in symbols.items()
    }
    return MappingProxyType(units)


UNITS: Mapping[str, Unit] = _whitelist()

# No length, angle or time of this trade reaches it, not even seconds since 1970; beyond it arithmetic overflows.
LARGEST_SI = 1e10

_NUMBER = r"[+-]?(\d+\.?\d*|\.\d+)([eE][+-]?\d+)?"
_QUANTITY = re.compile(rf"\s*(?P<number>{_NUMBER})(?P<space>\s*)(?P<unit>\S*)\s*")


def unit_symbols(dimension: Dimension) -> list[str]:
    """Return the valid units of a dimension, the SI unit first (% for ratios, deg for angles)."""
    return [unit.symbol for unit in UNITS.values() if unit.dimension is dimension]


def quantity_pattern(dimension: Dimension) -> str:
    """Return the regular expression that texts of such quantities match, as editors know it (ECMA-262)."""
    symbols = "|".join(re.escape(symbol) for symbol in unit_symbols(dimension))
    return rf"^\s*{_NUMBER}\s+({symbols})\s*$"


def _as_written(number: object, dimension: Dimension) -> str:
    """Return a bare number as it would stand before the unit suggested: a share of 0.99 is 99 %."""
    if not isinstance(number, int | float):
        return "35"
    return f"{100.0 * number:g}" if dimension is Dimension.RATIO and abs(number) <= 1.0 else f"{number:g}"


def _example(number: str, dimension: Dimension) -> str:
    return f'Write number, space, unit, for example "{number} {unit_symbols(dimension)[0]}"'


def unit_factor(symbol: str, dimension: Dimension) -> float:
    """Return the factor from `symbol` to SI.

    Raises
    ------
    QuantityError
        If the symbol is not whitelisted or measures something else.
    """
    unit = UNITS.get(symbol)
    if unit is None:
        raise QuantityError(
            f"unknown unit of {dimension}",
            received=symbol,
            remedy=nearest_choice(symbol, unit_symbols(dimension)),
        )
    if unit.dimension is not dimension:
        raise QuantityError(
            f"a unit of {dimension} is needed, but this is a unit of {unit.dimension}",
            received=symbol,
            remedy="Valid units: " + ", ".join(unit_symbols(dimension)),
        )
    return unit.factor


def parse_quantity(text: object, dimension: Dimension) -> float:
    """Return the SI value of a text such as "35 mm".

    Parameters
    ----------
    text
        Number, space, unit.
    dimension
        What the quantity must measure.

    Returns
    -------
    float
        Metres, radians, seconds, kilograms, metres per second, radians per second, or a plain ratio.

    Raises
    ------
    QuantityError
        If the unit is missing, unknown or of another dimension, or the number is unreadable.
    """
    if not isinstance(text, str):
        raise QuantityError("missing unit", received=text, remedy=_example(_as_written(text, dimension), dimension))
    match = _QUANTITY.fullmatch(text)
    if match is None:
        raise QuantityError("not a quantity", received=text, remedy=_example("35", dimension))
    if not match["unit"]:
        remedy = _example(_as_written(float(match["number"]), dimension), dimension)
        raise QuantityError("missing unit", received=text, remedy=remedy)
    if not match["space"]:
        raise QuantityError(
            "no space between number and unit",
            received=text,
            remedy=f'Write "{match["number"]} {match["unit"]}"',
        )
    value = float(match["number"]) * unit_factor(match["unit"], dimension)
    if abs(value) > LARGEST_SI:
        raise QuantityError("the number is too large to be meant", received=text, remedy="Check it and its unit")
    return value


def _length_unit(size_m: float, system: UnitSystem) -> str:
    if system is UnitSystem.IMPERIAL:
        return "in" if size_m < 10.0 * constants.foot else "ft"
    return "mm" if size_m < 1.0 else "m"


_SHOWN: Mapping[Dimension, str] = MappingProxyType(
    {
        Dimension.ANGLE: "deg",
        Dimension.TIME: "s",
        Dimension.MASS: "kg",
        Dimension.SPEED: "m/s",
        Dimension.TURN_RATE: "deg/s",
        Dimension.RATIO: "%",
    }
)


def format_clock(time_s: float) -> str:
    """Return a time on a log's clock with its unit, to hundredths, however long ago that clock began."""
    return f"{round(time_s, 2):.15g} s"


def format_quantity(value: float, dimension: Dimension, system: UnitSystem = UnitSystem.METRIC) -> str:
    """Return `value` (SI) as a person reads it, with three significant digits and its unit.

    Parameters
    ----------
    value
        SI value; NaN gives a dash.
    dimension
        What it measures; lengths below 1 m are shown in millimetres (below 10 ft in inches).
    system
        Metric or imperial lengths; the other dimensions are the same in both.
    """
    if math.isnan(value):
        return "–"
    symbol = _length_unit(abs(value), system) if dimension is Dimension.LENGTH else _SHOWN[dimension]
    number = value / UNITS[symbol].factor
    if number == 0.0:
        return f"0 {symbol}"
    decimals = max(0, 2 - math.floor(math.log10(abs(number))))
    return f"{number:.{min(decimals, 4 if abs(number) < 1 else 2)}f} {symbol}"


# in the order of preference where two are as short
_WRITTEN: Mapping[Dimension, tuple[str, ...]] = MappingProxyType(
    {
        Dimension.LENGTH: ("mm", "m"),
        Dimension.ANGLE: ("deg", "rad"),
        Dimension.TIME: ("s", "ms"),
        Dimension.MASS: ("g", "kg"),
        Dimension.SPEED: ("m/s", "mm/s"),
        Dimension.TURN_RATE: ("deg/s", "rad/s"),
        Dimension.RATIO: ("%",),
    }
)


def quantity_as_written(value: float, dimension: Dimension) -> str:
    """Return `value` (SI) as a person would write it into a file: the shortest text that reads back as the same.

    The same means to ten digits; 0.01 becomes "10 mm", 1.2 rad stays "1.2 rad".
    """
    if value == 0.0:
        return f"0 {_WRITTEN[dimension][0]}"
    return min((f"{value / UNITS[symbol].factor:.10g} {symbol}" for symbol in _WRITTEN[dimension]), key=len)
