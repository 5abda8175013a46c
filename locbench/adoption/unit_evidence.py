"""Which unit a column is in: its name is a reason, a whole turn's jump is one, a range is only a hint."""

import math
from collections.abc import Callable

import numpy as np

from locbench.adoption.foreign_tables import ForeignColumn
from locbench.adoption.questions import NOTHING_KNOWN, Decision, Evidence, Strength
from locbench.arrays import FloatArray
from locbench.units import UNITS, Dimension

__all__ = [
    "angle_unit",
    "clock_unit",
    "clock_unit_beside",
    "length_unit",
    "speed_unit",
    "symbols_of",
    "turn_rate_unit",
    "turns_over",
    "unit_of_neighbour",
    "usual_step",
]

# A robot's loop runs a few to a few hundred times a second; these are a thousand apart, as the units are.
_LIKELY_PERIOD_S = (0.0015, 0.5)
_POSSIBLE_PERIOD_S = (1e-4, 5.0)
_FASTEST_M_PER_S = 10.0
_LARGEST_FLOOR_M = 30.0
_USUAL_SPEED_M_PER_S = 1.0
# The best unit must explain a size this much better than the next one to be proposed.
_AHEAD = math.log(1.4)
_WORST = math.log(3.0)
# Since 2000, until 2100: seconds since 1970.
_EPOCH_S = (946_684_800.0, 4_102_444_800.0)


def symbols_of(dimension: Dimension) -> tuple[str, ...]:
    """Return the unit symbols of a dimension."""
    return tuple(unit.symbol for unit in UNITS.values() if unit.dimension is dimension)


def _named(column: ForeignColumn, dimension: Dimension) -> str | None:
    unit = column.reading.unit
    return unit.symbol if unit is not None and unit.dimension is dimension else None


def _by_name(
    column: ForeignColumn, dimension: Dimension, contradiction: Callable[[float], str | None], otherwise: Evidence
) -> Evidence:
    """Return the unit that the name says unless the numbers contradict it, else what the numbers say."""
    symbol = _named(column, dimension)
    if symbol is None:
        spelled = column.reading.spelled
        if spelled and otherwise.strength is Strength.NOTHING:
            return Evidence(None, f'"{spelled}" is no unit of {dimension} that is known here', Strength.NOTHING)
        return otherwise
    against = contradiction(UNITS[symbol].factor)
    if against is None:
        return Evidence(symbol, f"its name says {symbol}", Strength.SHOWN)
    return Evidence(symbol, f"its name says {symbol}, but then {against}", Strength.HINTED)


def usual_step(values: FloatArray) -> float:
    """Return the median of the positive steps, NaN without any."""
    steps = np.diff(values[np.isfinite(values)])
    positive = steps[steps > 0.0]
    return float(np.median(positive)) if len(positive) else math.nan


def clock_unit(column: ForeignColumn) -> Evidence:
    """Return the unit of the odometry's clock, from its name and from the usual step between rows."""
    step = usual_step(column.numbers)

    def contradiction(factor: float) -> str | None:
        seconds = step * factor
        if not seconds > 0.0 or _POSSIBLE_PERIOD_S[0] <= seconds <= _POSSIBLE_PERIOD_S[1]:
            return None
        return f"rows are {seconds:.3g} s apart"

    fitting = [
        symbol
        for symbol in ("s", "ms", "us", "ns")
        if step > 0.0 and _LIKELY_PERIOD_S[0] <= step * UNITS[symbol].factor < _LIKELY_PERIOD_S[1]
    ]
    hint = NOTHING_KNOWN
    if len(fitting) == 1:
        rate = 1.0 / (step * UNITS[fitting[0]].factor)
        why = f"rows are {step:.6g} apart: in {fitting[0]} {rate:.3g} a second, in no other unit a likely rate"
        hint = Evidence(fitting[0], why + _epoch_words(column.numbers, fitting[0]), Strength.HINTED)
    found = _by_name(column, Dimension.TIME, contradiction, hint)
    if found.strength is Strength.SHOWN and step > 0.0:
        rate = 1.0 / (step * UNITS[str(found.value)].factor)
        return Evidence(found.value, f"{found.why}; that makes {rate:.3g} rows a second", Strength.SHOWN)
    return found


def _epoch_words(values: FloatArray, symbol: str) -> str:
    first = float(values[0]) * UNITS[symbol].factor
    return ", and it counts since 1970" if _EPOCH_S[0] < first < _EPOCH_S[1] else ""


def clock_unit_beside(column: ForeignColumn, span_s: tuple[float, float] | None) -> Evidence:
    """Return the unit of another table's clock; `span_s` is the time of the odometry, None while that is open."""
    values = column.numbers[np.isfinite(column.numbers)]
    fitting = []
    if span_s is not None and len(values) > 1:
        length = span_s[1] - span_s[0]
        for symbol in ("s", "ms", "us", "ns"):
            share = float(np.ptp(values)) * UNITS[symbol].factor / length
            if 0.1 < share < 2.0:
                fitting.append((symbol, share))
    hint = NOTHING_KNOWN
    if len(fitting) == 1:
        symbol, share = fitting[0]
        why = f"in {symbol} its times last {share:.0%} of the odometry's, in any other unit far less or more"
        hint = Evidence(symbol, why + _epoch_words(values, symbol), Strength.HINTED)
    return _by_name(column, Dimension.TIME, lambda _: None, hint)


