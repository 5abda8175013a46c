"""A pre-event check on one screen: the verdict, the figures worst first, what to do."""

from collections.abc import Sequence
from pathlib import Path

from rich.console import Console
from rich.text import Text

from locbench.errors import ConfigError, OutputError
from locbench.files import staged_directory
from locbench.precheck.judging import Overall
from locbench.report.cautions import BEFORE_THE_ROBOT_MOVES
from locbench.report.commands import command, runsheet_command
from locbench.report.fitted_numbers import decimals_for
from locbench.report.numbers import MISSING, as_sentence, plain_text
from locbench.report.precheck_trends import trends_svg
from locbench.report.result_folder import write_result_folder
from locbench.report.terminal_pieces import print_list, print_table, wide_enough
from locbench.report.text_tables import Cell, Column, TextTable, label_cell
from locbench.results import HistoryEntry, Precheck, PrecheckLine, SavedDay, Watched, history_with, precheck_json
from locbench.statistics import Conformity

__all__ = ["add_to_history", "precheck_headline", "print_precheck", "print_saved", "write_precheck", "write_text"]

_SURE = 2.0
_DAYS = 30.0
_UNIT_SHOWN = {"1": "", "per minute": "/min"}


def precheck_headline(check: Precheck) -> str:
    """Return the verdict in one sentence."""
    lines = [one for one in check.lines if one.verdict is not None]
    passed, failed = (sum(one.verdict is verdict for one in lines) for verdict in (Conformity.PASS, Conformity.FAIL))
    watched = sum(_only_watched(one) for one in lines)
    unsure = len(lines) - passed - failed - watched
    name, baseline = plain_text(check.session), plain_text(check.baseline)
    total = (
        f'of {len(lines)} figures of "{name}" {_counted(failed, "fails", "fail")}, '
        f"{_counted(unsure, 'is undecided', 'are undecided')}, {_counted(passed, 'passes', 'pass')}"
    )
    if watched:
        total += f", {_counted(watched, 'is', 'are')} too unsure to pass and only watched"
    if len(check.lines) > len(lines):
        total += f", {len(check.lines) - len(lines)} more not judged"
    against = f'against "{baseline}" of {plain_text(check.baseline_saved)}'
    match check.verdict:
        case Overall.FAIL:
            worst = next(one for one in check.lines if one.verdict is Conformity.FAIL)
            return f"FAIL {against}: {total}; the worst: {plain_text(worst.name)} {_change_words(worst)}."
        case Overall.UNDECIDED if not lines:
            return f'UNDECIDED {against}: none of the figures of "{name}" could be judged, see below why.'
        case Overall.UNDECIDED:
            runs = ", ".join(check.next_runs)
            return f"UNDECIDED {against}: {total}; one more lap of kind {runs or 'tour'}."
        case Overall.PASS:
            return f"PASS {against}: {total}."


def _counted(number: int, one: str, several: str) -> str:
    return f"{number} {one if number == 1 else several}"


def _only_watched(one: PrecheckLine) -> bool:
    return one.verdict is Conformity.UNDECIDED and one.next_run is None


def _change_words(one: PrecheckLine) -> str:
    if one.change is None or one.change_std is None:
        return "is not determined"
    decimals = decimals_for(one.change_std)
    unit = "" if one.unit == "1" else f" {one.unit}"
    limit = one.most_change if one.change > 0.0 else one.least_change
    allowed = "" if limit is None else f", {_limit(limit, decimals)}{unit} allowed"
    return f"changed by {one.change:+z.{decimals}f}{unit} (standard uncertainty {one.change_std:.{decimals}f}){allowed}"


def print_precheck(check: Precheck, place: str, console: Console) -> None:
    """Print the verdict, the figures worst first, causes and actions, and where to look next.

    Parameters
    ----------
    check
        What `locbench precheck` found.
    place
        The session as the user named it.
    console
        Where to print; nothing is drawn narrower than 80 columns.
    """
    with wide_enough(console):
        console.print(Text(precheck_headline(check), style="bold"), highlight=False)
        print_table(_table([one for one in check.lines if one.verdict is not None]), console)
        print_list("Failed", [_failed(one) for one in check.lines if one.verdict is Conformity.FAIL], console, None)
        print_list("Trends", [_trend(check, name) for name in _clear_trends(check)], console, None)
        print_list("Noted", [*_not_determined(check), *_not_judged(check), *check.remarks], console, None)
        print_list("Where to look next", _next_steps(check, place), console, None)


def _not_determined(check: Precheck) -> list[str]:
    alike: dict[str, list[str]] = {}
    for one in check.lines:
        if one.why:
            lap = "" if one.next_run is None else f"; drive a lap of kind {one.next_run}"
            alike.setdefault(f"{one.why}{lap}", []).append(plain_text(one.name))
    return [f"{', '.join(names)}: {why}" for why, names in alike.items()]


def _not_judged(check: Precheck) -> list[str]:
    # of the others today's drive says why
    left = [one for one in check.lines if one.verdict is None and one.why is None]
    reasons = {
        "for the baseline lacks them": [one for one in left if one.baseline is None],
        "for the baseline sets no limit": [one for one in left if one.baseline is not None],
    }
    return [
        f"Not judged, {why}: {', '.join(plain_text(one.name) for one in lines)}"
        for why, lines in reasons.items()
        if lines
    ]


def _table(lines: Sequence[PrecheckLine]) -> TextTable:
    """Return the table; a row fits one line of 80 columns, so the baseline's own numbers stay in its file."""
    columns = (
        Column("verdict", align="left"),
        Column("figure", align="left"),
        Column("unit", align="left"),
        Column("today"),
        Column("change"),
        Column("±\N{NO-BREAK SPACE}std"),
        Column("allowed", align="left"),
    )
    return TextTable("Figures, the worst first", columns, tuple(_row(one) for one in lines))


