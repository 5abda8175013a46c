"""A calibration in a terminal: the answer, the constants, what stays open, the lines to copy, where to look next."""

from collections.abc import Mapping, Sequence
from pathlib import Path

from rich.console import Console
from rich.text import Text

from locbench.config.edits import ChangedFile
from locbench.report.cautions import BEFORE_THE_ROBOT_MOVES
from locbench.report.commands import command, runsheet_command
from locbench.report.copy_block import Copies, copy_names, copy_texts, print_copy_block
from locbench.report.fitted_numbers import SHOWN, decimals_for
from locbench.report.numbers import MISSING, as_sentence, plain_text
from locbench.report.result_folder import write_result_folder
from locbench.report.terminal_pieces import print_list, print_table, wide_enough
from locbench.report.text_tables import Cell, Column, TextTable, label_cell
from locbench.results import Calibration, ParameterRecord, Undetermined, calibration_json

__all__ = ["calibration_headline", "print_calibration", "write_calibration"]

_SURE = 2.0


def calibration_headline(calibration: Calibration) -> str:
    """Return the answer in one sentence."""
    constants = _constants(calibration)
    sure = {name: one for name, one in constants.items() if one.determined}
    moved = {name: one for name, one in sure.items() if _is_moved(one)}
    counted = f"{len(sure)} of {len(constants)} constants determined, {len(moved)} of them not what the files say"
    if moved:
        worst = max(moved, key=lambda name: _times_std(moved[name]))
        counted += f", most surely {plain_text(worst)}: {_shift_words(moved[worst])}"
    return f"{_contradiction(calibration)}{counted}{_gain(calibration)}."


def _contradiction(calibration: Calibration) -> str:
    held_out = calibration.held_out
    if held_out is None or held_out.is_nearer or calibration.uncertainty_factor == 1.0:
        return ""
    several = len(calibration.sessions) > 1
    return "These drives contradict each other: " if several else "Parts of this drive contradict each other: "


def _gain(calibration: Calibration) -> str:
    held_out = calibration.held_out
    if held_out is None:
        return ""
    words = (
        f"; dead reckoning at {held_out.count} references left out of the fit: {1e3 * held_out.before_m:.0f} mm RMS "
        f"before, {1e3 * held_out.after_m:.0f} mm after"
    )
    return words if held_out.is_nearer else f"{words}, no nearer, so leave the odometry as it is"


def _constants(calibration: Calibration) -> dict[str, ParameterRecord]:
    return {name: one for name, one in calibration.parameters.items() if not name.startswith("start.")}


def _times_std(one: ParameterRecord) -> float:
    return abs(one.shift) / one.std if one.std else 0.0


def _is_moved(one: ParameterRecord) -> bool:
    return _times_std(one) > _SURE


def _shift_words(one: ParameterRecord) -> str:
    symbol, factor = SHOWN[one.unit]
    assert one.std is not None
    decimals = decimals_for(one.std / factor)
    unit = f" {symbol}" if symbol else ""
    return f"{one.shift / factor:+z.{decimals}f}{unit} (standard uncertainty {one.std / factor:.{decimals}f})"


def print_calibration(
    calibration: Calibration,
    changed_files: Sequence[ChangedFile],
    places: Sequence[str],
    out: Path | None,
    console: Console,
) -> None:
    """Print the answer, the constants, what stays open, the lines to copy, and where to look next.

    Parameters
    ----------
    calibration
        What `locbench calibrate` found.
    changed_files
        The files with the constants that were determined.
    places
        The sessions as the user named them.
    out
        Where copies of the files with the constants were written, if anywhere.
    console
        Where to print; nothing is drawn narrower than 80 columns.
    """
    with wide_enough(console):
        console.print(Text(calibration_headline(calibration), style="bold"), highlight=False)
        print_table(_table("Constants", _constants(calibration)), console)
        starts = {name: one for name, one in calibration.parameters.items() if name.startswith("start.")}
        print_table(_table("Where the drives began", {k: v for k, v in starts.items() if v.determined}), console)
        print_list("Not determined", [_open(one) for one in calibration.undetermined], console, None)
        print_list("Noted", [*calibration.remarks, *calibration.why.values()], console, None)
        print_copy_block(changed_files, console)
        print_list("Where to look next", _next_steps(calibration, changed_files, places, out), console, None)


def _table(title: str, parameters: Mapping[str, ParameterRecord]) -> TextTable:
    columns = (
        Column("constant", align="left"),
        Column("unit", align="left"),
        Column("in the files"),
        Column("estimate"),
        Column("± std"),
        Column("shift"),
        Column("", "shift / std", align="left"),
    )
    return TextTable(title, columns, tuple(_row(name, one) for name, one in parameters.items()))


def _row(name: str, one: ParameterRecord) -> tuple[Cell, ...]:
    symbol, factor = SHOWN[one.unit]
    label = label_cell(name)
    if one.std is None:
        shown = f"{one.nominal / factor:z.4g}"
        return label, Cell(symbol), Cell(shown), Cell("not determined"), Cell(MISSING), Cell(MISSING), Cell("")
    decimals = decimals_for(one.std / factor)
    return (
        label,
        Cell(symbol),
        Cell(f"{one.nominal / factor:z.{decimals}f}"),
        Cell(f"{one.estimate / factor:z.{decimals}f}"),
        Cell(f"{one.std / factor:.{decimals}f}"),
        Cell(f"{one.shift / factor:+z.{decimals}f}"),
        Cell(f"{_times_std(one):.1f}" + (" moved" if _is_moved(one) else "")),
    )


def _open(one: Undetermined) -> str:
    names = ", ".join(plain_text(name) for name in one.parameters)
    return as_sentence(f"{names}: {one.why}. Next drive: {runsheet_command(one.next_run)}")


def _next_steps(
    calibration: Calibration, changed_files: Sequence[ChangedFile], places: Sequence[str], out: Path | None
) -> list[str]:
    steps = []
    if changed_files:
        copies = "" if out else ", or have copies written: " + command("calibrate", *places, "--out", "FOLDER")
        steps.append(f"Copy the lines above into the files and the robot's program{copies}")
        steps.append(f"Then see what they do to a drive: {command('evaluate', places[0])}")
    if calibration.undetermined:
        kinds = dict.fromkeys(one.next_run for one in calibration.undetermined)
        steps.append(
            f"For what is not determined lay out a drive ({' or '.join(kinds)}) and name both sessions in one command"
        )
        steps.append(BEFORE_THE_ROBOT_MOVES)
    return steps


def write_calibration(calibration: Calibration, changed_files: Sequence[ChangedFile], out: Path) -> list[str]:
    """Write calibration.json, and copies of the files with the constants found, into a folder; return their names.

    Raises
    ------
    OutputError
        If the folder cannot be written, or holds a session or other files of these names.
    """
    texts = {
        "calibration.json": calibration_json(calibration),
        **copy_texts(changed_files, Copies.CALIBRATED),
    }
    return write_result_folder(out, texts, "calibration.json", copy_names(Copies.CALIBRATED))
