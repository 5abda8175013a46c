"""Nothing that would silently mirror, delay or rescale a log is decided without a question."""

import numpy as np
import pytest
from orchard_drive import CAMERA_ZERO_S, FIELD, ROBOT, orchard_drive, write_clockwise_set, write_ranging_set

from locbench.adoption.entries import Given
from locbench.adoption.foreign_tables import ForeignColumn, ForeignTable, read_foreign_table
from locbench.adoption.headers import read_header
from locbench.adoption.proposing import Proposal, propose
from locbench.config import FieldConfig, RobotConfig, load_config
from locbench.geometry import wrap_angle
from locbench.units import parse_quantity


def _table(file: str, columns: dict) -> ForeignTable:
    cells = {name: tuple(str(value) for value in values) for name, values in columns.items()}
    return ForeignTable(file, tuple(ForeignColumn(name, read_header(name), one) for name, one in cells.items()), ())


def _asked(proposal: Proposal) -> dict[str, str | None]:
    return {question.key: question.proposal for question in proposal.questions}


def _given() -> Given:
    robot, field = load_config(ROBOT, RobotConfig), load_config(FIELD, FieldConfig)
    return Given("x", robot_file="robot.toml", robot=robot, field_file="field.toml", field=field)


def _later(table: ForeignTable, by_ms: float, names: tuple[str, ...]) -> ForeignTable:
    columns = [
        ForeignColumn(one.name, one.reading, tuple(str(float(cell) + by_ms) for cell in one.cells))
        if one.name in names
        else one
        for one in table.columns
    ]
    return ForeignTable(table.file, tuple(columns), table.changes)


_TIMES = ("shutter [ms]", "rx [ms]", "from [ms]", "to [ms]")


@pytest.fixture(scope="module")
def clockwise_tables(tmp_path_factory):
    return [read_foreign_table(path) for path in write_clockwise_set(tmp_path_factory.mktemp("late"))]


@pytest.mark.parametrize("late_s", [-2.5, -0.3, 0.15, 1.5])
def test_a_camera_whose_clock_began_at_another_moment_is_asked_about(clockwise_tables, late_s):
    odometry, tags, marks = clockwise_tables
    asked = _asked(propose([odometry, _later(tags, 1000.0 * late_s, _TIMES), marks], _given()))
    proposed = asked["tags.offset"]
    assert proposed is not None
    assert parse_quantity(proposed, tags.columns[0].reading.dimension) == pytest.approx(-late_s, abs=0.05)
    assert "marks.offset" not in asked


@pytest.mark.parametrize("late_s", [-2.0, 1.0])
def test_visits_during_which_the_robot_drives_are_asked_about(clockwise_tables, late_s):
    odometry, tags, marks = clockwise_tables
    asked = _asked(propose([odometry, tags, _later(marks, 1000.0 * late_s, _TIMES)], _given()))
    assert "marks.offset" in asked
    assert "tags.offset" not in asked


def test_clocks_that_go_together_need_no_question(clockwise_tables):
    assert not {"tags.offset", "marks.offset"} & set(_asked(propose(clockwise_tables, _given())))


def test_an_arrival_on_the_robots_clock_is_not_moved_with_the_cameras(tmp_path):
    odometry, tags, marks = (read_foreign_table(path) for path in write_ranging_set(tmp_path))
    asked = _asked(propose([odometry, _later(tags, -1000.0 * CAMERA_ZERO_S, ("arrived",)), marks], _given()))
    assert asked["tags.latency"] is None
    assert asked["tags.offset"] is None


def _driven(names: tuple[str, str, str]) -> ForeignTable:
    """Increments, in metres and radians, under three names."""
    drive = orchard_drive()
    columns = {"t_ms": np.rint(1000 * drive.time_s).astype(int)}
    columns |= {name: np.round(drive.twist[:, axis], 6) for axis, name in enumerate(names)}
    return _table("log.csv", columns)


@pytest.mark.parametrize(
    ("names", "asked_of"),
    [
        (("d_forward_m", "d_left_m", "dtheta_rad"), set()),
        (("d_forward_m", "d_strafe_m", "dtheta_rad"), {"odometry.left.column"}),
        (("forward_m", "d_left_m", "dtheta_rad"), {"odometry.forward.column"}),
        (("v_forward_m_s", "strafe_m_s", "omega_rad_s"), {"odometry.left.column"}),
        (("v_forward_m_s", "v_left_m_s", "omega_rad_s"), set()),
    ],
)
def test_a_motion_that_may_be_mirrored_or_summed_up_is_asked_about(names, asked_of):
    asked = _asked(propose([_driven(names)], _given()))
    assert {key for key in asked if key.endswith(".column")} == asked_of


