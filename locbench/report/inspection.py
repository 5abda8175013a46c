"""An inspection in a terminal: the answer, what was found worst first, the lines to write, the tables' rates."""

from collections.abc import Sequence
from pathlib import Path

from rich.console import Console
from rich.padding import Padding
from rich.table import Table
from rich.text import Text

from locbench.config.edits import ChangedFile
from locbench.report.commands import command
from locbench.report.copy_block import Copies, copy_names, copy_texts, print_copy_block
from locbench.report.numbers import (
    MISSING,
    PLAIN,
    SECONDS,
    SHARE_PERCENT,
    as_sentence,
    number_text,
    plain_text,
    quantity_text,
)
from locbench.report.result_folder import write_result_folder
from locbench.report.terminal_pieces import print_heading, print_list, print_table, wide_enough
from locbench.report.text_tables import NOTHING, Cell, Column, TextTable, count_cell, label_cell
from locbench.results import ChangeRecord, DiagnosisRecord, Inspection, TableRecord, TagViewRecord, inspection_json

__all__ = ["inspection_headline", "print_inspection", "write_inspection"]

_EVIDENCE = {"A": "dense truth", "B": "surveyed marks", "C": "tags only", "D": "nothing to compare with"}
_SEVERITIES = ("error", "warning", "note")


def inspection_headline(inspection: Inspection) -> str:
    """Return the answer in one sentence."""
    name = plain_text(inspection.session)
    counted = _counts(inspection.diagnoses)
    if inspection.evidence is None:
        return f'"{name}" cannot be used: {counted}.'
    worst = next((found for found in inspection.diagnoses if found.severity != "note"), None)
    if worst is None:
        notes = f" ({counted})" if counted else ""
        return f'Nothing wrong found in "{name}"{notes}.'
    return f'{counted} in "{name}"; the worst: {_title(worst)}: {as_sentence(worst.evidence)}'


def _counts(found: Sequence[DiagnosisRecord]) -> str:
    """Return "2 errors, 1 warning"; notes are counted only where there is nothing else."""
    numbers = {severity: sum(one.severity == severity for one in found) for severity in _SEVERITIES}
    shown = [severity for severity in _SEVERITIES[:2] if numbers[severity]] or ["note"]
    return ", ".join(
        f"{numbers[severity]} {severity}{'s' if numbers[severity] > 1 else ''}"
        for severity in shown
        if numbers[severity]
    )


def _title(found: DiagnosisRecord) -> str:
    return plain_text(found.code).replace("_", " ")


def print_inspection(
    inspection: Inspection, changed_files: Sequence[ChangedFile], place: str, console: Console
) -> None:
    """Print the answer, what was found, the changes that mend it, the tables' rates, and where to look next.

    Parameters
    ----------
    inspection
        What `locbench inspect` found.
    changed_files
        The files with the changes that it proposes.
    place
        The session as the user named it, for the commands to run next.
    console
        Where to print; nothing is drawn narrower than 80 columns.
    """
    with wide_enough(console):
        console.print(Text(inspection_headline(inspection), style="bold"), highlight=False)
        _print_facts(inspection, console)
        told, noted = _told_and_noted(inspection.diagnoses)
        if told:
            print_table(_overview(inspection.diagnoses), console)
        for found in told:
            _print_diagnosis(found, console)
        print_list("Noted", [_note(found) for found in noted], console, None, command("inspect", place, "--json"))
        print_copy_block(changed_files, console)
        print_table(_rates(inspection.tables), console)
        print_list("Where to look next", _next_steps(inspection, changed_files, place), console, None)


def write_inspection(inspection: Inspection, changed_files: Sequence[ChangedFile], out: Path) -> list[str]:
    """Write inspect.json, and copies of the files with the changes made, into a folder; return their names.

    Raises
    ------
    OutputError
        If the folder cannot be written, or holds a session or other files of these names.
    """
    texts = {"inspect.json": inspection_json(inspection), **copy_texts(changed_files, Copies.CORRECTED)}
    return write_result_folder(out, texts, "inspect.json", copy_names(Copies.CORRECTED))


