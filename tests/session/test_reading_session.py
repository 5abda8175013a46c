import numpy as np
import pandas as pd
import pytest
from logs import ODOMETRY, SmallLog

from locbench.errors import ConfigError, SessionError
from locbench.odometry import dead_reckon, measure_motion
from locbench.session import EvidenceLevel, read_session


def _end(folder):
    session = read_session(folder)
    motion = measure_motion(session.odometry, session.robot)
    return dead_reckon(motion, session.stretches[0].start.pose)[-1]


@pytest.mark.parametrize("kind", list(ODOMETRY))
def test_every_kind_of_odometry_reaches_the_same_place(tmp_path, kind):
    log = SmallLog(tmp_path, kind)
    np.testing.assert_allclose(_end(log.write()), log.poses[-1], atol=2e-5)


@pytest.mark.parametrize("file", ["odometry.csv.gz", "odometry.parquet"])
def test_other_file_formats(tmp_path, file):
    log = SmallLog(tmp_path, "poses", file)
    np.testing.assert_allclose(_end(log.write()), log.poses[-1], atol=1e-9)


@pytest.mark.parametrize("bits", [16, 32])
@pytest.mark.parametrize("declared", [True, False])
def test_a_counter_that_wraps_around_is_unwrapped(tmp_path, bits, declared):
    log = SmallLog(tmp_path)
    table, modulus = log.tables["odometry.csv"], 2**bits
    table["l"] = (table["l"] + modulus - 20_000) % modulus
    if declared:
        log.parts["odometry"] = log.parts["odometry"].replace('left = "l"', f'left = {{ column = "l", bits = {bits} }}')
    np.testing.assert_allclose(_end(log.write()), log.poses[-1], atol=2e-5)
    findings = read_session(tmp_path).findings
    assert [f.code for f in findings] == ["counter_wrapped"]
    assert findings[0].column == "l"


def test_a_counter_reset_in_mid_log_is_bridged_and_flagged(tmp_path):
    log = SmallLog(tmp_path)
    table = log.tables["odometry.csv"]
    table.loc[200:, ["l", "r", "c"]] -= table.loc[200, ["l", "r", "c"]]
    session = read_session(log.write())
    assert {f.code for f in session.findings} == {"counter_reset"}
    assert np.flatnonzero(session.odometry.flagged).tolist() == [200]
    # one row's travel, 10 mm, is lost at the reset
    np.testing.assert_allclose(_end(tmp_path)[:2], log.poses[-1, :2], atol=0.012)


def test_an_impossible_jump_is_reported_and_kept(tmp_path):
    log = SmallLog(tmp_path)
    log.tables["odometry.csv"].loc[200:, "l"] += 700_000
    session = read_session(log.write())
    jump = next(f for f in session.findings if f.code == "counter_jump")
    assert (jump.row, jump.column) == (201, "l")
    assert session.odometry.travel_m["left"][-1] > 5


def test_clockwise_compass_headings_and_a_turned_frame(tmp_path):
    """The same drive logged with headings clockwise from +y in a frame turned by 90 deg about (4, 0)."""
    log = SmallLog(tmp_path, "poses").with_truth()
    field = log.poses
    # log frame: x_log = y_field, y_log = 4 - x_field; heading clockwise from the log's +y
    x_log, y_log = field[:, 1], 4 - field[:, 0]
    heading = np.degrees(np.pi / 2 - (field[:, 2] - np.pi / 2))
    table = log.tables["truth.csv"]
    table["x"], table["y"], table["h"] = x_log, y_log, heading
    frame = 'frame = { heading_sense = "clockwise", heading_zero = "+y", rotate = "90 deg", origin_x = "4 m" }\n'
    log.parts["truth"] += frame
    truth = read_session(log.write()).truth
    np.testing.assert_allclose(truth.pose[:, :2], field[:, :2], atol=1e-9)
    np.testing.assert_allclose(np.cos(truth.pose[:, 2] - field[:, 2]), 1.0, atol=1e-12)


