"""Slips in a terminal: the answer, what can be told, events, what they were if it was each sensor, pods."""

import re
from collections.abc import Sequence
from pathlib import Path

from rich.console import Console
from rich.text import Text

from locbench.report.cautions import BEFORE_THE_ROBOT_MOVES
from locbench.report.commands import command, runsheet_command
from locbench.report.numbers import plain_text
from locbench.report.result_folder import write_result_folder
from locbench.report.slip_plots import slip_pictures
from locbench.report.slip_tables import (
    candidate_table,
    event_numbers,
    event_table,
    pod_table,
    redundancy_table,
    slip_csv,
)
from locbench.report.slip_words import checkable_words, clock_origin, greatest_first, session_words, slip_headline
from locbench.report.terminal_pieces import print_list, print_table_and_note, wide_enough
from locbench.results import SlipRecord, slip_json
from locbench.slip.kinds import SlipChannel, SlipFault

__all__ = ["factor_lines", "print_slip", "write_slip"]

# A terminal scrolls: so many events of a session, those that cost most; the rest is in events.csv.
_MOST_EVENTS, _MOST_DETAILED = 25, 6
# what an earlier run of more sessions may have left
_PICTURE = re.compile(r"slip_(timeline|map)_\d+\.svg")


def print_slip(record: SlipRecord, places: Sequence[str], console: Console) -> None:
    """Print the answer, the tables, and where to look next.

    Parameters
    ----------
    record
        What `locbench slip` found.
    places
        The sessions as the user named them.
    console
        Where to print; nothing is drawn narrower than 80 columns.
    """
    with wide_enough(console):
        console.print(Text(slip_headline(record), style="bold"), highlight=False)
        print_list("What can be told", checkable_words(record), console, None)
        print_table_and_note(redundancy_table(record), console)
        numbers = event_numbers(record.events)
        for session in record.sessions:
            print_list("Session", session_words(session), console, None)
            mine = [event for event in record.events if event.session == session.name]
            kept = {id(event) for event in greatest_first(mine)[:_MOST_EVENTS]}
            shown = [event for event in mine if id(event) in kept]
            since = ", seconds since its start" if clock_origin(session) else ""
            title = f"Events in {plain_text(session.name)}{since}"
            print_table_and_note(event_table(title, shown, numbers, clock_origin(session)), console)
            if len(shown) < len(mine):
                more = f"{len(mine) - len(shown)} more cost less; with --out, events.csv has all of them."
                console.print(Text(more), highlight=False)
        several = [event for event in greatest_first(record.events) if len(event.details) > 1][:_MOST_DETAILED]
        several.sort(key=lambda event: numbers[id(event)])
        print_table_and_note(candidate_table(several, numbers), console)
        print_table_and_note(pod_table(record), console)
        _print_factor(record, console)
        print_list("Noted", [plain_text(remark) for remark in record.remarks], console, None)
        print_list("Where to look next", _next_steps(record, places), console, None)


def factor_lines(record: SlipRecord) -> str | None:
    """Return the lines of a fusion file that make doubted odometry as unsure as it was; None without events."""
    factor = record.doubted_factor.factor
    return None if factor is None else f"[motion_noise]\ndoubted_factor = {factor:.1f}\n"


def _print_factor(record: SlipRecord, console: Console) -> None:
    lines, told = factor_lines(record), record.doubted_factor
    if lines is None:
        return
    console.print()
    console.print(Text("Into the fusion file", style="bold"), highlight=False)
    console.print()
    console.print(Text(lines.rstrip()), highlight=False, soft_wrap=True)
    how = (
        f"By so much more than the robot file's [motion_noise] says odometry erred in the {told.met} of {told.events} "
        f"events that lie in the {told.doubted_s:.1f} s in which filters doubt it."
    )
    console.print(Text(how), highlight=False)


def _next_steps(record: SlipRecord, places: Sequence[str]) -> list[str]:
    steps = []
    named = [name for name, pod in record.pods.items() if pod.events]
    if named:
        steps.append(
            f"With the robot switched off, look at {', '.join(plain_text(name) for name in named)}: spring, bearing, "
            "dirt on the wheel, play of its holder"
        )
    if any(event.fault is not SlipFault.SLIP for event in record.events):
        steps.append("A counter that sticks, jumps or counts backwards: check its cable and plug, robot switched off")
    if record.events:
        steps.append("What filters make of these moments: " + command("evaluate", *places))
    if record.remarks:
        steps.append("What is wrong all through a log: " + command("calibrate", *places))
    if any(SlipChannel.COUNTER in session.why for session in record.sessions):
        steps.append("Log the counters of single pods, kind pod_counts: from them it can be told which one slipped")
    elif any(SlipChannel.MARKS in session.why and SlipChannel.TAGS in session.why for session in record.sessions):
        steps += [f"For marks that tell of more slips: {runsheet_command('tour')}", BEFORE_THE_ROBOT_MOVES]
    steps.append("Over time and on the floor, as pictures: " + command("slip", *places, "--out", "FOLDER"))
    return steps


def write_slip(record: SlipRecord, out: Path) -> list[str]:
    """Write slip.json, its tables, and two pictures per session into a folder; return their names.

    Raises
    ------
    OutputError
        If the folder cannot be written, or holds a session or other files of these names.
    """
    texts = {"slip.json": slip_json(record), **slip_csv(record), **slip_pictures(record)}
    before = [path.name for path in out.iterdir() if _PICTURE.fullmatch(path.name)] if out.is_dir() else []
    return write_result_folder(out, texts, "slip.json", before)
