"""A pre-event check on one screen: the verdict, the figures worst first, what to do."""

from collections.abc import Sequence
from pathlib import Path

from rich.console import Console
from rich.text import Text

from locbench.errors import ConfigError, OutputError
from locbench.files import staged_directory
from locbench.precheck.judging import Overall
from locbench.report.commands import command
from locbench.report.fitted_numbers import decimals_for
from locbench.report.numbers import MISSING, as_sentence, plain_text
from locbench.report.precheck_trends import trends_svg
from locbench.report.result_folder import write_result_folder
from locbench.report.terminal_pieces import print_list, print_table, wide_enough
from locbench.report.text_tables import Cell, Column, TextTable, label_cell
from locbench.results import HistoryEntry, Precheck, PrecheckLine, history_text, precheck_json
from locbench.statistics import Conformity

__all__ = ["precheck_headline", "print_precheck", "write_history", "write_precheck", "write_text"]

_CAUTIONS = (
    "before the robot moves: eye protection on, floor clear of people, wheels off the ground on blocks for the first "
    "try, one person at the stop button; the event's rules and the responsible adult decide"
)
_SURE = 2.0


def precheck_headline(check: Precheck) -> str:
    """Return the verdict in one sentence."""
    counted = [sum(one.verdict is verdict for one in check.lines) for verdict in Conformity]
    passed, failed, unsure = counted
    name, baseline = plain_text(check.session), plain_text(check.baseline)
    total = f'{failed} of {sum(counted)} figures of "{name}" fail, {unsure} are undecided, {passed} pass'
    against = f'against "{baseline}" of {plain_text(check.baseline_saved)}'
    match check.verdict:
        case Overall.FAIL:
            worst = next(one for one in check.lines if one.verdict is Conformity.FAIL)
            return f"FAIL {against}: {total}; the worst: {plain_text(worst.name)} {_change_words(worst)}."
        case Overall.UNDECIDED:
            runs = ", ".join(check.next_runs)
            return f"UNDECIDED {against}: {total}; one more lap of kind {runs or 'tour'}."
        case Overall.PASS:
            return f"PASS {against}: {total}."


def _change_words(one: PrecheckLine) -> str:
    if one.change is None or one.change_std is None:
        return "is not determined"
    decimals = decimals_for(one.change_std)
    unit = "" if one.unit == "1" else f" {one.unit}"
    limit = one.most_change if one.change > 0.0 else one.least_change
    allowed = "" if limit is None else f", {limit:+.{decimals}f}{unit} allowed"
    return f"changed by {one.change:+.{decimals}f}{unit} (standard uncertainty {one.change_std:.{decimals}f}){allowed}"


def print_precheck(check: Precheck, place: str, baseline: str, console: Console) -> None:
    """Print the verdict, the figures worst first, causes and actions, and where to look next.

    Parameters
    ----------
    check
        What `locbench precheck` found.
    place, baseline
        The session and the baseline file as the user named them.
    console
        Where to print; nothing is drawn narrower than 80 columns.
    """
    with wide_enough(console):
        console.print(Text(precheck_headline(check), style="bold"), highlight=False)
        print_table(_table(check.lines), console)
        print_list("Failed", [_failed(one) for one in check.lines if one.verdict is Conformity.FAIL], console, None)
        print_list("Trends", [_trend(check, name) for name in _clear_trends(check)], console, None)
        missing = [f"{plain_text(one.name)}: {one.why}" for one in check.lines if one.why]
        print_list("Noted", [*missing, *check.remarks], console, None)
        print_list("Where to look next", _next_steps(check, place, baseline), console, None)


def _table(lines: Sequence[PrecheckLine]) -> TextTable:
    columns = (
        Column("verdict", align="left"),
        Column("figure", align="left"),
        Column("unit", align="left"),
        Column("baseline"),
        Column("today"),
        Column("change"),
        Column("± std"),
        Column("allowed", align="left"),
    )
    return TextTable("Figures, the worst first", columns, tuple(_row(one) for one in lines))