def test_the_speed_of_a_left_wheel_is_no_speed_to_the_left():
    table = _driven(("v_forward_m_s", "v_left_m_s", "omega_rad_s"))
    wheel = ForeignColumn("v_right_m_s", read_header("v_right_m_s"), table.columns[1].cells)
    asked = _asked(propose([ForeignTable("log.csv", (*table.columns, wheel), ())], _given()))
    assert "odometry.left.column" in asked


def _counted(names: tuple[str, str, str], gyro: np.ndarray) -> ForeignTable:
    drive, robot = orchard_drive(), load_config(ROBOT, RobotConfig)
    columns: dict = {"t_ms": np.rint(1000 * drive.time_s).astype(int)}
    for name, pod in zip(names, robot.pods.values(), strict=True):
        columns[name] = np.rint(np.cumsum(drive.twist @ pod.row) / pod.metres_per_count).astype(int)
    return _table("log.csv", {**columns, "gyro": np.round(gyro, 3)})


def test_a_gyro_that_may_log_its_rate_is_asked_about():
    drive, sides = orchard_drive(), ("enc_left", "enc_right", "enc_cross")
    rate = np.degrees(np.gradient(drive.pose[:, 2], drive.time_s))
    assert "odometry.heading.column" in _asked(propose([_counted(sides, rate)], _given()))
    wrapped = np.degrees(wrap_angle(drive.pose[:, 2]))
    assert "odometry.heading.column" not in _asked(propose([_counted(sides, wrapped)], _given()))


def test_letters_in_a_row_are_no_sides():
    heading = np.degrees(wrap_angle(orchard_drive().pose[:, 2]))
    asked = _asked(propose([_counted(("a", "b", "c"), heading)], _given()))
    assert {f"odometry.pods.{pod}" for pod in ("left", "right", "cross")} <= set(asked)
    sided = _asked(propose([_counted(("enc_l", "enc_r", "enc_c"), heading)], _given()))
    assert not [key for key in sided if ".pods." in key]


def test_a_mirrored_track_is_asked_about_without_marks_and_shown_with_them(clockwise_tables):
    """North, east and a compass heading look like a usual frame whose headings grow to the left."""
    drive, marks = orchard_drive(), clockwise_tables[2]
    track = _table(
        "pose.csv",
        {
            "t_ms": np.rint(1000 * drive.time_s).astype(int),
            "x_m": np.round(drive.pose[:, 0], 4),
            "y_m": np.round(-drive.pose[:, 1], 4),
            "heading_deg": np.round(-np.degrees(drive.pose[:, 2]), 2),
        },
    )
    asked = _asked(propose([track], Given("x")))
    assert asked["odometry.frame.y_axis"] is None
    assert "odometry.frame.heading_sense" in asked
    shown = propose([track, marks], _given())
    assert not [key for key in _asked(shown) if ".frame." in key]
    (frame,) = [one.value for part in shown.sections for one in part.entries if one.key == "frame"]
    assert 'heading_sense = "clockwise"' in frame
    assert 'y_axis = "right"' in frame


@pytest.mark.parametrize(("turned_deg", "shift_m"), [(2.0, 0.0), (0.0, 0.05)])
def test_a_frame_a_little_off_the_fields_is_not_rounded_to_it_silently(clockwise_tables, turned_deg, shift_m):
    odometry, tags, marks = clockwise_tables
    numbers = {column.name: column.numbers for column in tags.columns}
    x, y = numbers["x"] + shift_m / 0.0254, numbers["y"]
    c, s = np.cos(np.radians(turned_deg)), np.sin(np.radians(turned_deg))
    moved = {
        "shutter [ms]": numbers["shutter [ms]"],
        "rx [ms]": numbers["rx [ms]"],
        "id": numbers["id"].astype(int),
        "x": c * x - s * y,
        "y": s * x + c * y,
        "heading": numbers["heading"],
    }
    asked = _asked(propose([odometry, _table("tags.csv", moved), marks], _given()))
    assert ("tags.frame.rotate" if turned_deg else "tags.frame.origin") in asked
