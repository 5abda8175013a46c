"""The run sheet in a terminal: the answer first, then what to lay out, log, drive and write down."""

from collections.abc import Sequence

from rich.console import Console
from rich.table import Table
from rich.text import Text

from locbench.report.runsheet_words import BLANKS, sheet_words
from locbench.report.terminal_pieces import print_table, print_table_and_note, wide_enough
from locbench.runsheet.sheet import RunSheet
from locbench.units import UnitSystem

__all__ = ["print_runsheet"]


def print_runsheet(sheet: RunSheet, console: Console, system: UnitSystem) -> None:
    """Print everything that the page says; the field file's lines come last, unindented, to be copied.

    Parameters
    ----------
    sheet
        What to lay out and drive.
    console
        Where to print; nothing is drawn narrower than 80 columns.
    system
        Metric or imperial lengths.
    """
    words = sheet_words(sheet, system)
    with wide_enough(console):
        _print(console, f"{words.title}: {words.answer}", "bold")
        _print(console, f"Caution. {words.caution}")
        print_table(words.marks, console)
        _print_lines(console, words.layout_notes)
        print_table_and_note(words.expected, console)
        print_table(words.log, console)
        _print_lines(console, words.log_notes)
        console.print()
        for line in words.loop:
            _print(console, f"    {line}")
        _print_heading(console, "What to drive and press")
        _print(console, words.begin)
        for part in words.parts:
            console.print()
            _print(console, part.title)
            for number, step in enumerate(part.steps, start=part.first):
                _print_step(console, number, step)
        console.print()
        _print(console, words.end)
        _print_heading(console, "To write down")
        _print(console, "; ".join(BLANKS) + "; for each lap the battery, the time of each press, remarks.")
        _print_heading(console, "Afterwards")
        _print_lines(console, words.afterwards)
        _print_heading(console, words.toml_note)
        for line in words.toml:
            # not wrapped: it is copied
            console.print(Text(line), highlight=False, soft_wrap=True)


def _print_heading(console: Console, text: str) -> None:
    console.print()
    _print(console, text, "bold")


def _print_step(console: Console, number: int, step: str) -> None:
    """Print a step with a hanging indent: a number at the left edge is a step, nothing else."""
    drawn = Table.grid(padding=(0, 1, 0, 0))
    drawn.add_column(justify="right", no_wrap=True, min_width=4)
    drawn.add_column(overflow="fold")
    drawn.add_row(Text(f"{number}."), Text(step))
    console.print(drawn, highlight=False)


def _print_lines(console: Console, lines: Sequence[str]) -> None:
    for line in lines:
        _print(console, line)


def _print(console: Console, text: str, style: str = "") -> None:
    console.print(Text(text, style=style), highlight=False)
