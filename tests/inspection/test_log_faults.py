"""Every fault of the log itself: put in, named; and nothing said where nothing is wrong."""

from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from logs import SmallLog

from locbench.inspection.diagnosis import LogFault
from locbench.jobs.inspect import inspect
from locbench.jobs.simulate import simulate

ROOT = Path(__file__).parents[2]
ONBOARD = """[onboard]
file = "onboard.csv"
time = { column = "t_ms", unit = "ms" }
x = { column = "x", unit = "m" }
y = { column = "y", unit = "m" }
"""


def later(file, column="t_ms"):
    def spoil(log):
        log.tables[file][column] += 1e6

    return spoil


def frozen(column, from_s, to_s):
    """The reading at `from_s` stays until `to_s`, then goes on counting from there, as after a loose cable."""

    def spoil(log):
        values, time = log.tables["odometry.csv"][column].to_numpy(), log.tables["odometry.csv"]["t_ms"] / 1000.0
        held = np.flatnonzero((time >= from_s) & (time <= to_s))
        lost = values[held[-1]] - values[held[0]]
        values = values.copy()
        values[held] = values[held[0]]
        values[held[-1] + 1 :] -= lost
        log.tables["odometry.csv"][column] = values

    return spoil


def standing(log):
    table = log.tables["odometry.csv"]
    for column in table.columns.drop("t_ms"):
        table[column] = 0.0


def thrown(rows):
    def spoil(log):
        log.tables["tags.csv"].loc[:rows, "x"] += 10.0

    return spoil


def repeated(rows):
    """The camera's program goes on giving its tenth result, under new times."""

    def spoil(log):
        table = log.tables["tags.csv"]
        columns = table.columns.drop("t_ms")
        table.loc[10 : 10 + rows, columns] = table.loc[10, columns].to_numpy()

    return spoil


def far_ranges(log):
    log.tables["tags.csv"]["r"] = 39.0
    log.parts["tags"] += 'range = { column = "r", unit = "m" }\n'


def turned_tag(log):
    field = log.folder / "field.toml"
    field.write_text(field.read_text().replace('facing = "180 deg"', 'facing = "0 deg"'))


def oblique(log):
    log.tables["tags.csv"]["view"] = 120.0
    log.parts["tags"] += 'view_angle = { column = "view", unit = "deg" }\n'


def visited(*rows):
    def spoil(log):
        log.with_marks()
        log.tables["marks.csv"] = pd.DataFrame(rows, columns=["begin", "end", "mark"])

    return spoil


def short_truth(log):
    log.tables["truth.csv"] = log.tables["truth.csv"].iloc[:200]


def copied(*columns):
    def spoil(log):
        exact = SmallLog(log.folder).with_truth().tables["truth.csv"]
        for column in columns:
            log.tables["truth.csv"][column] = exact[column]

    return spoil


def with_onboard(spoil_it):
    def spoil(log):
        log.parts["onboard"] = ONBOARD
        log.tables["onboard.csv"] = log.tables["truth.csv"].drop(columns="h").copy()
        spoil_it(log)

    return spoil


def excluding(log):
    (log.folder / "fusion.toml").write_text('name = "without one"\n[trust]\nexcluded_tags = [1, 5]\n')


