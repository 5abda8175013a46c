"""What names, numbers, marks, pods and motion say about a log."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from orchard_drive import FIELD, ROBOT, orchard_drive

from locbench.adoption.entries import Given
from locbench.adoption.foreign_tables import ForeignColumn, ForeignTable
from locbench.adoption.headers import read_header
from locbench.adoption.headings import (
    SENSES,
    Visits,
    heading_at_marks,
    heading_by_motion,
    heading_by_pods,
    plane_at_marks,
)
from locbench.adoption.kinds import sorted_tables
from locbench.adoption.meanings import Meaning, named_meaning
from locbench.adoption.proposing import propose
from locbench.adoption.questions import Strength
from locbench.adoption.unit_evidence import (
    angle_unit,
    clock_unit,
    clock_unit_beside,
    length_unit,
    speed_unit,
    turn_rate_unit,
)
from locbench.adoption.wide_tables import parted_tables
from locbench.config import FieldConfig, RobotConfig, load_config
from locbench.config.columns import AXES
from locbench.geometry import transform_points, wrap_angle
from locbench.session import TableName
from locbench.units import UNITS


def _column(name: str, values) -> ForeignColumn:
    return ForeignColumn(name, read_header(name), tuple(str(value) for value in values))


def _table(file: str, columns: dict) -> ForeignTable:
    return ForeignTable(file, tuple(_column(name, values) for name, values in columns.items()), ())


@pytest.mark.parametrize(
    ("name", "meaning", "unit"),
    [
        ("t [ms]", Meaning.TIME, "ms"),
        ("Zähler links", None, None),
        ("millis", Meaning.TIME, "ms"),
        ("t_shutter_ms", Meaning.CAPTURED, "ms"),
        ("rxTime", Meaning.ARRIVED, None),
        ("arrived", Meaning.ARRIVED, None),
        ("latency (ms)", Meaning.LATENCY, "ms"),
        ("from", Meaning.BEGIN, None),
        ("t_end_s", Meaning.END, "s"),
        ("time_in", Meaning.TIME, "in"),
        ("gyro_deg", Meaning.HEADING, "deg"),
        ("gyro_rate_dps", Meaning.TURN_RATE, "deg/s"),
        ("yaw rate (rad/s)", Meaning.TURN_RATE, "rad/s"),
        ("heading (cw)", Meaning.HEADING, None),
        ("headingRad", Meaning.HEADING, "rad"),
        ("x / mm", Meaning.X, "mm"),
        ("pos_y_in", Meaning.Y, "in"),
        ("enc_left", Meaning.POD, None),
        ("pod2 [counts]", Meaning.POD, None),
        ("tag id", Meaning.TAG, None),
        ("n_tags", Meaning.TAG_COUNT, None),
        ("tag_range_m", Meaning.RANGE, "m"),
        ("bearing °", Meaning.BEARING, "°"),
        ("v_forward (in/s)", Meaning.FORWARD_SPEED, "in/s"),
        ("vel_m_s", Meaning.FORWARD_SPEED, "m/s"),
        ("v left", Meaning.LEFT_SPEED, None),
        ("dx_mm", Meaning.FORWARD_STEP, "mm"),
        ("dtheta", Meaning.TURN_STEP, None),
        ("x_std_mm", Meaning.X_STD, "mm"),
        ("turret_deg", Meaning.TURRET_YAW, "deg"),
        ("view angle", Meaning.VIEW_ANGLE, None),
        ("colour", None, None),
        ("v right", None, None),
        ("goal_x_m", None, "m"),
        ("heading error (deg)", None, "deg"),
        ("x_var", None, None),
        ("loop rate", None, None),
    ],
)
def test_what_names_say(name, meaning, unit):
    reading = read_header(name)
    assert named_meaning(reading) is meaning
    assert (reading.unit and reading.unit.symbol) == {"°": "deg"}.get(unit, unit)


@pytest.mark.parametrize(
    ("name", "step", "unit", "strength"),
    [
        ("t", 0.02, "s", Strength.HINTED),
        ("t", 20, "ms", Strength.HINTED),
        ("t", 20_000, "us", Strength.HINTED),
        ("t", 20_000_000, "ns", Strength.HINTED),
        ("t", 0.7, None, Strength.NOTHING),
        ("t_ms", 20, "ms", Strength.SHOWN),
        # a name that cannot be right is asked about
        ("t_ms", 0.02, "ms", Strength.HINTED),
        ("t_s", 20, "s", Strength.HINTED),
    ],
)
def test_the_unit_of_a_clock(name, step, unit, strength):
    found = clock_unit(_column(name, [step * row for row in range(50)]))
    assert (found.value, found.strength) == (unit, strength)


def test_a_clock_that_counts_since_1970_says_so():
    found = clock_unit(_column("t", [1_700_000_000_000 + 20 * row for row in range(50)]))
    assert found.value == "ms"
    assert "since 1970" in found.why


def test_another_tables_clock_is_compared_with_how_long_the_odometry_lasts():
    visits = _column("begin", [7315.9, 30000, 80000])
    assert clock_unit_beside(visits, (0.0, 88.0)).value == "ms"
    assert clock_unit_beside(visits, None).value is None
    assert clock_unit_beside(_column("begin", [5.0]), (0.0, 88.0)).value is None


@pytest.mark.parametrize(
    ("name", "values", "unit", "strength"),
    [
        ("h", [170, 179, -180, -170], "deg", Strength.SHOWN),
        ("h", [350, 359.5, 0.2, 10], "deg", Strength.SHOWN),
        ("h", [3.0, 3.14, -3.13, -3.0], "rad", Strength.SHOWN),
        ("h", [6.0, 6.27, 0.01, 0.3], "rad", Strength.SHOWN),
        ("h", [0, 90, 180, 400], "deg", Strength.HINTED),
        ("h", [0.0, 1.5, 3.0], "rad", Strength.HINTED),
        ("h", [0.0, 1.5, 2.0], None, Strength.NOTHING),
        ("h", [0.0, 7.0, 19.0], None, Strength.NOTHING),
        ("h_deg", [0.0, 1.5, 2.0], "deg", Strength.SHOWN),
        ("h_deg", [3.0, 3.14, -3.13, -3.0], "deg", Strength.HINTED),
        ("h [grad]", [0.0, 1.5, 2.0], None, Strength.NOTHING),
    ],
)
def test_the_unit_of_a_heading(name, values, unit, strength):
    found = angle_unit(_column(name, values))
    assert (found.value, found.strength) == (unit, strength)


@pytest.mark.parametrize(
    ("extent", "unit"),
    [(3.1, "m"), (130.0, "in"), (310.0, "cm"), (3100.0, "mm"), (180.0, None), (0.0, None), (1e6, None)],
)
def test_a_range_only_hints_at_a_length(extent, unit):
    found = length_unit(_column("x", [0, extent]), extent, 3.2)
    assert found.value == unit
    assert found.strength is (Strength.NOTHING if unit is None else Strength.HINTED)


def test_a_named_length_that_leaves_every_floor_is_asked_about():
    assert length_unit(_column("x_in", [0]), 120.0, 3.0).strength is Strength.SHOWN
    assert length_unit(_column("x_in", [0]), 3600.0, 3.0).strength is Strength.HINTED


def test_speeds_and_turn_rates():
    assert speed_unit(_column("v", [40.0] * 9)).value == "in/s"
    assert speed_unit(_column("v", [1000.0] * 9)).value == "mm/s"
    assert speed_unit(_column("v_m_s", [900.0] * 9)).strength is Strength.HINTED
    assert turn_rate_unit(_column("w", [120.0] * 9)).value == "deg/s"
    assert turn_rate_unit(_column("w", [2.0] * 9)).value == "rad/s"
    assert turn_rate_unit(_column("w", [12.0] * 9)).value is None


_CONVENTIONS = st.tuples(
    st.sampled_from(sorted(SENSES)), st.sampled_from(sorted(AXES)), st.sampled_from(["deg", "rad"])
)


@given(convention=_CONVENTIONS, turned=st.floats(-3.0, 3.0))
def test_motion_shows_the_convention_of_a_robot_that_drives_forward(convention, turned):
    sense, axis, unit = convention
    pose = orchard_drive().pose
    points = transform_points(np.array([0.3, -0.2, turned]), pose[:, :2])
    logged = SENSES[sense] * (pose[:, 2] + turned - AXES[axis]) / UNITS[unit].factor
    found = heading_by_motion(points, logged, ("deg", "rad"))
    assert (found.unit.value, found.sense.value, found.zero.value) == (unit, sense, axis)
    # driving backwards, or a y axis to the right, would look the same: sense and zero are asked about
    assert found.unit.strength is Strength.SHOWN
    assert found.sense.strength is found.zero.strength is Strength.HINTED


def test_motion_says_less_of_a_robot_that_strafes():
    pose = orchard_drive().pose
    half = len(pose) // 2
    strafing = np.concatenate([pose[:half, 2], pose[half:, 2] + np.radians(100.0)])
    found = heading_by_motion(pose[:, :2], strafing, ("rad",))
    assert found.sense.strength is not Strength.SHOWN
    assert "strafes" in found.sense.why
    sideways = heading_by_motion(pose[:, :2], np.random.default_rng(1).uniform(-3, 3, len(pose)), ("rad",))
    assert sideways.sense.value is None


def test_motion_says_nothing_where_the_robot_hardly_turned():
    points = np.column_stack([np.linspace(0, 3, 200), np.zeros(200)])
    assert heading_by_motion(points, np.zeros(200), ("rad",)).sense.value is None
    assert heading_by_motion(np.zeros((50, 2)), np.arange(50.0), ("rad",)).sense.value is None


def _visits() -> Visits:
    marks = {mark.name: (mark.x, mark.y, mark.heading) for mark in load_config(FIELD, FieldConfig).marks}
    stands = orchard_drive().stands
    return Visits(
        np.array([begin for _, begin, _ in stands]),
        np.array([end for _, _, end in stands]),
        np.array([marks[name] for name, _, _ in stands], dtype=float),
    )


@given(convention=_CONVENTIONS, start=st.floats(-3.0, 3.0))
def test_marks_show_unit_and_sense_of_a_heading_with_any_zero(convention, start):
    sense, _, unit = convention
    surveyed = _visits().pose[:, 2]
    noise = np.random.default_rng(2).normal(scale=0.03, size=len(surveyed))
    logged = wrap_angle(SENSES[sense] * (surveyed + start) + noise) / UNITS[unit].factor
    fit = heading_at_marks(logged, surveyed, ("deg", "rad"))
    assert fit is not None
    assert (fit.unit, fit.sense) == (unit, sense)
    assert abs(math.remainder(fit.offset_rad + start, math.tau)) < 0.1


def test_marks_show_nothing_of_a_heading_that_has_nothing_to_do_with_them():
    surveyed = _visits().pose[:, 2]
    assert heading_at_marks(np.arange(7.0) * 50.0 % 7.0, surveyed, ("deg", "rad")) is None
    assert heading_at_marks(surveyed[:2], surveyed[:2], ("rad",)) is None
    # two opposite directions look the same both ways round
    both = np.array([0.0, np.pi, 0.0, np.pi])
    assert heading_at_marks(both, both, ("rad",)) is None


@given(unit=st.sampled_from(["m", "cm", "mm", "in", "ft"]), turned=st.floats(-3.1, 3.1), x=st.floats(-4.0, 4.0))
def test_marks_show_how_positions_lie_on_the_field(unit, turned, x):
    surveyed = _visits().pose[:, :2]
    c, s = math.cos(turned), math.sin(turned)
    logged = (surveyed - [x, 1.0]) @ np.array([[c, -s], [s, c]]) / UNITS[unit].factor
    fit = plane_at_marks(logged, surveyed)
    assert fit is not None
    assert fit.scale == pytest.approx(UNITS[unit].factor)
    assert abs(math.remainder(fit.rotation_rad - turned, math.tau)) < 1e-6
    assert fit.origin_m == pytest.approx([x, 1.0])
    assert not fit.mirrored
    mirrored = plane_at_marks(logged * [1.0, -1.0], surveyed)
    assert mirrored is not None
    assert mirrored.mirrored


def test_pods_show_the_unit_of_the_gyro_and_hint_at_its_sense():
    drive, robot = orchard_drive(), load_config(ROBOT, RobotConfig)
    counts = {
        name: np.rint(np.cumsum(drive.twist @ pod.row) / pod.metres_per_count) for name, pod in robot.pods.items()
    }
    for sense, sign in SENSES.items():
        for unit in ("deg", "rad"):
            logged = wrap_angle(sign * drive.pose[:, 2] + 1.0) / UNITS[unit].factor
            found = heading_by_pods(counts, robot.pods, logged)
            assert (found.unit.value, found.unit.strength) == (unit, Strength.SHOWN)
            assert (found.sense.value, found.sense.strength) == (sense, Strength.HINTED)
    unrelated = np.random.default_rng(3).normal(size=len(drive.time_s)).cumsum()
    assert heading_by_pods(counts, robot.pods, unrelated).sense.value is None


def test_columns_without_telling_names_are_found_by_their_numbers_and_asked_about():
    rows = range(200)
    table = _table(
        "a.csv", {"a1": [20 * row for row in rows], "a2": [9 * max(0, row - 50) for row in rows], "a3": [1] * 200}
    )
    taken = sorted_tables([table]).taken[TableName.ODOMETRY]
    clock = taken.column(Meaning.TIME)
    assert clock is not None
    assert (clock.column.name, clock.by_name) == ("a1", False)
    assert [(pod.column.name, pod.by_name) for pod in taken.pods] == [("a2", False)]


def test_pods_named_after_sides_and_directions_are_counters_not_steps():
    counts = [9 * row for row in range(200)]
    away_and_back = [7 * min(row, 200 - row) for row in range(200)]
    pods = {"left": away_and_back, "right": away_and_back, "strafe": away_and_back}
    taken = sorted_tables([_table("log.csv", {"t_ms": range(200), **pods})])
    assert [pod.column.name for pod in taken.taken[TableName.ODOMETRY].pods] == ["left", "right", "strafe"]
    beside_named = {"t_ms": range(200), "enc_l": counts, "enc_r": counts, "lateral": away_and_back, "a1": away_and_back}
    if_some_are_named = sorted_tables([_table("log.csv", {**beside_named, "enc_right": away_and_back})])
    names = [pod.column.name for pod in if_some_are_named.taken[TableName.ODOMETRY].pods]
    assert "lateral" in names
    assert "a1" not in names


def _pod_answers(pods: tuple[str, ...], columns: tuple[str, ...]) -> dict[str, str | None]:
    """Return what each pod that is asked about is proposed to be."""
    robot = load_config(ROBOT, RobotConfig)
    named = robot.model_copy(update={"pods": dict(zip(pods, robot.pods.values(), strict=True))})
    away_and_back = [7 * min(row, 200 - row) for row in range(200)]
    table = _table("log.csv", {"t_ms": [10 * row for row in range(200)], **dict.fromkeys(columns, away_and_back)})
    questions = propose([table], Given("x", robot=named, robot_file="r.toml")).questions
    return {one.key: one.proposal for one in questions if one.key.startswith("odometry.pods.")}


def test_a_letter_stands_for_its_side_not_for_any_name_that_holds_it():
    assert _pod_answers(("l", "r", "c"), ("Encoder left", "Encoder right", "Encoder cross")) == {}
    # there is an e and a c in every "encoder"
    assert _pod_answers(("e", "n", "k"), ("encoder 1", "encoder 2", "encoder 3")) == {
        "odometry.pods.e": None,
        "odometry.pods.n": None,
        "odometry.pods.k": None,
    }


def test_a_pod_can_be_any_column_of_numbers_that_is_taken_for_nothing():
    away_and_back = [7 * min(row, 200 - row) for row in range(200)]
    columns = {"t_ms": [10 * row for row in range(200)], "enc_left": away_and_back, "enc_right": away_and_back}
    table = _table("log.csv", {**columns, "third": [0.5 * count for count in away_and_back]})
    given_files = Given("x", robot=load_config(ROBOT, RobotConfig), robot_file="r.toml")
    (question,) = [one for one in propose([table], given_files).questions if one.key == "odometry.pods.cross"]
    assert question.asking.choices == ("enc_left", "enc_right", "third")


def test_presses_on_marks_are_marks_and_presses_without_are_requests():
    odometry = _table("log.csv", {"t_ms": range(50), "enc_left": range(50)})
    on_marks = _table("presses.csv", {"t_ms": [3, 9], "mark": ["M1", "M2"]})
    for_fixes = _table("presses.csv", {"t_ms": [3, 9]})
    assert set(sorted_tables([odometry, on_marks]).taken) == {TableName.ODOMETRY, TableName.MARKS}
    assert set(sorted_tables([odometry, for_fixes]).taken) == {TableName.ODOMETRY, TableName.REQUESTS}


def test_a_pose_beside_pods_is_what_the_robot_believed():
    rows = range(50)
    columns = {"t": rows, "enc_l": rows, "enc_r": rows, "x": rows, "y": rows, "heading": rows, "true_x": rows}
    table = _table("log.csv", {**columns, "true_y": rows})
    taken = sorted_tables([table]).taken
    assert set(taken) == {TableName.ODOMETRY, TableName.ONBOARD, TableName.TRUTH}
    assert Meaning.X not in taken[TableName.ODOMETRY].columns
    assert taken[TableName.TRUTH].columns[Meaning.X].column.name == "true_x"


def test_detections_beside_the_odometry_become_a_table_of_their_own():
    rows = range(60)
    seen = [row % 6 == 0 for row in rows]
    table = _table(
        "log.csv",
        {
            "t_ms": [10 * row for row in rows],
            "enc_left": rows,
            "id": [row % 5 if there else "" for row, there in zip(rows, seen, strict=True)],
            "range_m": [1.5 if there else "" for there in seen],
        },
    )
    odometry, tags = parted_tables([table])
    assert [column.name for column in odometry.columns] == ["t_ms", "enc_left"]
    assert tags.file == "log_tags.csv"
    assert [column.name for column in tags.columns] == ["t_ms", "id", "range_m"]
    assert tags.columns[0].cells[:2] == ("0", "60")
    assert "10 rows in log.csv" in tags.changes[0]
    assert parted_tables([odometry]) == [odometry]


def _tag_table(tags: list[int], x: np.ndarray, y: np.ndarray) -> ForeignTable:
    rows = np.arange(len(tags))
    return _table("tags.csv", {"t_ms": 40 * rows, "id": tags, "x_m": x, "y_m": y})


@pytest.mark.parametrize(("of_tags", "kind"), [(False, "robot_pose"), (True, "tag_pose")])
def test_poses_of_the_robot_do_not_depend_on_the_tag(of_tags, kind):
    rows = np.arange(200)
    tags = (rows % 4).tolist()
    x, y = 1.0 + 0.01 * rows, 2.0 + np.sin(rows / 40.0)
    if of_tags:
        x, y = x + np.array([0.0, 2.0, -1.0, 1.0])[tags], y + np.array([1.0, -2.0, 0.5, 2.0])[tags]
    odometry = _table("log.csv", {"t_ms": 10 * rows, "enc_left": rows, "gyro_deg": rows})
    proposal = propose([odometry, _tag_table(tags, x, y)], Given("x"))
    tags_section = next(section for section in proposal.sections if section.name == "tags")
    (entry,) = [entry for entry in tags_section.entries if entry.key == "kind"]
    assert entry.value == f'"{kind}"'
    assert bool(entry.questions) is of_tags


def test_motion_along_x_and_y_may_be_the_fields_and_is_asked_about():
    rows = range(50)
    for names, asked in ((("vx", "vy"), True), (("v_forward", "v_left"), False)):
        table = _table("log.csv", {"t_ms": [10 * row for row in rows], names[0]: rows, names[1]: rows, "omega": rows})
        keys = {question.key for question in propose([table], Given("x")).questions}
        assert ({"odometry.forward.column", "odometry.left.column"} <= keys) is asked


def test_other_words_for_a_pods_side_are_asked_about():
    rows = range(50)
    robot = load_config(ROBOT, RobotConfig)
    table = _table("log.csv", {"t_ms": [10 * row for row in rows], "enc_l": rows, "enc_r": rows, "enc_rear": rows})
    (question,) = [one for one in propose([table], Given("x", robot=robot)).questions if ".pods." in one.key]
    assert (question.key, question.proposal) == ("odometry.pods.cross", "enc_rear")
