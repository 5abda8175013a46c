"""The tables of the report as texts, without a medium: the terminal and the HTML page draw the same ones."""

import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Literal

from locbench.report.numbers import (
    DEGREES,
    DRIFT_PERCENT,
    MISSING,
    PLAIN,
    SECONDS,
    SHARE_PERCENT,
    DisplayUnit,
    as_sentence,
    error_length,
    floor_length,
    interval_text,
    number_text,
    plain_text,
    with_interval,
)
from locbench.report.wording import against_best_reference
from locbench.results import BandShots, Drift, ErrorSummary, EstimatorResult, PooledEstimator, SessionResult
from locbench.statistics import UncertainNumber
from locbench.units import UnitSystem

__all__ = [
    "Cell",
    "Column",
    "TextTable",
    "corrections_table",
    "drift_table",
    "estimators_table",
    "findings_table",
    "pooled_table",
    "reasons",
    "shots_table",
]


@dataclass(frozen=True)
class Cell:
    """A text, and why there is no number or no interval in it (None if nothing is missing)."""

    text: str
    why: str | None = None


@dataclass(frozen=True)
class Column:
    """A heading, its unit or explanation in a second line, and how its cells are aligned."""

    heading: str
    detail: str = ""
    align: Literal["left", "right"] = "right"


@dataclass(frozen=True)
class TextTable:
    """A table of texts; the first column names the row.

    `left_out` holds place and reason of numbers missing from every row, whose columns are therefore not shown.
    """

    title: str
    columns: tuple[Column, ...]
    rows: tuple[tuple[Cell, ...], ...]
    left_out: tuple[tuple[str, str], ...] = ()


_NOTHING = Cell(MISSING)


def _label(text: str) -> Cell:
    return Cell(plain_text(text))


def _count(value: int | None, why: str | None = None) -> Cell:
    return Cell(MISSING, why) if value is None else Cell(str(value))


def _number(number: UncertainNumber, unit: DisplayUnit) -> Cell:
    return Cell(with_interval(number, unit), number.why)


def _largest(number: UncertainNumber, unit: DisplayUnit) -> Cell:
    """Return an extreme of what was seen: it never has an interval, and its heading says what it is."""
    return Cell(number_text(number.value, unit), number.why if number.value is None else None)


def _without_empty_columns(table: TextTable) -> TextTable:
    """Return the table without columns that say nothing in any row; the reasons they carry are kept aside."""
    kept = [
        index
        for index in range(len(table.columns))
        if index == 0 or any(row[index].text != MISSING for row in table.rows)
    ]
    dropped = [(place, why) for index, place, why in _reasons_in(table) if index not in kept]
    return replace(
        table,
        columns=tuple(table.columns[index] for index in kept),
        rows=tuple(tuple(row[index] for index in kept) for row in table.rows),
        left_out=tuple(dropped),
    )


def _reasons_in(table: TextTable) -> Iterator[tuple[int, str, str]]:
    """Yield number of the column, place in words, and reason of every cell that has one."""
    for row in table.rows:
        for index, (column, cell) in enumerate(zip(table.columns, row, strict=True)):
            if cell.why is not None:
                yield index, f"{row[0].text}, {column.heading}", cell.why


def reasons(tables: Sequence[TextTable], estimators: Mapping[str, EstimatorResult | PooledEstimator]) -> list[str]:
    """Return why numbers or intervals are missing, each reason once, with the first place it applies to.

    Reasons that differ only in their numbers count as one; the first is shown.

    Parameters
    ----------
    tables
        What is shown.
    estimators
        Whose shots may be missing altogether.
    """
    pairs = [(place, why) for table in tables for _, place, why in _reasons_in(table)]
    pairs += [pair for table in tables for pair in table.left_out]
    pairs += [(f"{name}, shots", result.why["shots"]) for name, result in estimators.items() if "shots" in result.why]
    groups: dict[str, list[tuple[str, str]]] = {}
    for place, why in pairs:
        groups.setdefault(re.sub(r"\d+(\.\d+)?", "#", why), []).append((plain_text(place), plain_text(why)))
    return [
        f"{found[0][1]} ({found[0][0]}{f', and {len(found) - 1} more' if len(found) > 1 else ''})"
        for found in groups.values()
    ]