def _row(one: PrecheckLine) -> tuple[Cell, ...]:
    verdict = "new" if one.verdict is None else one.verdict.value
    decimals = decimals_for(one.change_std if one.change_std else one.std or one.baseline_std or 1.0)

    def number(value: float | None, sign: str = "") -> Cell:
        return Cell(MISSING) if value is None else Cell(f"{value:{sign}.{decimals}f}")

    return (
        Cell(verdict if verdict != "fail" else "FAIL"),
        label_cell(one.name),
        Cell("" if one.unit == "1" else one.unit),
        number(one.baseline),
        number(one.value),
        number(one.change, "+"),
        number(one.change_std),
        Cell(_allowed(one, decimals)),
    )


def _allowed(one: PrecheckLine, decimals: int) -> str:
    low, high = one.least_change, one.most_change
    if low is None and high is None:
        return "" if one.baseline is None else "any"
    if low is None:
        return f"up to {high:+.{decimals}f}"
    if high is None:
        return f"down to {low:+.{decimals}f}"
    return f"±{high:.{decimals}f}" if low == -high else f"{low:+.{decimals}f} to {high:+.{decimals}f}"


def _failed(one: PrecheckLine) -> str:
    return (
        f"{plain_text(one.name)} {_change_words(one)}. Likely: {as_sentence(one.cause or 'unknown')} "
        f"{as_sentence(one.action or 'Look at it by hand')}"
    )


def _clear_trends(check: Precheck) -> list[str]:
    return [one.name for one in check.trends if abs(one.slope_per_30_days) > _SURE * one.std]


def _trend(check: Precheck, name: str) -> str:
    one = next(trend for trend in check.trends if trend.name == name)
    decimals = decimals_for(one.std)
    unit = "" if one.unit == "1" else f" {one.unit}"
    return (
        f"{plain_text(name)} moves by {one.slope_per_30_days:+.{decimals}f}{unit} in 30 days (standard uncertainty "
        f"{one.std:.{decimals}f}, {one.checks} checks)"
    )


def _next_steps(check: Precheck, place: str, baseline: str) -> list[str]:
    steps = []
    if check.verdict is Overall.FAIL:
        steps.append(f"Today's constants, ready to copy into the robot: {command('calibrate', place)}")
        steps.append("Mend what failed, the uppermost first, and drive the check again; " + _CAUTIONS)
    if check.next_runs and check.verdict is not Overall.PASS:
        runs = " and ".join(command("runsheet", "--kind", run) for run in check.next_runs)
        steps.append(f"What is undecided needs one more lap: {runs}; {_CAUTIONS}")
    if check.verdict is Overall.PASS:
        steps.append(f"A new baseline, where this is the better day: {command('precheck', place, '--save', baseline)}")
    return steps


def write_precheck(check: Precheck, history: Sequence[HistoryEntry], out: Path) -> list[str]:
    """Write precheck.json and the picture of the trends into a folder; return their names.

    Raises
    ------
    OutputError
        If the folder cannot be written, or holds a session or other files of these names.
    """
    texts = {"precheck.json": precheck_json(check), "trends.svg": trends_svg(check, history)}
    return write_result_folder(out, texts, "precheck.json")


def write_history(history: Sequence[HistoryEntry], path: Path) -> None:
    """Write the whole history anew, the rows of this check at its end; a kill leaves the old one whole.

    Raises
    ------
    OutputError
        If it cannot be written.
    """
    write_text(history_text(history), path)


def write_text(text: str, path: Path) -> None:
    """Write one file beside its place and rename it.

    Raises
    ------
    OutputError
        If it cannot be written, or its place is a folder.
    """
    if path.is_dir():
        raise OutputError("this is a folder", where=str(path), remedy="Name a file in it")
    try:
        with staged_directory(path.parent) as stage:
            (stage / path.name).write_text(text, encoding="utf-8", newline="")
    except ValueError as error:
        raise ConfigError("no file can be called so", where=str(path), remedy="Choose another name") from error