def test_a_clockwise_gyro_is_turned_round(tmp_path):
    log = SmallLog(tmp_path)
    log.tables["odometry.csv"]["gyro"] = (-log.tables["odometry.csv"]["gyro"]) % 360
    log.parts["odometry"] += 'frame = { heading_sense = "clockwise" }\n'
    np.testing.assert_allclose(_end(log.write()), log.poses[-1], atol=2e-5)


def test_clock_offsets_put_tables_on_one_clock(tmp_path):
    log = SmallLog(tmp_path).with_tags()
    log.tables["tags.csv"]["t_ms"] += 5000
    log.parts["tags"] = log.parts["tags"].replace('latency = "40 ms"', 'latency = "40 ms"\noffset = "-5 s"')
    detections = read_session(log.write()).detections
    assert detections.captured_s[0] == pytest.approx(0.0)
    assert np.all(detections.arrived_s - detections.captured_s == pytest.approx(0.04))


@pytest.mark.parametrize("row", range(20, 390, 30))
@pytest.mark.parametrize("period_rows", [1, 3])
def test_a_restart_of_the_controller_is_never_taken_for_a_wrap_around(tmp_path, row, period_rows):
    log = SmallLog(tmp_path)
    table = log.tables["odometry.csv"]
    table.loc[row:, ["l", "r", "c"]] -= table.loc[row, ["l", "r", "c"]]
    log.tables["odometry.csv"] = table.iloc[row % period_rows :: period_rows].reset_index(drop=True)
    session = read_session(log.write())
    assert {f.code for f in session.findings} <= {"counter_reset"}
    # no more than the travel of one row may be lost
    motion = measure_motion(session.odometry, session.robot)
    whole = 0.51 * (motion.time_s[-1] - motion.time_s[0])
    assert motion.path_length_m[-1] == pytest.approx(whole, abs=2.5 * period_rows * 0.51 * 0.02)


def test_a_restart_in_a_gap_is_found_though_the_step_could_be_motion(tmp_path):
    log = SmallLog(tmp_path)
    table = log.tables["odometry.csv"]
    table.loc[300:, ["l", "r", "c"]] -= table.loc[300, ["l", "r", "c"]]
    log.tables["odometry.csv"] = table.drop(range(200, 300)).reset_index(drop=True)
    codes = {f.code for f in read_session(log.write()).findings}
    assert codes == {"counter_reset", "time_gap"}