def _print_facts(inspection: Inspection, console: Console) -> None:
    facts = []
    if inspection.evidence is not None:
        facts.append(f"Evidence {inspection.evidence} ({_EVIDENCE[inspection.evidence]})")
        facts.append(f"{quantity_text(inspection.duration_s, SECONDS)} of odometry")
    if inspection.tag_view is not None:
        facts.append(_view_words(inspection.tag_view))
    if facts:
        console.print(Text("; ".join(facts) + "."), highlight=False)


def _view_words(view: TagViewRecord) -> str:
    return (
        f"a tag in view {quantity_text(view.share_of_time, SHARE_PERCENT)} of the time, "
        f"{quantity_text(view.longest_without_s, SECONDS)} without one at most"
    )


def _told_and_noted(found: Sequence[DiagnosisRecord]) -> tuple[list[DiagnosisRecord], list[DiagnosisRecord]]:
    """Return what needs something to be done, told in full, and plain facts, noted in a line each."""
    told = [one for one in found if one.severity != "note" or one.changes]
    return told, [one for one in found if one not in told]


def _note(found: DiagnosisRecord) -> str:
    place = f" ({plain_text(found.where)})" if found.where else ""
    return f"{_title(found)}{place}: {as_sentence(found.evidence)}"


def _overview(found: Sequence[DiagnosisRecord]) -> TextTable:
    rows = tuple((Cell(one.severity), label_cell(_title(one)), label_cell(one.where or MISSING)) for one in found)
    columns = tuple(Column(heading, align="left") for heading in ("severity", "what", "where"))
    return TextTable("What was found", columns, rows)


def _print_diagnosis(found: DiagnosisRecord, console: Console) -> None:
    place = f": {plain_text(found.where)}" if found.where else ""
    print_heading(f"{found.severity.upper()} {_title(found)}{place}", console)
    grid = Table.grid(padding=(0, 1, 0, 0))
    grid.add_column(no_wrap=True)
    grid.add_column(overflow="fold")
    for word, text in (("seen", found.evidence), ("means", found.meaning), ("do", found.remedy)):
        grid.add_row(Text(word), Text(as_sentence(text)))
    for (file, line), keys in _keys_by_line(found.changes).items():
        grid.add_row(Text("write"), Text(plain_text(f"in {file}, {', '.join(keys)}:")))
        grid.add_row(Text(""), Text(plain_text(line)))
    console.print(Padding(grid, (0, 0, 0, 1)), highlight=False)


def _keys_by_line(changes: Sequence[ChangeRecord]) -> dict[tuple[str, str], list[str]]:
    """Return the keys that each line of a file changes: two keys inside one inline table are one line to write."""
    keys: dict[tuple[str, str], list[str]] = {}
    for change in changes:
        keys.setdefault((change.file, change.line), []).append(change.key)
    return keys


def _rates(tables: Sequence[TableRecord]) -> TextTable:
    rows = tuple(
        (
            label_cell(f"[{table.table}]"),
            label_cell(table.file),
            count_cell(table.rows),
            Cell(number_text(table.rate_hz, PLAIN)),
            Cell(number_text(table.longest_gap_s, PLAIN)),
            _clock_cell(table.first_s),
            _clock_cell(table.last_s),
        )
        for table in tables
    )
    columns = (
        Column("table", align="left"),
        Column("file", align="left"),
        Column("rows"),
        Column("rate", "Hz"),
        Column("longest gap", "s"),
        Column("first", "s"),
        Column("last", "s"),
    )
    return TextTable("Tables of the log", columns, rows)


def _clock_cell(time_s: float | None) -> Cell:
    # clocks that began long ago differ in digits that a short number would not have
    return NOTHING if time_s is None else Cell(f"{time_s:.2f}")


def _next_steps(inspection: Inspection, changed_files: Sequence[ChangedFile], place: str) -> list[str]:
    steps = []
    if changed_files:
        steps.append(
            "Write these lines into your files, or have copies of them written with the changes made: "
            + command("inspect", place, "--out", "FOLDER")
        )
    worst = inspection.diagnoses[0].severity if inspection.diagnoses else "note"
    if worst == "error":
        steps.append(f"Mend the errors first, the uppermost first, and look again: {command('inspect', place)}")
    elif worst == "warning":
        evaluating = command("evaluate", place)
        steps.append(f"Mend what can be mended; the rest stays in mind when reading: {evaluating}")
    else:
        steps.append(command("evaluate", place))
    return steps