def angle_unit(column: ForeignColumn) -> Evidence:
    """Return the unit of a heading: a jump of a whole turn shows it, its range only hints."""
    values = column.numbers[np.isfinite(column.numbers)]
    jump = _whole_turn_jump(values)

    def contradiction(factor: float) -> str | None:
        if jump is None or math.isclose(UNITS[str(jump.value)].factor, factor):
            return None
        return jump.why

    return _by_name(column, Dimension.ANGLE, contradiction, jump or _angle_hint(values))


def turns_over(column: ForeignColumn) -> bool:
    """Return whether a column jumps by a whole turn from one end of its range to the other, as only angles do."""
    return _whole_turn_jump(column.numbers[np.isfinite(column.numbers)]) is not None


def _whole_turn_jump(values: FloatArray) -> Evidence | None:
    """Return the unit in which a jump between neighbouring rows, from one end of the range to the other, is a turn."""
    if len(values) < 2:
        return None
    steps = np.diff(values)
    for symbol, turn in (("deg", 360.0), ("rad", 2.0 * math.pi)):
        jumps = np.flatnonzero((np.abs(steps) > 0.95 * turn) & (np.abs(steps) < 1.05 * turn))
        if len(jumps) and np.ptp(values) < 1.05 * turn:
            row = int(jumps[0])
            why = f"it jumps from {values[row]:.5g} to {values[row + 1]:.5g}, a whole turn in {symbol}"
            return Evidence(symbol, why, Strength.SHOWN)
    return None


def _angle_hint(values: FloatArray) -> Evidence:
    if not len(values):
        return NOTHING_KNOWN
    low, high = float(np.min(values)), float(np.max(values))
    largest = max(abs(low), abs(high))
    if 60.0 <= largest < 1e5:
        why = f"it runs from {low:.5g} to {high:.5g}: in rad that would be {(high - low) / (2 * math.pi):.0f} turns"
        return Evidence("deg", why, Strength.HINTED)
    if largest < 6.4 and high - low > 2.5:
        why = f"it runs from {low:.5g} to {high:.5g}: in deg the robot would hardly have turned"
        return Evidence("rad", why, Strength.HINTED)
    return Evidence(None, f"it runs from {low:.5g} to {high:.5g}, which may be deg or rad", Strength.NOTHING)


def length_unit(column: ForeignColumn, extent: float, usual_m: float) -> Evidence:
    """Return the unit of a length column.

    Parameters
    ----------
    column
        The column.
    extent
        How far its numbers reach, in its own unit.
    usual_m
        How far they would usually reach: a good part of the floor.
    """

    def contradiction(factor: float) -> str | None:
        reach = extent * factor
        return f"it reaches over {reach:.3g} m" if reach > _LARGEST_FLOOR_M else None

    hint = _nearest_size(extent, usual_m, Dimension.LENGTH, f"it reaches over {extent:.4g}")
    return _by_name(column, Dimension.LENGTH, contradiction, hint)


def speed_unit(column: ForeignColumn) -> Evidence:
    """Return the unit of a speed column."""
    fast = _fast(column)

    def contradiction(factor: float) -> str | None:
        return f"the robot drives {fast * factor:.3g} m/s" if fast * factor > _FASTEST_M_PER_S else None

    hint = _nearest_size(fast, _USUAL_SPEED_M_PER_S, Dimension.SPEED, f"it often reaches {fast:.4g}")
    return _by_name(column, Dimension.SPEED, contradiction, hint)


def turn_rate_unit(column: ForeignColumn) -> Evidence:
    """Return the unit of a turn rate; deg/s and rad/s are far enough apart for a hint."""
    fast = _fast(column)
    hint = NOTHING_KNOWN
    if fast > 20.0:
        hint = Evidence("deg/s", f"it often reaches {fast:.4g}: no robot turns that fast in rad/s", Strength.HINTED)
    elif 0.3 < fast < 8.0:
        hint = Evidence("rad/s", f"it often reaches {fast:.4g}: in deg/s the robot would hardly turn", Strength.HINTED)
    return _by_name(column, Dimension.TURN_RATE, lambda _: None, hint)


def _fast(column: ForeignColumn) -> float:
    values = column.numbers[np.isfinite(column.numbers)]
    return float(np.quantile(np.abs(values), 0.95)) if len(values) else 0.0


def _nearest_size(size: float, usual_si: float, dimension: Dimension, found: str) -> Evidence:
    """Return the unit in which a size is nearest to the usual one, if it is clearly the nearest."""
    if not size > 0.0:
        return NOTHING_KNOWN
    misses = sorted((abs(math.log(size * UNITS[symbol].factor / usual_si)), symbol) for symbol in symbols_of(dimension))
    (best, symbol), (second, other) = misses[:2]
    as_si = f"{size * UNITS[symbol].factor:.3g} {symbols_of(dimension)[0]}"
    if best > _WORST or second - best < _AHEAD:
        return Evidence(None, f"{found}, which may be {symbol} or {other}", Strength.NOTHING)
    return Evidence(symbol, f'{found}: {as_si} as "{symbol}", further from usual as "{other}"', Strength.HINTED)


def unit_of_neighbour(column: ForeignColumn, dimension: Dimension, other: Decision | None) -> Evidence:
    """Return the unit of a column that belongs to another one: its own, or with a question that of the other."""
    own = _named(column, dimension)
    if own is not None:
        return Evidence(own, f"its name says {own}", Strength.SHOWN)
    if other is None or other.value is None:
        return NOTHING_KNOWN
    return Evidence(other.value, f"the column it belongs to is in {other.value}", Strength.HINTED)