FUSION = 'fusion = ["fusion.toml"]\n'
HEAD = 'name = "small log"\nrobot = "robot.toml"\nfield = "field.toml"\n{more}[start]\nmark = "S1"\n'
CASES = [
    (
        "no_overlap",
        "error",
        later("truth.csv"),
        ["truth.csv", "401 rows", "1000 s", "add -1000.000 s to the offset of [truth]"],
    ),
    ("no_overlap", "error", later("tags.csv"), ["tags.csv"]),
    ("no_overlap", "warning", with_onboard(later("onboard.csv")), ["onboard.csv"]),
    ("no_motion", "error", standing, ["truth say that the robot did"]),
    ("counter_stuck", "warning", frozen("l", 2.0, 4.0), ['"l"', '"left"', "2.0 s from 2 s on", "25 %"]),
    ("counter_stuck", "error", frozen("l", 1.0, 8.0), ['"left"', "7.0 s", "88 %"]),
    ("counter_stuck", "error", frozen("gyro", 1.0, 8.0), ['"gyro"', "7.0 s", "Take the heading from the pods"]),
    ("counter_stuck", "warning", frozen("c", 2.0, 5.5), ['"cross"', "3.5 s"]),
    ("excluded_tag", "warning", excluding, ['"without one"', "tags 1", "41 of 41", "100 %"]),
    ("off_the_floor", "warning", thrown(9), ["10 of 41", "24.4 %", "tags 1"]),
    ("off_the_floor", "note", thrown(0), ["1 of 41"]),
    ("seen_from_behind", "warning", turned_tag, ["41 of 41", "tags 1", "facing the wrong way"]),
    ("seen_from_behind", "warning", oblique, ["41 of 41"]),
    ("beyond_the_floor", "warning", far_ranges, ["41 of 41", "5.66 m", "39.0 m"]),
    ("stale_detection", "warning", repeated(12), ["of 41", "150 mm", "last digit"]),
    ("stale_detection", "error", repeated(30), ["of 41"]),
    ("overlapping_visits", "warning", visited((1, 3, "S1"), (2, 4, "M2")), ["1 visits", "by up to 1 s", '"M2" at 2 s']),
    ("moving_on_mark", "warning", visited((2, 3, "M2")), ["1 of 1", '"M2" at 2 s', "mm and 14.0 deg"]),
    ("moving_on_mark", "warning", visited((5, 5, "S1")), ['"S1"', "0.510 m/s and 20.0 deg/s"]),
    ("truth_in_part", "warning", short_truth, ["50 %", "0 s to 3.98 s"]),
    ("truth_is_odometry", "error", copied("x", "y", "h"), ["truth.csv and odometry.csv", "RMS"]),
    ("truth_heading_is_odometry", "warning", copied("h"), ["deg RMS over 0.4 turns"]),
    ("truth_is_onboard", "error", with_onboard(lambda _: None), ["truth.csv and onboard.csv"]),
]


@pytest.mark.parametrize(("code", "severity", "spoil", "words"), CASES)
def test_a_fault_put_in_is_named(inspector, code, severity, spoil, words):
    spoil(inspector.log)
    found = inspector.found(HEAD.format(more=FUSION if spoil is excluding else ""))[code]
    assert found.severity == severity
    told = " ".join([found.where, found.evidence, found.meaning, found.remedy])
    for word in words:
        assert word in told
    assert found.measured
    assert all(number.value is not None for number in found.measured.values())


def test_nothing_is_said_of_a_log_without_faults(inspector):
    found = inspector.found()
    assert set(found) == {"tag_view"}
    assert found["tag_view"].severity == "note"


def test_every_code_has_a_case():
    elsewhere = {"tag_view", "repeated_press"}
    assert {code for code, *_ in CASES} | elsewhere == {fault.value for fault in LogFault}


def test_a_table_without_overlap_is_named_once(inspector):
    later("truth.csv")(inspector.log)
    assert "outside_log" not in inspector.found()


def test_a_stuck_gyro_is_mended_by_taking_the_heading_from_the_pods(inspector):
    frozen("gyro", 0.5, 8.0)(inspector.log)
    (change,) = inspector.found()["counter_stuck"].changes
    assert (change.file, change.key, change.line) == ("robot.toml", "heading_from", 'heading_from = "pods"')


def test_a_stuck_gyro_runs_on_at_the_bias_that_was_taken_off(inspector):
    table = inspector.log.tables["odometry.csv"]
    # two seconds of standstill with a drifting gyro, then the drive, in which the gyro sticks
    drift = np.arange(0.0, 2.0, 0.02)
    pause = pd.DataFrame({"t_ms": 1000 * drift, "l": 0.0, "r": 0.0, "c": 0.0, "gyro": 0.5 * drift})
    table["t_ms"] += 2000.0
    table["gyro"] = 1.0
    inspector.log.tables["odometry.csv"] = pd.concat([pause, table], ignore_index=True)
    inspector.log.tables["truth.csv"]["t_ms"] += 2000.0
    inspector.log.tables["tags.csv"]["t_ms"] += 2000.0
    found = inspector.found()
    assert "taken off" in found["gyro_bias"].evidence
    assert found["counter_stuck"].severity == "error"
    assert '"gyro"' in found["counter_stuck"].where


@pytest.mark.parametrize("duration", [0.5, 0.8])
def test_a_short_rest_of_a_counter_is_no_fault(inspector, duration):
    frozen("l", 2.0, 2.0 + duration)(inspector.log)
    assert "counter_stuck" not in inspector.found()


