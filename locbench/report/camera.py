"""A camera study in a terminal: the answer, noise, what is wrong with all fixes alike, tables, the lines to copy."""

import math
from collections.abc import Mapping, Sequence
from itertools import starmap
from pathlib import Path

import numpy as np
from rich.console import Console
from rich.text import Text

from locbench.camera.components import Component
from locbench.config.edits import ChangedFile
from locbench.report.camera_tables import bin_table, camera_csv, trust_table
from locbench.report.cautions import BEFORE_THE_ROBOT_MOVES
from locbench.report.commands import command, runsheet_command
from locbench.report.copy_block import Copies, copy_names, copy_texts, print_copy_block
from locbench.report.fitted_numbers import SHOWN, decimals_for, fitted_text
from locbench.report.numbers import MISSING, plain_text
from locbench.report.result_folder import write_result_folder
from locbench.report.terminal_pieces import print_list, print_table, print_table_and_note, wide_enough
from locbench.report.text_tables import Cell, Column, TextTable, count_cell, label_cell
from locbench.report.trust_map import trust_map_svg
from locbench.results import CameraRecord, Estimated, SlowRecord, TagPlacement, camera_json

__all__ = ["camera_headline", "noise_lines", "print_camera", "write_camera"]

_BY = {"range": "range", "view_angle": "view angle", "speed": "speed", "turn_rate": "turn rate", "tag": "tag"}
_SLOW_MATTERS = 0.15
_VALUE = "value\N{NO-BREAK SPACE}±\N{NO-BREAK SPACE}std"
_OF = {
    Component.ALONG: "along the line of sight",
    Component.ACROSS: "across the line of sight",
    Component.HEADING: "in heading",
    Component.RANGE: "in range",
    Component.BEARING: "in bearing",
}


def camera_headline(record: CameraRecord) -> str:
    """Return the answer in one sentence."""
    parts = [f"{record.kind.replace('_', ' ')} detections at 1 m: {_at_one_metre(record.noise)}"]
    if record.outlier_share is not None:
        share = f"{100 * record.outlier_share.value:.1f} %"
        flips = record.flip_share
        part = "" if flips is None else f", flips {100 * flips.value:.1f} %"
        parts.append(f"{share} are wrong{part}")
    parts.append(_latency_words(record))
    wrong = [tag for tag, one in record.tags.items() if one.hangs_wrong]
    if wrong:
        parts.append(f"tag{'s' if len(wrong) > 1 else ''} {', '.join(wrong)} hang{'' if len(wrong) > 1 else 's'} aside")
    return "; ".join(parts) + "."


def _at_one_metre(noise: Mapping[str, Estimated]) -> str:
    """Return the noise of a detection from a metre away, face on, in words."""

    def both(first: str, second: str, metres: bool) -> str:
        value = float(np.hypot(noise[first].value, noise[second].value))
        return f"{1000 * value:.0f} mm" if metres else f"{np.degrees(value):.2f} deg"

    words = []
    if "along_floor" in noise:
        words.append(f"{both('along_floor', 'along_at_one_metre', True)} along the line of sight")
        words.append(f"{both('across_floor', 'across_at_one_metre', True)} across")
    if "heading_floor" in noise:
        words.append(f"{both('heading_floor', 'heading_at_one_metre', False)} in heading")
    if "range_floor" in noise:
        words.append(f"{both('range_floor', 'range_per_metre', True)} in range")
    if "bearing_floor" in noise:
        words.append(f"{both('bearing_floor', 'bearing_offset', False)} in bearing")
    return ", ".join(words)


def _latency_words(record: CameraRecord) -> str:
    if record.latency_s is None or record.latency_std_s is None:
        return "latency not told"
    amount = fitted_text(abs(record.latency_s), record.latency_std_s, "s")
    sense = "late" if record.latency_s > 0.0 else "early"
    return f"time stamps are {amount} {sense}{'' if 'latency' in record.beyond_chance else ', which may be chance'}"


def noise_lines(record: CameraRecord) -> str:
    """Return the [tag_noise] table of a fusion file with the noise found, and with what was not told as it was."""
    lines = ["[tag_noise]", *(_noise_line(key, one) for key, one in record.noise.items())]
    if record.kept_noise:
        lines += ["# not told by these detections, as before", *starmap(_noise_line, record.kept_noise.items())]
    return "\n".join(lines) + "\n"


