"""What terminal output is put together from: headings, tables fitted to the width, lists. Nothing by colour alone."""

import re
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, replace

from rich import box
from rich.console import Console
from rich.measure import Measurement
from rich.padding import Padding
from rich.rule import Rule
from rich.table import Table
from rich.text import Text

from locbench.report.text_tables import Cell, Column, TextTable

__all__ = ["print_heading", "print_list", "print_table", "print_table_and_note", "wide_enough"]

# A terminal scrolls; the rest is in the page and in the CSV files.
_MOST_LINES = 12
# Below this the tables do not fit; the terminal may wrap the lines, which loses nothing.
_NARROWEST = 80
_ANY_WIDTH = 100_000
_WORD_ENDS = re.compile(r"[ _]|\.(?=[^\W\d])")


@contextmanager
def wide_enough(console: Console) -> Iterator[None]:
    """Draw nothing narrower than 80 columns inside the block."""
    width = console.width
    console.width = max(width, _NARROWEST)
    yield
    console.width = width


def print_heading(text: str, console: Console) -> None:
    """Print a heading over a rule."""
    console.print()
    console.print(Rule(Text(text, style="bold"), align="left", characters="─", style="default"))


def print_table(table: TextTable, console: Console) -> None:
    """Print the table as it fits the console's width, cut into several if need be; nothing without rows."""
    for part in _fitted(table, console) if table.rows else []:
        console.print()
        console.print(part, highlight=False)


def print_table_and_note(table: TextTable, console: Console) -> None:
    """Print the table, and below it what its note says; nothing without rows."""
    print_table(table, console)
    if table.rows and table.note:
        console.print(Text(table.note), highlight=False)


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
            # after a blank, an underscore or a dot of a name if there is one, so that the parts are still words
            ends = [found.end() for found in _WORD_ENDS.finditer(rest, 0, longest + 1) if found.end() <= longest]
            place = ends[-1] if ends else longest
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


def print_list(
    title: str, lines: Sequence[str], console: Console, nothing: str | None, all_of_them: str = "the HTML report"
) -> None:
    """Print a titled list with a hanging indent; without lines print `nothing`, or leave it out if that is None.

    A long list is cut, and its last line says where `all_of_them` are.
    """
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
        console.print(Text(f"  and {len(lines) - len(shown)} more; {all_of_them} has all of them"), highlight=False)
