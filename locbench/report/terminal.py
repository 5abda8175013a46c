"""The evaluation in a terminal: the answer first, then the tables. Nothing is told by colour alone."""

import re
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, replace

from rich import box
from rich.console import Console
from rich.measure import Measurement
from rich.padding import Padding
from rich.rule import Rule
from rich.table import Table
from rich.text import Text

from locbench.report.advice import where_to_look_next
from locbench.report.comparison_words import answer, comparison_lines
from locbench.report.judging_tables import aim_table
from locbench.report.layout import estimators_table, findings_table, fixes_table, pooled_table
from locbench.report.numbers import MISSING, plain_text
from locbench.report.residual_tables import residuals_table
from locbench.report.shot_tables import shots_overview
from locbench.report.text_tables import Cell, Column, TextTable, reasons
from locbench.report.wording import session_facts, suspicion
from locbench.results import EstimatorResult, PooledEstimator, Results, SessionResult
from locbench.units import UnitSystem

__all__ = ["print_evaluation", "print_list", "print_table", "wide_enough"]

_LEGEND = (
    'Brackets: 95 % interval; "(n=…)" means no interval can be given. '
    "NIS typical: 1 if the filter is as sure as it is right."
)
# A terminal scrolls; the rest is in the page and in the CSV files.
_MOST_LINES = 12
# Below this the tables do not fit; the terminal may wrap the lines, which loses nothing.
_NARROWEST = 80
_ANY_WIDTH = 100_000


def print_evaluation(results: Results, console: Console, system: UnitSystem) -> None:
    """Print the answer, the tables per session, the findings, and where to look next.

    Parameters
    ----------
    results
        What `locbench evaluate` found.
    console
        Where to print, with or without colour; nothing is drawn narrower than 80 columns.
    system
        Metric or imperial lengths.
    """
    with wide_enough(console):
        console.print(Text(answer(results, system), style="bold"), highlight=False)
        for session in results.sessions:
            _print_session(session, console, system)
        if results.pooled is not None:
            _print_heading("All sessions together", console)
            estimators = results.pooled.estimators
            shots = shots_overview({name: result.shots for name, result in estimators.items()}, system)
            _print_tables([pooled_table(estimators, system), shots], estimators, console)
        print_list("Compared at the same places", comparison_lines(results, system), console, None)
        print_list("Where to look next", where_to_look_next(results, system), console, "Nothing stands out.")


@contextmanager
def wide_enough(console: Console) -> Iterator[None]:
    """Keep the console at a width that tables can be drawn in."""
    width = console.width
    console.width = max(width, _NARROWEST)
    yield
    console.width = width


def _print_session(session: SessionResult, console: Console, system: UnitSystem) -> None:
    _print_heading(plain_text(session.name), console)
    console.print(Text(session_facts(session, system)), highlight=False)
    doubts = suspicion(session)
    if doubts is not None:
        console.print(Text(doubts), highlight=False)
    shots = shots_overview({name: result.shots for name, result in session.estimators.items()}, system)
    estimators, fixes = estimators_table(session, system), fixes_table(session)
    tables = [estimators, fixes, aim_table(session), residuals_table(session, system), shots]
    _print_tables(tables, session.estimators, console)
    if session.findings:
        _print_findings(session, console)


def _print_heading(text: str, console: Console) -> None:
    console.print()
    console.print(Rule(Text(text, style="bold"), align="left", characters="─", style="default"))


def print_table(table: TextTable, console: Console) -> None:
    """Print a table in the most readable form that fits, after an empty line."""
    for part in _fitted(table, console):
        console.print()
        console.print(part, highlight=False)


def _print_tables(
    tables: Sequence[TextTable], estimators: Mapping[str, EstimatorResult | PooledEstimator], console: Console
) -> None:
    for table in tables:
        if table.rows:
            print_table(table, console)
    console.print()
    console.print(Text(_LEGEND, style="italic"), highlight=False)
    print_list("Why numbers or intervals are missing", reasons(tables, estimators), console, None)