def test_odometry_that_stands_still_while_the_truth_moves_on(tmp_path):
    log = SmallLog(tmp_path, "poses").with_truth()
    log.tables["truth.csv"]["h"] += pd.Series(range(401)).mod(7)
    table = log.tables["odometry.csv"]
    table.loc[100:200, ["x", "y", "h"]] = table.loc[100, ["x", "y", "h"]].to_numpy()
    found = {one.code: one for one in inspect(log.write()).inspection.diagnoses}
    assert "from 2 s to 4 s" in found["counter_stuck"].evidence
    assert found["counter_stuck"].measured["longest"].value == pytest.approx(2.0)


@pytest.mark.parametrize(("kind", "column"), [("increments", "dh"), ("velocities", "w")])
def test_a_heading_that_never_changes_over_a_long_way(tmp_path, kind, column):
    log = SmallLog(tmp_path, kind)
    table = log.tables["odometry.csv"]
    table[column] = 0.0
    for forward in {"dx", "vx"} & set(table):
        table[forward] *= 2.0
    found = {one.code: one for one in inspect(log.write()).inspection.diagnoses}
    assert f'column "{column}"' in found["counter_stuck"].where
    assert "The heading never changes" in found["counter_stuck"].evidence


def test_a_pod_that_never_counts(inspector):
    # driving straight on, the others do not say that the cross pod should roll
    table, seconds = inspector.log.tables["odometry.csv"], inspector.log.time
    per_metre = 8192 / (np.pi * 0.035)
    table["l"], table["r"] = np.round(0.5 * seconds * per_metre), -np.round(0.5 * seconds * per_metre)
    table["c"], table["gyro"] = 0.0, 0.01 * np.sin(40.0 * seconds)
    found = inspector.found()["counter_stuck"]
    assert 'pod "cross" never changes' in found.evidence
    assert found.severity == "warning"


def _press(log, *times):
    log.with_marks()
    log.tables["marks.csv"] = pd.DataFrame({"begin": times, "end": times, "mark": "S1"})


def test_a_button_that_bounces_and_one_pressed_at_two_visits(inspector):
    table = inspector.log.tables["odometry.csv"]
    table["l"] = table["r"] = table["c"] = 0.0
    table.loc[200:, "l"] += 20000.0
    _press(inspector.log, 1.0, 1.2, 6.0)
    found = inspector.found()["repeated_press"]
    assert "1 presses" in found.evidence
    assert '"S1" at 1.2 s' in found.evidence


def test_presses_far_apart_are_visits_of_their_own(inspector):
    _press(inspector.log, 1.0, 6.0)
    assert "repeated_press" not in inspector.found()


def test_ranges_and_bearings_from_behind_are_seen_by_the_truth(tmp_path):
    log = SmallLog(tmp_path).with_tags().with_truth()
    turned_tag(log)
    tags = log.tables["tags.csv"]
    tags["r"] = np.hypot(4.0 - tags["x"], 2.0 - tags["y"])
    lines = log.parts["tags"].replace("robot_pose", "range").splitlines()
    kept = [line for line in lines if not line.startswith(("x =", "y =", "heading ="))]
    log.parts["tags"] = "\n".join([*kept, 'range = { column = "r", unit = "m" }', ""])
    found = {one.code: one for one in inspect(log.write()).inspection.diagnoses}
    assert "41 of 41" in found["seen_from_behind"].evidence


def test_a_beacon_without_a_facing_has_no_behind(inspector):
    field = inspector.log.folder / "field.toml"
    field.write_text(field.read_text().replace('facing = "180 deg"\n', ""))
    oblique(inspector.log)
    assert "seen_from_behind" not in inspector.found()


@pytest.mark.parametrize("name", ["orchard_healthy", "orchard_spin_line"])
def test_the_healthy_demo_logs_get_notes_alone(name):
    assert {one.severity for one in inspect(ROOT / "logs_demo" / name).inspection.diagnoses} == {"note"}


@pytest.mark.parametrize("name", ["orchard_shoved", "orchard_worn"])
def test_the_other_demo_logs_have_no_error_in_the_log(name):
    codes = {one.code for one in inspect(ROOT / "logs_demo" / name).inspection.diagnoses if one.severity == "error"}
    assert not codes & {fault.value for fault in LogFault}


@pytest.mark.parametrize("seed", [3, 4, 5])
def test_other_seeds_of_the_healthy_scenario_get_notes_alone(tmp_path, seed):
    simulate(ROOT / "configs" / "scenario_healthy.toml", tmp_path, seed)
    assert {one.severity for one in inspect(tmp_path).inspection.diagnoses} == {"note"}
