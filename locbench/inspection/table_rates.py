"""How often each table was logged, and which part of the session's clock it covers."""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from locbench.arrays import FloatArray
from locbench.inspection.diagnosis import Diagnosis, LogFault
from locbench.session import Measured, Severity, TableName, TableTimes
from locbench.units import Dimension, format_clock

__all__ = ["TableRate", "table_rates", "tables_without_overlap"]

# Rows that somebody's press or stop makes have no rate.
_EVENTS = frozenset({TableName.MARKS, TableName.REQUESTS})


@dataclass(frozen=True)
class TableRate:
    """One table's rows, its usual rate, its longest gap, and its first and last time; None where it has none."""

    table: TableName
    file: str
    rows: int
    rate_hz: float | None
    longest_gap_s: float | None
    first_s: float | None
    last_s: float | None


def table_rates(tables: Mapping[TableName, TableTimes]) -> tuple[TableRate, ...]:
    """Return the rates of all tables; rows of one time, such as several tags in a picture, count once for the rate."""
    return tuple(_rate(times) for times in tables.values())


def _rate(times: TableTimes) -> TableRate:
    distinct_s = np.unique(times.time_s)
    steps_s = np.diff(distinct_s)
    regular = len(steps_s) > 0 and times.table not in _EVENTS
    return TableRate(
        table=times.table,
        file=times.file,
        rows=len(times.time_s),
        rate_hz=1.0 / float(np.median(steps_s)) if regular else None,
        longest_gap_s=float(np.max(steps_s)) if regular else None,
        first_s=float(distinct_s[0]) if len(distinct_s) else None,
        last_s=float(distinct_s[-1]) if len(distinct_s) else None,
    )


def tables_without_overlap(tables: Mapping[TableName, TableTimes]) -> list[Diagnosis]:
    """Return a diagnosis for each table of which no row lies inside the odometry's time."""
    odometry = tables.get(TableName.ODOMETRY)
    if odometry is None or not len(odometry.time_s):
        return []
    span_s = odometry.time_s
    others = [times for name, times in tables.items() if name is not TableName.ODOMETRY and len(times.time_s)]
    return [_no_overlap(times, span_s) for times in others if not _overlap(times.time_s, span_s)]


def _overlap(times_s: FloatArray, span_s: FloatArray) -> bool:
    return bool(np.any((times_s >= np.min(span_s)) & (times_s <= np.max(span_s))))


def _no_overlap(times: TableTimes, span_s: FloatArray) -> Diagnosis:
    first, last, begin, end = (
        float(value) for value in (times.time_s.min(), times.time_s.max(), span_s.min(), span_s.max())
    )
    needed = times.table in (TableName.TAGS, TableName.MARKS, TableName.TRUTH)
    return Diagnosis(
        code=LogFault.NO_OVERLAP,
        severity=Severity.ERROR if needed else Severity.WARNING,
        where=times.file,
        evidence=f"All {len(times.time_s)} rows lie outside the odometry log: they run from {format_clock(first)} to "
        f"{format_clock(last)}, the odometry from {format_clock(begin)} to {format_clock(end)}.",
        meaning=f"The whole table [{times.table}] goes unused, as if it had not been logged.",
        remedy=f"Put both on one clock. If both began at the same moment, add {begin - first:.3f} s to the offset of "
        f"[{times.table}]; if not, find an event that both show.",
        measured=(
            Measured("first", first, dimension=Dimension.TIME),
            Measured("last", last, dimension=Dimension.TIME),
            Measured("odometry_first", begin, dimension=Dimension.TIME),
            Measured("odometry_last", end, dimension=Dimension.TIME),
        ),
    )
