"""The evaluation in a terminal: the answer first, then the tables. Nothing is told by colour alone."""

import re
from collections.abc import Mapping, Sequence
from dataclasses import replace

from rich import box
from rich.console import Console
from rich.measure import Measurement
from rich.padding import Padding
from rich.rule import Rule
from rich.table import Table
from rich.text import Text

from locbench.report.advice import where_to_look_next
from locbench.report.layout import (
    TextTable,
    estimators_table,
    findings_table,
    pooled_table,
    reasons,
    shots_table,
)
from locbench.report.numbers import MISSING, floor_length, plain_text, quantity_text
from locbench.report.wording import EVIDENCE, headline
from locbench.results import BandShots, EstimatorResult, PooledEstimator, Results, SessionResult
from locbench.units import UnitSystem

__all__ = ["print_evaluation"]

_LEGEND = (
    'Brackets: 95 % interval; "(n=…)" means no interval can be given. '
    "NIS: mean, and where it lies if the filter is as sure as it is right."
)
# A terminal scrolls; the rest is in the page and in the CSV files.
_MOST_LINES = 12
_ANY_WIDTH = 1000


def print_evaluation(results: Results, console: Console, system: UnitSystem) -> None:
    """Print the answer, the tables per session, the findings, and where to look next.

    Parameters
    ----------
    results
        What `locbench evaluate` found.
    console
        Where to print; any width from 80 columns on, with or without colour.
    system
        Metric or imperial lengths.
    """
    console.print(Text(headline(results, system), style="bold"), highlight=False)
    for session in results.sessions:
        _print_session(session, console, system)
    if results.pooled is not None:
        _print_heading("All sessions together", console)
        tables = [pooled_table(results.pooled.estimators, system)]
        tables += _shot_tables({name: r.shots for name, r in results.pooled.estimators.items()}, system)
        _print_tables(tables, results.pooled.estimators, console)
    _print_list("Where to look next", where_to_look_next(results, system), console, "Nothing stands out.")


def _print_session(session: SessionResult, console: Console, system: UnitSystem) -> None:
    _print_heading(plain_text(session.name), console)
    facts = (
        f"Evidence {session.evidence} ({EVIDENCE[session.evidence]}); {session.duration_s:.0f} s, "
        f"{quantity_text(session.path_length_m, floor_length(system))} driven, "
        f"{session.turns_absolute:.1f} turns"
    )
    console.print(Text(facts), highlight=False)
    tables = [estimators_table(session, system)]
    tables += _shot_tables({name: result.shots for name, result in session.estimators.items()}, system)
    _print_tables(tables, session.estimators, console)
    if session.findings:
        _print_findings(session, console)


def _shot_tables(shots: dict[str, list[BandShots]], system: UnitSystem) -> list[TextTable]:
    return [
        shots_table(name, bands, system)
        for name, bands in shots.items()
        if any(band.miss_rms_m.value is not None or band.cannot_aim for band in bands)
    ]


def _print_heading(text: str, console: Console) -> None:
    console.print()
    console.print(Rule(Text(text, style="bold"), align="left", characters="─", style="default"))


def _print_tables(
    tables: Sequence[TextTable], estimators: Mapping[str, EstimatorResult | PooledEstimator], console: Console
) -> None:
    for table in tables:
        console.print()
        console.print(_fitted(table, console), highlight=False)
    console.print()
    console.print(Text(_LEGEND, style="italic"), highlight=False)
    _print_list("Why numbers or intervals are missing", reasons(tables, estimators), console, None)


def _fitted(table: TextTable, console: Console) -> Table:
    """Return the table with intervals beside their numbers if that fits, else below them."""
    stacked = tuple(tuple(replace(cell, text=_stacked(cell.text)) for cell in row) for row in table.rows)
    narrow = replace(table, rows=stacked)
    anything = console.options.update(max_width=_ANY_WIDTH)
    for content, gap in ((table, 1), (table, 0), (narrow, 1)):
        drawn = _rich_table(content, gap)
        if Measurement.get(console, anything, drawn).maximum <= console.width:
            return drawn
    return _rich_table(narrow, gap=0)


def _stacked(text: str) -> str:
    counts = re.fullmatch(r"(\d+)/(\d+)", text)
    if counts:
        return f"{counts[1]}\n/{counts[2]}"
    interval = re.fullmatch(r"(.+) \(([^()]+)\)", text)
    return f"{interval[1]}\n{interval[2]}" if interval else text


def _rich_table(table: TextTable, gap: int) -> Table:
    """Return the table with that many spaces between columns besides the one of the box."""
    drawn = Table(
        title=Text(table.title),
        title_justify="left",
        title_style="bold",
        box=box.SIMPLE_HEAD,
        padding=(0, gap, 0, 0),
        show_edge=False,
    )
    for column in table.columns:
        heading = "\n".join(re.split(r"[ /]", column.heading) if column.align == "right" else [column.heading])
        drawn.add_column(
            Text(f"{heading}\n{column.detail}" if column.detail else heading),
            justify=column.align,
            overflow="fold",
            # only names give way: a number that breaks in the middle is read wrongly
            no_wrap=column.align == "right",
        )
    for row in table.rows:
        drawn.add_row(*(Text(cell.text) for cell in row))
    return drawn


def _print_findings(session: SessionResult, console: Console) -> None:
    lines = []
    for severity, where, what, remedy in findings_table(session).rows:
        place = "" if where.text == MISSING else f" {where.text}"
        advice = "" if remedy.text == MISSING else f" {remedy.text}"
        lines.append(f"{severity.text.upper()}{place}: {what.text}{advice}")
    _print_list("Findings in the log", lines, console, None)


def _print_list(title: str, lines: Sequence[str], console: Console, nothing: str | None) -> None:
    """Print a titled list with a hanging indent; without lines print `nothing`, or leave it out if that is None."""
    if not lines and nothing is None:
        return
    console.print()
    console.print(Text(title, style="bold"), highlight=False)
    shown = list(lines) if len(lines) <= _MOST_LINES + 1 else [*lines[: _MOST_LINES - 1], lines[-1]]
    for line in shown or [nothing or ""]:
        grid = Table.grid(padding=(0, 1, 0, 0))
        grid.add_column(width=1)
        grid.add_column(overflow="fold")
        grid.add_row(Text("-"), Text(line))
        console.print(Padding(grid, (0, 0, 0, 1)), highlight=False)
    if len(shown) < len(lines):
        console.print(Text(f"  and {len(lines) - len(shown)} more; the HTML report has all of them"), highlight=False)