def _error_cells(result: EstimatorResult | PooledEstimator, length: DisplayUnit) -> tuple[Cell, Cell, Cell]:
    """Return RMS at marks, RMS against truth, and heading RMS against the better of both."""
    best = against_best_reference(result)

    def position(summary: ErrorSummary | None, key: str) -> Cell:
        return Cell(MISSING, result.why.get(key)) if summary is None else _number(summary.position_rms_m, length)

    return (
        position(result.marks, "marks"),
        position(result.truth, "truth"),
        _NOTHING if best is None else _number(best.heading_rms_rad, DEGREES),
    )


def _name_cell(name: str, result: EstimatorResult | PooledEstimator) -> Cell:
    """Return the estimator's name, and the share of comparisons it rests on if it had no pose at some."""
    best = against_best_reference(result)
    if best is None or best.coverage > 0.995:
        return _label(name)
    return Cell(f"{plain_text(name)} (covers {number_text(best.coverage, SHARE_PERCENT)} %)")


def _error_columns(length: DisplayUnit) -> tuple[Column, ...]:
    return (
        Column("at marks", f"RMS {length.symbol}"),
        Column("against truth", f"RMS {length.symbol}"),
        Column("heading", "RMS deg"),
    )


def _consistency_cell(result: EstimatorResult) -> Cell:
    consistency = result.consistency
    if consistency is None or consistency.nis_mean.value is None:
        # dead reckoning takes no fixes, so nothing is missing there
        return _NOTHING
    value = number_text(consistency.nis_mean.value, PLAIN)
    if consistency.nis_band95 is None:
        return Cell(f"{value} (n={consistency.nis_mean.n})", consistency.why.get("nis_band95"))
    return Cell(f"{value} ({interval_text(consistency.nis_band95, PLAIN)})")


def estimators_table(session: SessionResult, system: UnitSystem) -> TextTable:
    """Return one row per estimator: errors, drift, fixes, helped and hurt, consistency; empty columns are left out."""
    length = error_length(system)
    rows = []
    for name, result in session.estimators.items():
        fixes = result.corrections
        judged = (
            _NOTHING
            if fixes is None
            else Cell(MISSING, fixes.why.get("helped"))
            if fixes.helped is None or fixes.hurt is None
            else Cell(f"{fixes.helped}/{fixes.hurt}")
        )
        drift = _NOTHING if result.drift is None else _number(result.drift.position_per_metre, DRIFT_PERCENT)
        taken = _NOTHING if fixes is None else Cell(f"{fixes.accepted}/{fixes.offered}")
        errors = _error_cells(result, length)
        rows.append((_name_cell(name, result), *errors, drift, taken, judged, _consistency_cell(result)))
    columns = (
        Column("estimator", align="left"),
        *_error_columns(length),
        Column("drift", "% of path"),
        Column("fixes taken", "/seen"),
        Column("helped", "/hurt"),
        Column("NIS", "(honest)"),
    )
    return _without_empty_columns(TextTable("How far off", columns, tuple(rows)))


def pooled_table(estimators: Mapping[str, PooledEstimator], system: UnitSystem) -> TextTable:
    """Return one row per estimator over all sessions."""
    length = error_length(system)
    rows = tuple(
        (
            _name_cell(name, result),
            _count(result.sessions),
            *_error_cells(result, length),
            _number(result.between_session_std_m, length),
        )
        for name, result in estimators.items()
    )
    columns = (
        Column("estimator", align="left"),
        Column("sessions"),
        *_error_columns(length),
        Column("between sessions", f"std {length.symbol}"),
    )
    return _without_empty_columns(TextTable("How far off, all sessions together", columns, rows))