def _noise_line(key: str, one: Estimated) -> str:
    if key == "correlation_between_tags":
        return f'{key} = "{100.0 * one.value:g} %"'
    symbol, factor = SHOWN[one.unit]
    shown = one.value / factor
    # two digits of its uncertainty, but at least one of its own: noise is never nothing
    decimals = max(decimals_for((one.std or one.value) / factor), -math.floor(math.log10(shown)) if shown > 0.0 else 0)
    number = f"{shown:z.{decimals}f}"
    return f'{key} = "{number} {symbol}"' if symbol else f"{key} = {float(number)}"


def print_camera(
    record: CameraRecord, changed_files: Sequence[ChangedFile], places: Sequence[str], console: Console
) -> None:
    """Print the answer, the tables, the lines to copy, and where to look next.

    Parameters
    ----------
    record
        What `locbench camera` found.
    changed_files
        The files with what is plainly wrong set right.
    places
        The sessions as the user named them.
    console
        Where to print; nothing is drawn narrower than 80 columns.
    """
    with wide_enough(console):
        console.print(Text(camera_headline(record), style="bold"), highlight=False)
        console.print(Text(_facts(record)), highlight=False)
        print_table(_noise_table(record), console)
        print_table_and_note(_common_table(record), console)
        print_table_and_note(_tag_table(record), console)
        print_table(_slow_table(record.slow), console)
        for by in _BY:
            if by != "tag":
                print_table(bin_table(record, by), console)
        print_table(bin_table(record, "tag"), console)
        print_table(trust_table(record), console)
        print_list("Not told", [f"{key}: {why}" for key, why in record.why.items()], console, None)
        print_list("Noted", record.remarks, console, None)
        console.print()
        console.print(Text("Into the fusion file", style="bold"), highlight=False)
        console.print()
        console.print(Text(noise_lines(record).rstrip()), highlight=False, soft_wrap=True)
        print_copy_block(changed_files, console)
        print_list("Where to look next", _next_steps(record, changed_files, places), console, None)


def _facts(record: CameraRecord) -> str:
    judged = {"truth": "the dense truth", "marks": "odometry between the marks", "both": "truth or marks"}
    camera = "" if record.camera is None else f' of camera "{plain_text(record.camera)}"'
    return (
        f"{record.compared} of {record.detections} detections{camera} fall where {judged[record.reference]} "
        "knows the robot's pose."
    )


def _noise_table(record: CameraRecord) -> TextTable:
    rows = tuple(
        (label_cell(key), Cell(fitted_text(one.value, one.std, one.unit))) for key, one in record.noise.items()
    )
    columns = (Column("key of [tag_noise]", align="left"), Column(_VALUE))
    return TextTable("Noise, outliers left out", columns, rows)


def _common_table(record: CameraRecord) -> TextTable:
    rows = []
    if record.latency_s is not None:
        late = Estimated(value=record.latency_s, std=record.latency_std_s, unit="s")
        rows.append(_common_row("stamps are late by", late, surely="latency" in record.beyond_chance))
    for key, one in record.mount.items():
        rows.append(_common_row(f"{_carried(record)} {key}", one, surely=key in record.beyond_chance))
    if record.range_scale is not None:
        surely = "range_scale" in record.beyond_chance
        rows.append(_common_row("ranges read, over the true ones", record.range_scale, surely=surely))
    for name, share in (("wrong detections", record.outlier_share), ("flips among all", record.flip_share)):
        if share is not None:
            percent = Estimated(value=100 * share.value, std=100 * (share.std or 0.0), unit="1")
            rows.append((label_cell(f"{name}, %"), Cell(fitted_text(percent.value, percent.std, "1")), Cell("")))
    columns = (
        Column("what", align="left"),
        Column(_VALUE),
        Column("", align="left"),
    )
    note = "Beyond chance: chance alone says so of any of these in one study of a hundred. The rest may be nothing."
    return TextTable("What all detections have in common", columns, tuple(rows), note=note)


def _carried(record: CameraRecord) -> str:
    """Return what the mount's errors are errors of: without a camera in the robot file that is not the camera."""
    if record.camera is not None:
        return "camera sits aside in"
    if record.kind == "robot_pose":
        return "pose offset on the robot in"
    return "antenna off its place in"