def _row(one: PrecheckLine) -> tuple[Cell, ...]:
    verdict = "watched" if _only_watched(one) else "" if one.verdict is None else one.verdict.value
    decimals = decimals_for(one.change_std if one.change_std else one.std or one.baseline_std or 1.0)

    def number(value: float | None, sign: str = "") -> Cell:
        return Cell(MISSING) if value is None else Cell(f"{value:{sign}z.{decimals}f}")

    return (
        Cell(verdict if verdict != "fail" else "FAIL"),
        label_cell(one.name),
        Cell(_UNIT_SHOWN.get(one.unit, one.unit)),
        number(one.value),
        number(one.change, "+"),
        number(one.change_std),
        Cell(_allowed(one, decimals)),
    )


def _allowed(one: PrecheckLine, decimals: int) -> str:
    low, high = one.least_change, one.most_change
    if low is None:
        return "any" if high is None else f"≤ {_limit(high, decimals)}"
    if high is None:
        return f"≥ {_limit(low, decimals)}"
    if low == -high:
        return f"±{_limit(high, decimals).removeprefix('+')}"
    return f"{_limit(low, decimals)} to {_limit(high, decimals)}"


def _limit(value: float, decimals: int) -> str:
    """Return a limit with its sign, never rounded to nothing."""
    text = f"{value:+z.{decimals}f}"
    return text if float(text) or not value else f"{value:+.1g}"


def _failed(one: PrecheckLine) -> str:
    return (
        f"{plain_text(one.name)} {_change_words(one)}. Likely: {as_sentence(one.cause or 'unknown')} "
        f"{as_sentence(one.action or 'Look at it by hand')}"
    )


def _clear_trends(check: Precheck) -> list[str]:
    return [one.name for one in check.trends if abs(one.slope_per_30_days) > _SURE * one.std]


def _trend(check: Precheck, name: str) -> str:
    one = next(trend for trend in check.trends if trend.name == name)
    unit = "" if one.unit == "1" else f" {one.unit}"
    days = min(_DAYS, one.days)
    moved, std = (number * days / _DAYS for number in (one.slope_per_30_days, one.std))
    decimals = decimals_for(std)
    return (
        f"{plain_text(name)} moves by {moved:+z.{decimals}f}{unit} in {days:.2g} days (standard uncertainty "
        f"{std:.{decimals}f}, {one.checks} checks)"
    )


def _next_steps(check: Precheck, place: str) -> list[str]:
    steps = []
    if check.verdict is Overall.FAIL:
        steps.append(f"Today's constants, ready to copy into the robot: {command('calibrate', place)}")
        steps.append("Mend what failed, the uppermost first, and drive the check again")
        steps.append(
            "If a part was changed on purpose: with its new constants in the robot, save a new baseline, "
            f"{command('precheck', place, '--save', 'NEW.toml')}; this one knows the old part and keeps failing"
        )
    if check.next_runs and check.verdict is not Overall.PASS:
        steps.append(f"What is undecided needs one more lap: {_runsheets(check.next_runs)}")
    if check.verdict is not Overall.PASS:
        steps.append(BEFORE_THE_ROBOT_MOVES)
    return steps


def _runsheets(kinds: Sequence[str]) -> str:
    return ", the same with ".join([runsheet_command(kinds[0]), *(f"--kind {kind}" for kind in kinds[1:])])


def print_saved(day: SavedDay, place: str, console: Console) -> None:
    """Print which figures a baseline decides, and which it only watches and why.

    Parameters
    ----------
    day
        The baseline.
    place
        Its file as the user named it.
    console
        Where to print; nothing is drawn narrower than 80 columns.
    """
    runs = list(dict.fromkeys(one.next_run for one in day.watched))
    with wide_enough(console):
        total = len(day.deciding) + len(day.watched)
        headline = f"Saved {total} figures to {plain_text(place)}: {len(day.deciding)} decide"
        headline += f", {len(day.watched)} are only watched." if day.watched else "."
        console.print(Text(headline, style="bold"), highlight=False)
        title = "Only watched: they fail where they plainly fail, but such drives are not sure enough to pass them"
        print_list(title, [_watched(one) for one in day.watched], console, None)
        print_list("Noted", day.remarks, console, None)
        steps = ["Read the file once: how far each figure may change is yours to set"]
        if runs:
            steps.append(f"A drive that is surer: {_runsheets(runs)}")
            steps.append(BEFORE_THE_ROBOT_MOVES)
        print_list("Where to look next", steps, console, None)


def _watched(one: Watched) -> str:
    decimals = decimals_for(min(one.std - one.needed_std, one.needed_std))
    unit = "" if one.unit == "1" else f" {one.unit}"
    return (
        f"{plain_text(one.name)}: standard uncertainty {one.std:.{decimals}f}{unit}, at most "
        f"{one.needed_std:.{decimals}f}{unit} needed; kind {one.next_run} is surer"
    )


def write_precheck(check: Precheck, history: Sequence[HistoryEntry], out: Path) -> list[str]:
    """Write precheck.json and the picture of the trends into a folder; return their names.

    Raises
    ------
    OutputError
        If the folder cannot be written, or holds a session or other files of these names.
    """
    texts = {"precheck.json": precheck_json(check), "trends.svg": trends_svg(check, history)}
    return write_result_folder(out, texts, "precheck.json")


def add_to_history(added: Sequence[HistoryEntry], path: Path) -> None:
    """Add rows to a history, read again just before, for another check may have added its own; a kill leaves it whole.

    Raises
    ------
    ConfigError, OutputError
        If something else is there by now, or it cannot be written.
    """
    write_text(history_with(path, added), path)


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