@dataclass(frozen=True)
class _Form:
    """How tightly a table is drawn: spaces between columns, longest line of a name, and how numbers are written."""

    gap: int
    longest: int
    written: Callable[[str], str]


def _stacked(text: str) -> str:
    """Return the text with its interval or second count in a line below."""
    counts = re.fullmatch(r"(\d+)/(\d+)", text)
    if counts:
        return f"{counts[1]}\n/{counts[2]}"
    interval = re.fullmatch(r"(.+) \(([^()]+)\)", text)
    return f"{interval[1]}\n{interval[2]}" if interval else text


# From the most readable to the tightest.
_FORMS = (_Form(1, 40, str), _Form(0, 40, str), _Form(1, 40, _stacked), _Form(0, 20, _stacked), _Form(0, 12, _stacked))


def _fitted(table: TextTable, console: Console) -> list[Table]:
    """Return the table in the most readable form that fits, cut into several beside each other's names if none does."""
    anything = console.options.update(max_width=_ANY_WIDTH)
    for form in _FORMS:
        drawn = _rich_table(table, form)
        if Measurement.get(console, anything, drawn).maximum <= console.width:
            return [drawn]
    numbers = [index for index, column in enumerate(table.columns) if column.align == "right"]
    if len(numbers) < 2:
        return [_rich_table(table, _FORMS[-1])]
    half = numbers[len(numbers) // 2]
    names = [index for index in range(len(table.columns)) if index not in numbers]
    left, right = [i for i in numbers if i < half], [i for i in numbers if i >= half]
    return [part for kept in (left, right) for part in _fitted(_columns_of(table, sorted(names + kept)), console)]


def _columns_of(table: TextTable, kept: Sequence[int]) -> TextTable:
    return replace(
        table,
        columns=tuple(table.columns[index] for index in kept),
        rows=tuple(tuple(row[index] for index in kept) for row in table.rows),
    )


def _folded(text: str, longest: int) -> str:
    """Return a name over as many lines as it needs: no letter of it is lost however narrow its column."""
    lines = []
    for line in text.split("\n"):
        rest = line
        while len(rest) > longest:
            # after a blank or an underscore if there is one, so that the parts are still words
            place = max(rest.rfind(" ", 0, longest), rest.rfind("_", 0, longest)) + 1 or longest
            lines.append(rest[:place])
            rest = rest[place:]
        lines.append(rest)
    return "\n".join(line.strip() for line in lines)


def _rich_table(table: TextTable, form: _Form) -> Table:
    drawn = Table(
        title=Text(table.title),
        title_justify="left",
        title_style="bold",
        box=box.SIMPLE_HEAD,
        padding=(0, form.gap, 0, 0),
        show_edge=False,
    )
    for column in table.columns:
        heading = _heading(column, form)
        # what does not fit was folded or moved to another table: broken in the middle a number is read wrongly
        drawn.add_column(Text(heading), justify=column.align, overflow="fold", no_wrap=True)
    for row in table.rows:
        drawn.add_row(*(Text(_cell_text(cell, column, form)) for cell, column in zip(row, table.columns, strict=True)))
    return drawn


def _heading(column: Column, form: _Form) -> str:
    words = column.heading.replace(" ", "\n") if column.align == "right" else column.heading
    heading = _folded(words, form.longest)
    return f"{heading}\n{column.detail}" if column.detail else heading


def _cell_text(cell: Cell, column: Column, form: _Form) -> str:
    text = form.written(cell.text)
    return _folded(text, form.longest) if column.align == "left" else text


def _print_findings(session: SessionResult, console: Console) -> None:
    lines = []
    for severity, where, what, remedy in findings_table(session).rows:
        place = "" if where.text == MISSING else f" {where.text}"
        advice = "" if remedy.text == MISSING else f" {remedy.text}"
        lines.append(f"{severity.text.upper()}{place}: {what.text}{advice}")
    print_list("Findings in the log", lines, console, None)


def print_list(title: str, lines: Sequence[str], console: Console, nothing: str | None) -> None:
    """Print a titled list with a hanging indent, cut if long; without lines `nothing`, or nothing if None."""
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