def shots_table(estimator: str, shots: Sequence[BandShots], system: UnitSystem) -> TextTable:
    """Return one row per band and goal of the shots aimed from one estimator."""
    length, floor = error_length(system), floor_length(system)
    bases = {band.basis for band in shots if band.miss_rms_m.value is not None}
    rows = tuple(
        (
            Cell(f"{plain_text(band.band)} {interval_text((band.from_m, band.to_m), floor)}"),
            _label(band.goal),
            _largest(band.range_m, floor),
            _number(band.miss_rms_m, length),
            _number(band.lateral_rms_m, length),
            _number(band.along_rms_m, length),
            _number(band.hit_probability, SHARE_PERCENT),
            _count(band.miss_rms_m.n),
            _count(band.cannot_aim) if band.cannot_aim else _NOTHING,
            _NOTHING if len(bases) == 1 or band.miss_rms_m.value is None else Cell(band.basis),
        )
        for band in shots
    )
    columns = (
        Column("band", floor.symbol, align="left"),
        Column("goal", align="left"),
        Column("range", f"mean {floor.symbol}"),
        Column("miss", f"RMS {length.symbol}"),
        Column("lateral", f"RMS {length.symbol}"),
        Column("along", f"RMS {length.symbol}"),
        Column("clean hits", "%"),
        Column("n"),
        Column("cannot aim", "places"),
        Column("basis", align="left"),
    )
    title = f"Shots aimed from {plain_text(estimator)}" + (f" ({', '.join(bases)})" if len(bases) == 1 else "")
    return _without_empty_columns(TextTable(title, columns, rows))


def corrections_table(session: SessionResult, system: UnitSystem) -> TextTable:
    """Return one row per estimator that takes fixes: what became of them and how far they moved the pose."""
    length = error_length(system)
    taking = {name: r.corrections for name, r in session.estimators.items() if r.corrections is not None}
    rules = list(dict.fromkeys(rule for fixes in taking.values() for rule in fixes.rejected))
    rows = tuple(
        (
            _label(name),
            _count(fixes.offered),
            _count(fixes.accepted),
            *(_count(fixes.rejected.get(rule, 0)) for rule in rules),
            _count(fixes.helped, fixes.why.get("helped")),
            *(_count(value) for value in (fixes.hurt, fixes.neutral, fixes.undecided)),
            _number(fixes.jump_rms_m, length),
            _largest(fixes.jump_max_m, length),
            _largest(fixes.jump_max_rad, DEGREES),
            Cell(number_text(fixes.longest_without_s, SECONDS)),
        )
        for name, fixes in taking.items()
    )
    columns = (
        Column("estimator", align="left"),
        Column("offered"),
        Column("accepted"),
        *(Column(plain_text(rule), "refused") for rule in rules),
        *(Column(word) for word in ("helped", "hurt", "neutral", "undecided")),
        Column("jump", f"RMS {length.symbol}"),
        Column("jump", f"largest {length.symbol}"),
        Column("turn", "largest deg"),
        Column("without", "longest s"),
    )
    return _without_empty_columns(TextTable("What became of the fixes", columns, rows))


def _drift_cells(drift: Drift, system: UnitSystem) -> tuple[Cell, ...]:
    per_turn = drift.heading_per_turn_rad
    return (
        _largest(drift.segment_length_m, floor_length(system)),
        _number(drift.position_per_metre, DRIFT_PERCENT),
        _number(drift.position_per_minute_m, error_length(system)),
        _number(drift.heading_per_metre_rad, DEGREES),
        _number(per_turn, DEGREES),
    )


def drift_table(session: SessionResult, system: UnitSystem) -> TextTable:
    """Return one row per estimator: error gained over segments between references, per metre, minute and turn."""
    length, floor = error_length(system), floor_length(system)
    rows = tuple(
        (_label(name), *_drift_cells(result.drift, system))
        for name, result in session.estimators.items()
        if result.drift is not None
    )
    columns = (
        Column("estimator", align="left"),
        Column("segment", f"median {floor.symbol}"),
        Column("position", "% of path"),
        Column("position", f"{length.symbol} per min"),
        Column("heading", "deg per m"),
        Column("heading", "deg per turn"),
    )
    return TextTable("Drift over segments between references", columns, rows)


def findings_table(session: SessionResult) -> TextTable:
    """Return one row per problem found in the log."""
    rows = tuple(
        (
            Cell(finding.severity),
            _label(finding.where or MISSING),
            _label(
                as_sentence(finding.message if finding.value is None else f"{finding.message} (found: {finding.value})")
            ),
            _label(as_sentence(finding.remedy) or MISSING),
        )
        for finding in session.findings
    )
    headings = ("severity", "where", "what", "what to do")
    return TextTable("Findings in the log", tuple(Column(heading, align="left") for heading in headings), rows)