def _common_row(name: str, one: Estimated, *, surely: bool) -> tuple[Cell, ...]:
    return label_cell(name), Cell(fitted_text(one.value, one.std, one.unit)), Cell("beyond chance" if surely else "")


def _tag_table(record: CameraRecord) -> TextTable:
    def cell(one: Estimated | None) -> Cell:
        return Cell(MISSING) if one is None else Cell(fitted_text(one.value, one.std, one.unit))

    rows = tuple(
        (
            label_cell(tag),
            count_cell(one.count),
            cell(one.x),
            cell(one.y),
            cell(one.facing),
            Cell(_tag_words(one)),
        )
        for tag, one in record.tags.items()
    )
    columns = (
        Column("tag", align="left"),
        Column("n"),
        Column("x"),
        Column("y"),
        Column("facing"),
        Column("", align="left"),
    )
    note = "Against the field file. Most tags are taken to hang right: were all off alike, the camera would seem to be."
    return TextTable("Where the tags hang", columns, rows, note=note)


def _tag_words(one: TagPlacement) -> str:
    if one.hangs_wrong:
        return "hangs aside"
    return "" if one.is_provable else f"on {one.legs} leg{'' if one.legs == 1 else 's'} only: no proof"


def _slow_table(slow: Mapping[Component, SlowRecord]) -> TextTable:
    rows = tuple(
        (
            label_cell(name.value),
            Cell(f"{100 * one.share:.0f}"),
            Cell(f"{100 * one.ci95[0]:.0f}–{100 * one.ci95[1]:.0f}"),
            count_cell(one.passes),
            Cell(MISSING if one.correlation_time_s is None else f"{one.correlation_time_s:.2f}"),
            Cell(_slow_words(one)),
        )
        for name, one in slow.items()
    )
    columns = (
        Column("component", align="left"),
        Column("slow", "% of variance"),
        Column("95\N{NO-BREAK SPACE}%", "% of variance"),
        Column("passes"),
        Column("alike for", "s"),
        Column("", align="left"),
    )
    return TextTable("White, or the same all through a pass", columns, rows)


def _slow_words(one: SlowRecord) -> str:
    if one.ci95[0] > _SLOW_MATTERS:
        return "averaging leaves it: believe less"
    if one.ci95[1] < _SLOW_MATTERS:
        return "white: averaging helps"
    return "not told"


def _next_steps(record: CameraRecord, changed_files: Sequence[ChangedFile], places: Sequence[str]) -> list[str]:
    steps = [
        "Copy [tag_noise] into your fusion file, and try it: "
        + command("evaluate", *places, "--fusion", "FUSION_FILE"),
        *_steps_after_slow(record.slow),
    ]
    wrong = [tag for tag, one in record.tags.items() if one.hangs_wrong]
    if wrong:
        steps.append(f"Measure where tag {', '.join(wrong)} hangs with a tape before you change the field file")
    if changed_files:
        steps.append("Copies of the files with these changes made: " + command("camera", *places, "--out", "FOLDER"))
    if record.why:
        steps += [f"For what is not told: {runsheet_command('camera')}", BEFORE_THE_ROBOT_MOVES]
    return steps


def _steps_after_slow(slow: Mapping[Component, SlowRecord]) -> list[str]:
    return [
        f"Errors {_OF[name]} hardly change while a tag stays in view: all fixes of a pass are worth at most "
        f"{one.worth_at_most:.1f} independent ones. A filter that takes each as new grows too sure: let it use fewer "
        "of them, or believe each less"
        for name, one in slow.items()
        if one.ci95[0] > _SLOW_MATTERS and one.worth_at_most is not None
    ]


def write_camera(record: CameraRecord, changed_files: Sequence[ChangedFile], out: Path) -> list[str]:
    """Write camera.json, its tables, the trust map and copies of changed files into a folder; return their names.

    Raises
    ------
    OutputError
        If the folder cannot be written, or holds a session or other files of these names.
    """
    texts = {
        "camera.json": camera_json(record),
        "tag_noise.toml": noise_lines(record),
        **camera_csv(record),
        "trust_map.svg": trust_map_svg(record),
        **copy_texts(changed_files, Copies.CORRECTED),
    }
    return write_result_folder(out, texts, "camera.json", copy_names(Copies.CORRECTED))