@pytest.mark.parametrize("bits", [None, 16])
def test_a_wrap_in_a_row_of_equal_time_is_undone(tmp_path, bits):
    log = SmallLog(tmp_path)
    table = log.tables["odometry.csv"]
    table["t_ms"] = 40 * (table["t_ms"] // 40)
    crossing = table["l"].iloc[201]
    table["l"] = (table["l"] - crossing) % 2**16
    if bits:
        log.parts["odometry"] = log.parts["odometry"].replace('left = "l"', 'left = { column = "l", bits = 16 }')
    session = read_session(log.write())
    assert {f.code for f in session.findings} == {"counter_wrapped", "duplicate_time"}
    assert session.odometry.travel_m["left"][-1] == pytest.approx((0.5 - 0.15 * np.radians(20)) * 8, abs=1e-3)


def test_a_counter_that_spans_more_than_its_bits_is_refused(tmp_path):
    log = SmallLog(tmp_path)
    log.parts["odometry"] = log.parts["odometry"].replace('left = "l"', 'left = { column = "l", bits = 8 }')
    with pytest.raises(SessionError, match="more than 8 bits hold"):
        read_session(log.write())


@pytest.mark.parametrize("kind", ["increments", "velocities", "poses"])
def test_speeds_no_robot_drives_are_reported_for_every_kind(tmp_path, kind):
    log = SmallLog(tmp_path, kind)
    moving = {"increments": "dx", "velocities": "vx", "poses": "x"}[kind]
    log.tables["odometry.csv"][moving] *= 100
    assert {f.code for f in read_session(log.write()).findings} == {"impossible_speed"}


@pytest.mark.parametrize("table", ["tags", "truth"])
def test_a_table_on_another_clock_is_a_finding_and_no_evidence(tmp_path, table):
    log = SmallLog(tmp_path).with_marks()
    getattr(log, f"with_{table}")()
    log.tables[f"{table}.csv"]["t_ms"] += 1_000_000
    session = read_session(log.write())
    assert {f.code for f in session.findings} == {"outside_log"}
    assert session.evidence is EvidenceLevel.SURVEYED_MARKS
    assert "offset" in session.findings[0].remedy


def test_a_press_that_bounced_counts_once(tmp_path):
    log = SmallLog(tmp_path).with_marks()
    log.tables["marks.csv"] = pd.concat([log.tables["marks.csv"]] * 2, ignore_index=True)
    session = read_session(log.write())
    assert len(session.marks) == 2
    assert [f.code for f in session.findings] == ["duplicate_visit"]


def test_names_of_marks_are_kept_as_written(tmp_path):
    log = SmallLog(tmp_path).with_marks()
    field = log.folder / "field.toml"
    field.write_text(field.read_text().replace('name = "M2"', 'name = "01"').replace('name = "S1"', 'name = "NA"'))
    log.tables["marks.csv"]["mark"] = ["01", "NA"]
    head = 'name = "s"\nrobot = "robot.toml"\nfield = "field.toml"\n[start]\nmark = "NA"\n'
    assert read_session(log.write(head=head)).marks.name == ("01", "NA")


def test_time_between_segments_that_nobody_covers_is_a_finding(tmp_path):
    log = SmallLog(tmp_path)
    log.parts["segments"] = "".join(
        f'[[segments]]\nname = "{name}"\nstart = "{start} s"\nend = "{end} s"\n'
        for name, start, end in (("a", 0, 2), ("b", 6, 7.9), ("c", 7.901, 7.902))
    )
    codes = [f.code for f in read_session(log.write()).findings]
    assert codes == ["uncovered_time", "segment_outside_log"]


def _with_standstill(log, headings):
    table = log.tables["odometry.csv"]
    still = pd.DataFrame({"t_ms": np.arange(0, 3000, 20.0), "l": 0.0, "r": 0.0, "c": 0.0, "gyro": 0.0})
    table["t_ms"] += 3000
    both = pd.concat([still, table], ignore_index=True)
    both["gyro"] = headings(both["t_ms"].to_numpy() / 1000, both["gyro"].to_numpy())
    log.tables["odometry.csv"] = both
    return log


@pytest.mark.parametrize(
    "headings",
    [
        lambda t, h: np.round((h + 0.1 * t) / 0.1) * 0.1,
        lambda t, h: h + 0.2 * t + 0.05 * np.random.default_rng(3).normal(size=len(t)),
    ],
    ids=["rounded to 0.1 deg", "angle noise of 0.05 deg"],
)
def test_a_bias_shows_through_rounding_and_angle_noise(tmp_path, headings):
    session = read_session(_with_standstill(SmallLog(tmp_path), headings).write())
    note = next(f for f in session.findings if f.code == "gyro_bias")
    assert "taken off" in note.message
    turned = np.degrees(session.odometry.heading_rad[-1] - session.odometry.heading_rad[0])
    assert turned == pytest.approx(160, abs=0.35)


@pytest.mark.parametrize("kind", ["increments", "velocities"])
def test_a_heading_column_beside_other_kinds_loses_its_bias_too(tmp_path, kind):
    log = SmallLog(tmp_path, kind)
    table = log.tables["odometry.csv"]
    moving = [c for c in table.columns if c != "t_ms"]
    still = pd.DataFrame({"t_ms": np.arange(0, 3000, 20.0), **dict.fromkeys(moving, 0.0)})
    table["t_ms"] += 3000
    both = pd.concat([still, table], ignore_index=True)
    t = both["t_ms"] / 1000
    both["gyro"] = 20.0 * (t - 3).clip(lower=0) + 0.5 * t + 0.001 * np.random.default_rng(2).normal(size=len(t))
    log.tables["odometry.csv"] = both
    for line in ('turn = { column = "dh", unit = "deg" }', 'turn_rate = { column = "w", unit = "deg/s" }'):
        log.parts["odometry"] = log.parts["odometry"].replace(line, 'heading = { column = "gyro", unit = "deg" }')
    assert [f.code for f in read_session(log.write()).findings] == ["gyro_bias"]
    assert _end(tmp_path)[2] == pytest.approx(np.radians(160), abs=0.01)


def test_the_gyros_bias_is_taken_from_the_initial_standstill(tmp_path):
    noise = np.random.default_rng(1)
    log = _with_standstill(SmallLog(tmp_path), lambda t, h: h + 0.4 * t + 0.001 * noise.normal(size=len(t)))
    session = read_session(log.write())
    note = next(f for f in session.findings if f.code == "gyro_bias")
    assert "0.400 deg/s" in note.message
    assert "taken off" in note.message
    turned = session.odometry.heading_rad[-1] - session.odometry.heading_rad[0]
    assert np.degrees(turned) == pytest.approx(160, abs=0.05)


def test_a_drift_within_its_noise_is_left_alone(tmp_path):
    def wandering(t, heading):
        walk = np.cumsum(0.02 * np.random.default_rng(5).normal(size=len(t)))
        return heading + walk - walk[149] * np.minimum(np.arange(len(t)) / 149, 1)

    log = _with_standstill(SmallLog(tmp_path), wandering)
    note = next(f for f in read_session(log.write()).findings if f.code == "gyro_bias")
    assert "left alone" in note.message


@pytest.mark.parametrize(
    ("parts", "level"),
    [
        ([], EvidenceLevel.NOTHING),
        (["tags"], EvidenceLevel.TAGS_ONLY),
        (["tags", "marks"], EvidenceLevel.SURVEYED_MARKS),
        (["marks", "truth"], EvidenceLevel.DENSE_TRUTH),
    ],
)
def test_the_evidence_level_is_what_the_log_supports(tmp_path, parts, level):
    log = SmallLog(tmp_path)
    for part in parts:
        getattr(log, f"with_{part}")()
    assert read_session(log.write()).evidence is level


SEGMENTS = """[[segments]]
name = "autonomous"
start = "0 s"
end = "2 s"
kind = "autonomous"
[[segments]]
name = "driven"
start = "2 s"
end = "4 s"
[[segments]]
name = "carried back"
start = "4 s"
end = "5 s"
kind = "carried"
[[segments]]
name = "second run"
start = "5 s"
end = "8 s"
{start_pose}
"""


def test_segments_that_continue_are_joined_and_carried_ones_break_the_run(tmp_path):
    log = SmallLog(tmp_path)
    log.parts["segments"] = SEGMENTS.format(start_pose='start_pose = { mark = "M2" }')
    stretches = read_session(log.write()).stretches
    assert [s.names for s in stretches] == [("autonomous", "driven"), ("second run",)]
    assert (stretches[0].start_s, stretches[0].end_s, stretches[1].start_s) == (0.0, 4.0, 5.0)
    np.testing.assert_allclose(stretches[1].start.pose, [2, 2, np.pi / 2])


def test_nothing_continues_across_a_carried_segment(tmp_path):
    log = SmallLog(tmp_path)
    log.parts["segments"] = SEGMENTS.format(start_pose="")
    with pytest.raises(ConfigError, match="follows a carried one and cannot continue it"):
        read_session(log.write())


def test_detections_are_cleaned_and_what_was_left_out_is_said(tmp_path):
    log = SmallLog(tmp_path).with_tags()
    table = log.tables["tags.csv"]
    table.loc[3, "id"] = 99
    table = pd.concat([table, table.iloc[[5]]], ignore_index=True)
    table = table.iloc[[1, 0, *range(2, len(table))]]
    log.tables["tags.csv"] = table
    session = read_session(log.write())
    assert {f.code for f in session.findings} == {"unknown_tag", "duplicate_detection", "unsorted_time"}
    assert len(session.detections) == len(table) - 2
    unknown = next(f for f in session.findings if f.code == "unknown_tag")
    assert unknown.row == 4
    assert "99" in unknown.message


def test_a_gap_is_found_and_its_interval_flagged(tmp_path):
    log = SmallLog(tmp_path)
    log.tables["odometry.csv"] = log.tables["odometry.csv"].drop(range(100, 120)).reset_index(drop=True)
    session = read_session(log.write())
    assert [f.code for f in session.findings] == ["time_gap"]
    assert np.flatnonzero(session.odometry.flagged).tolist() == [100]


def test_marks_may_be_places_with_their_own_uncertainty(tmp_path):
    log = SmallLog(tmp_path).with_marks()
    log.tables["marks.csv"] = pd.DataFrame({"t": [2.0, 99.0], "x": [200.0, 1.0], "y": [150.0, 1.0]})
    log.parts["marks"] = (
        '[marks]\nfile = "marks.csv"\ntime = { column = "t", unit = "s" }\nx = { column = "x", unit = "cm" }\n'
        'y = { column = "y", unit = "cm" }\nposition_std = "5 mm"\n'
    )
    session = read_session(log.write())
    assert len(session.marks) == 1
    np.testing.assert_allclose(session.marks.pose[0, :2], [2.0, 1.5])
    assert np.isnan(session.marks.pose[0, 2])
    assert [f.code for f in session.findings] == ["outside_log"]


def test_rows_of_equal_time_are_joined(tmp_path):
    log = SmallLog(tmp_path, "increments")
    table = log.tables["odometry.csv"]
    half = table.copy()
    half[["dx", "dy", "dh"]] /= 2
    doubled = pd.concat([half, half]).sort_values("t_ms", kind="stable", ignore_index=True)
    log.tables["odometry.csv"] = doubled
    np.testing.assert_allclose(_end(log.write()), log.poses[-1], atol=1e-9)
    assert {f.code for f in read_session(tmp_path).findings} >= {"duplicate_time"}


REQUESTS = '[requests]\nfile = "presses.csv"\noffset = "-500 ms"\ntime = { column = "t", unit = "s" }\n'


def test_requests_are_put_in_order_on_the_sessions_clock(tmp_path):
    log = SmallLog(tmp_path)
    assert read_session(log.write()).requests_s is None
    log.parts["requests"] = REQUESTS
    log.tables["presses.csv"] = pd.DataFrame({"t": [4.0, 1.5, 2.0, 2.0]})
    session = read_session(log.write())
    np.testing.assert_allclose(session.requests_s, [1.0, 1.5, 1.5, 3.5])
    assert not session.findings


def test_a_run_in_which_the_driver_never_pressed_is_a_run(tmp_path):
    log = SmallLog(tmp_path)
    log.parts["requests"] = REQUESTS
    log.tables["presses.csv"] = pd.DataFrame({"t": []})
    session = read_session(log.write())
    assert session.requests_s is not None
    assert len(session.requests_s) == 0
    assert not session.findings


def test_requests_outside_the_log_are_a_finding(tmp_path):
    log = SmallLog(tmp_path)
    log.parts["requests"] = REQUESTS
    log.tables["presses.csv"] = pd.DataFrame({"t": [0.49, 0.5, 8.5, 8.51]})
    session = read_session(log.write())
    np.testing.assert_allclose(session.requests_s, [0.0, 8.0])
    (finding,) = session.findings
    assert (finding.code, finding.where) == ("outside_log", "presses.csv, row 1")
    assert finding.message.startswith("2 requests lie outside")
