"""Logs with hardly anything in them: every file is written and something is printed, without a warning."""

import io

import pytest
from logs import SmallLog
from rich.console import Console

from locbench.jobs.evaluate import evaluate
from locbench.report import print_evaluation, write_evaluation
from locbench.units import UnitSystem


def still(log: SmallLog) -> SmallLog:
    """Return the log of a robot that never moved, seen at one place by whatever else saw it."""
    for table in log.tables.values():
        for column in table.columns.difference(["t_ms", "id", "begin", "end", "mark"]):
            table[column] = 1.0 if column in ("x", "y") else 0.0
    return log


def two_rows(log: SmallLog) -> SmallLog:
    log.tables[log.file] = log.tables[log.file].iloc[:2].copy()
    return log


def tags_at_another_time(log: SmallLog) -> SmallLog:
    log.tables["tags.csv"]["t_ms"] += 1e6
    return log


LOGS = {
    "two rows": lambda folder: two_rows(SmallLog(folder)),
    "two rows, standing": lambda folder: two_rows(still(SmallLog(folder).with_truth())),
    "two rows, standing, everything": lambda folder: two_rows(
        still(SmallLog(folder).with_truth().with_tags(1).with_marks())
    ),
    "standing, truth": lambda folder: still(SmallLog(folder).with_truth()),
    "standing, truth and tags": lambda folder: still(SmallLog(folder).with_truth().with_tags()),
    "standing, tags and marks": lambda folder: still(SmallLog(folder).with_tags().with_marks()),
    "odometry": SmallLog,
    "tags": lambda folder: SmallLog(folder).with_tags(),
    "marks": lambda folder: SmallLog(folder).with_marks(),
    "one fix": lambda folder: SmallLog(folder).with_truth().with_tags(1000),
    "fixes at another time": lambda folder: tags_at_another_time(SmallLog(folder).with_truth().with_tags()),
}


@pytest.mark.parametrize("make", LOGS.values(), ids=LOGS.keys())
def test_the_report_of_an_odd_log(make, tmp_path):
    found = evaluate([make(tmp_path / "log").write()])
    write_evaluation(found.results, found.tracks, tmp_path / "out", UnitSystem.METRIC)
    assert "<img " in (tmp_path / "out" / "report.html").read_text(encoding="utf-8")
    stream = io.StringIO()
    print_evaluation(found.results, Console(file=stream, width=80), UnitSystem.METRIC)
    assert stream.getvalue().startswith("Evidence ")
    assert "dead_reckoning" in stream.getvalue()
    assert "nan" not in stream.getvalue()


def test_fixes_at_another_time_are_told(tmp_path):
    found = evaluate([LOGS["fixes at another time"](tmp_path / "log").write()])
    stream = io.StringIO()
    print_evaluation(found.results, Console(file=stream, width=200), UnitSystem.METRIC)
    assert "no fix lay inside the log, so default_kalman is dead reckoning" in stream.getvalue()
    assert "no fix lay inside the odometry log. Check the clocks of both." in stream.getvalue()
