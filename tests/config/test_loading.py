"""Every mistake in a TOML file gives one sentence: file, key path, value, what to do."""

import tomllib

import pytest
from logs import FIELD, ROBOT

from locbench.config import FieldConfig, FusionConfig, RobotConfig, SessionConfig, ShooterConfig, load_config
from locbench.config.loading import read_toml
from locbench.errors import ConfigError

SESSION = """name = "s"
robot = "r.toml"
field = "f.toml"
[start]
mark = "S1"
[odometry]
kind = "pod_counts"
file = "o.csv"
time = { column = "t", unit = "ms" }
pods = { left = "l" }
"""
FUSION = 'name = "f"\n'
SHOOTER = 'name = "s"\nentry_angle = "50 deg"\n[projectile]\ndiameter = "70 mm"\n'

VELOCITIES = SESSION.replace("pod_counts", "velocities").replace(
    'pods = { left = "l" }', 'vx = { column = "v", unit = "m/s" }'
)
RANGES = (
    SESSION
    + """[tags]
kind = "range"
file = "t.csv"
captured = { column = "t", unit = "ms" }
latency = "0 s"
tag = "id"
range = { column = "r", unit = "m" }
"""
)

CASES = [
    (
        RobotConfig,
        ROBOT,
        "[gyro]",
        "[motion_noise]\ndoubted_factor = 0.5\n[gyro]",
        ["motion_noise.doubted_factor", "0.5", "greater than or equal to 1"],
    ),
    (
        FusionConfig,
        FUSION,
        'name = "f"',
        'name = "f"\n[motion_noise]\ndoubted_factor = "3"',
        ["motion_noise.doubted_factor", "3"],
    ),
    (SessionConfig, VELOCITIES, '"v"', '"w"', ["odometry.vx", "unknown key", "forward", "left", "turn_rate"]),
    (SessionConfig, RANGES, 'tag = "id"', 'tag = "id"\nbearing = 1', ["tags.bearing", "unknown key", "range_scale"]),
    (
        RobotConfig,
        ROBOT,
        'wheel_diameter = "35 mm"',
        'wheel_diametre = "35 mm"',
        ["pods.left.wheel_diametre", "unknown key", 'Did you mean "wheel_diameter"'],
    ),
    (RobotConfig, ROBOT, 'y = "150 mm"', "y = 150", ["pods.left.y", "missing unit", "150", '"150 m"']),
    (
        RobotConfig,
        ROBOT,
        'y = "150 mm"',
        'y = "150 deg"',
        ["pods.left.y", "a unit of length is needed", "150 deg", "mm"],
    ),
    (
        RobotConfig,
        ROBOT,
        'y = "150 mm"',
        'y = "150 millimetre"',
        ["pods.left.y", "unknown unit of length", "m, cm, mm, in, ft"],
    ),
    (RobotConfig, ROBOT, '"35 mm"', '"-35 mm"', ["pods.left.wheel_diameter", "must be more than 0 mm", "-35 mm"]),
    (RobotConfig, ROBOT, "8192", "0", ["pods.left.counts_per_revolution", "greater than 0"]),
    (RobotConfig, ROBOT, "8192", '"many"', ["pods.left.counts_per_revolution", "whole number", "many"]),
    (RobotConfig, ROBOT, '"gyro"', '"gyros"', ["heading_from", "not a valid choice", "gyros", 'Did you mean "gyro"']),
    (RobotConfig, ROBOT, 'x = "100 mm"', 'carried_by = "turet"', ["carried_by", "not a valid choice", '"turret"']),
    (RobotConfig, ROBOT, 'x = "100 mm"', 'turret_x = "0 mm"', ["cameras.front", 'need carried_by = "turret"']),
    (RobotConfig, ROBOT, '[gyro]\nheading_per_minute = "0.5 deg"', "", ["needs a [gyro]", "pods"]),
    (RobotConfig, ROBOT, 'rolling_direction = "90 deg"', "", ["cannot see sideways motion", "Add a pod"]),
    (
        RobotConfig,
        ROBOT,
        "[gyro]",
        '[drive_wheels.left]\nx = "0 mm"\ny = "0 mm"\nwheel_diameter = "70 mm"\ncounts_per_revolution = 512\n[gyro]',
        ['"left" is a pod and a driven wheel', "Give one of them another name"],
    ),
    (
        RobotConfig,
        ROBOT,
        "[gyro]",
        '[drive_wheels.front]\nx = "0 mm"\ny = "0 mm"\n[gyro]',
        ["drive_wheels.front.wheel_diameter", "required key is missing"],
    ),
    (FieldConfig, FIELD, "id = 1", "id = -1", ["tags[1].id", "greater than or equal to 0"]),
    (FieldConfig, FIELD, 'name = "M2"', 'name = "S1"', ["mark name 'S1' appears more than once"]),
    (
        FieldConfig,
        FIELD,
        'name = "M2"',
        'name = "M2"\nplacing_std = "3 mm"',
        ["marks[2]", "placing_std is a part of position_std"],
    ),
    (
        FieldConfig,
        FIELD,
        '[[bands]]\nname = "near"',
        '[[distances]]\nfirst = "S1"\nsecond = "M9"\nlength = "1 m"\nstd = "2 mm"\n[[bands]]\nname = "near"',
        ['names the mark "M9"', "Marks: M2, S1"],
    ),
    (
        FieldConfig,
        FIELD,
        '[[bands]]\nname = "near"',
        '[[distances]]\nfirst = "S1"\nsecond = "M2"\nlength = "1.6 m"\nstd = "2 mm"\n[[bands]]\nname = "near"',
        ["are 1414 mm apart by their places, 1600 mm by the distance", "Measure both again"],
    ),
    (
        FieldConfig,
        FIELD,
        'kind = "horizontal"',
        'kind = "horizontl"',
        ["goals[1].opening.kind", 'Did you mean "horizontal"'],
    ),
    (
        FieldConfig,
        FIELD,
        'from = "0 m"\nto = "2 m"',
        'from = "2 m"\nto = "2 m"',
        ["bands[1]", '"to" must be larger than "from"'],
    ),
    (
        FieldConfig,
        FIELD,
        '\nfrom = "0 m"',
        '\nfrom = "0 m"\ngoal = "north bin"',
        ["north bin", "does not exist", "east bin"],
    ),
    (FieldConfig, FIELD, 'x_to = "4 m"', 'x_to = "-4 m"', ["floor", "larger"]),
    (SessionConfig, SESSION, "pod_counts", "pod_count", ["odometry.kind", "pod_count", 'Did you mean "pod_counts"']),
    (SessionConfig, SESSION, 'kind = "pod_counts"\n', "", ["odometry.kind", "missing"]),
    (SessionConfig, SESSION, 'unit = "ms"', 'unit = "mm"', ["odometry.time.unit", "unit of time is needed", "mm"]),
    (SessionConfig, SESSION, 'column = "t"', 'colunm = "t"', ["odometry.time.colunm", 'Did you mean "column"']),
    (SessionConfig, SESSION, 'mark = "S1"', 'mark = "S1"\nx = "1 m"', ["start", "exclude each other"]),
    (SessionConfig, SESSION, 'mark = "S1"', 'x = "1 m"\ny = "1 m"\nheading = "0 deg"', ["start", "position_std"]),
    (
        SessionConfig,
        SESSION,
        'pods = { left = "l" }',
        'pods = { left = { colum = "l" } }',
        ["odometry.pods.left.colum"],
    ),
    (
        SessionConfig,
        SESSION,
        'pods = { left = "l" }',
        'pods = { left = "l" }\ndrive_wheels = { front = { colum = "d" } }',
        ["odometry.drive_wheels.front.colum"],
    ),
    (
        SessionConfig,
        VELOCITIES.replace("vx", "forward"),
        "[odometry]",
        '[odometry]\ndrive_wheels = { front = "d" }',
        ["odometry.drive_wheels", "unknown key"],
    ),
    (SessionConfig, SESSION, "[start]", "[star]", ["star", "unknown key", 'Did you mean "start"']),
    (FusionConfig, FUSION, "\n", "\n[tag_noise]\nscale = 2.0\n", ["tag_noise", 'Add source = "log"']),
    (FusionConfig, FUSION, "\n", '\n[tag_noise]\nsource = "log"\nscale = 0.0\n', ["tag_noise.scale", "greater than 0"]),
    (
        FusionConfig,
        FUSION,
        "\n",
        '\n[tag_noise]\nsource = "logs"\n',
        ["tag_noise.source", "not a valid choice", '"log"'],
    ),
    (FusionConfig, FUSION, "\n", '\n[tag_noise]\nbearing_floor = "0 deg"\n', ["bearing_floor", "more than 0"]),
    (
        FusionConfig,
        FUSION,
        "\n",
        '\n[tag_noise]\ncorrelation_between_tags = "120 %"\n',
        ["tag_noise.correlation_between_tags", "at most"],
    ),
    (FusionConfig, FUSION, '"f"', '"dead_reckoning"', ["reserved"]),
    (
        FusionConfig,
        FUSION,
        '"f"\n',
        '"f"\n[correction]\nmode = "kalmann"\n',
        ["correction.mode", 'Did you mean "kalman"'],
    ),
    (
        FusionConfig,
        FUSION,
        '"f"\n',
        '"f"\n[trust]\ngate_probability = "100 %"\n',
        ["trust.gate_probability", "less than 100", "100 %"],
    ),
    (FusionConfig, FUSION, '"f"\n', '"f"\n[tag_noise]\nheading_floor = "0 deg"\n', ["heading_floor"]),
    (FusionConfig, FUSION, '"f"\n', '"f"\nengine = "unscented"\n[correction]\nmode = "fixed_gain"\n', ["unscented"]),
    (ShooterConfig, SHOOTER, '"50 deg"', '"95 deg"', ["entry_angle", "less than 90", "95 deg"]),
    (ShooterConfig, SHOOTER, 'name = "s"', 'name = "s', ["TOML syntax error", "line 1"]),
]

TRUST_CASES = [
    ("maximum_reprojection_ratio = 1.2", ["trust.maximum_reprojection_ratio", "less than or equal to 1", "1.2"]),
    ('maximum_reprojection_ratio = "60 %"', ["trust.maximum_reprojection_ratio", "must be a number", "60 %"]),
    ("minimum_tag_count = 0", ["trust.minimum_tag_count", "greater than or equal to 1"]),
    ("minimum_tag_count = 2.0", ["trust.minimum_tag_count", "whole number"]),
    ('maximum_turn_rate = "90 deg"', ["trust.maximum_turn_rate", "a unit of turn rate is needed", "deg/s"]),
    ('maximum_speed = "0 m/s"', ["trust.maximum_speed", "must be more than 0"]),
    ("only_on_request = 1", ["trust.only_on_request", "must be true or false"]),
    ('request_window = "2 s"', ["trust", "only_on_request = true"]),
    ('only_on_request = true\nrequest_window = "0 s"', ["trust.request_window", "must be more than 0"]),
    ('gate_probability = "99 %"\nreacquire_after = 1', ["trust.reacquire_after", "greater than or equal to 2"]),
    ("reacquire_after = 3", ["trust", "Add gate_probability"]),
    (
        'gate_probability = "99 %"\nreacquire_after = 3\n[correction]\nmode = "none"',
        ["nothing can be reacquired", "Remove trust.reacquire_after"],
    ),
]
CASES += [(FusionConfig, FUSION, "\n", f"\n[trust]\n{lines}\n", words) for lines, words in TRUST_CASES]


@pytest.mark.parametrize(("model", "text", "old", "new", "words"), CASES, ids=[c[3][:60] or c[2][:40] for c in CASES])
def test_a_mistake_names_file_key_value_and_remedy(tmp_path, model, text, old, new, words):
    path = tmp_path / "mine.toml"
    assert old in text
    path.write_text(text.replace(old, new, 1))
    with pytest.raises(ConfigError) as caught:
        load_config(path, model)
    message = str(caught.value)
    assert message.startswith(str(path))
    assert "\n" not in message
    for word in words:
        assert word in message


@pytest.mark.parametrize(
    ("model", "text"),
    [
        (RobotConfig, ROBOT),
        (FieldConfig, FIELD),
        (SessionConfig, SESSION),
        (FusionConfig, FUSION),
        (ShooterConfig, SHOOTER),
    ],
)
def test_the_unchanged_files_are_good(tmp_path, model, text):
    path = tmp_path / "good.toml"
    path.write_text(text)
    assert load_config(path, model).name == tomllib.loads(text)["name"]


def test_a_missing_file_and_bytes_that_are_not_text(tmp_path):
    with pytest.raises(ConfigError, match="no such file"):
        load_config(tmp_path / "none.toml", FusionConfig)
    (tmp_path / "bytes.toml").write_bytes(b"\xff\xfe\x00")
    with pytest.raises(ConfigError, match="not UTF-8"):
        load_config(tmp_path / "bytes.toml", FusionConfig)


def test_several_mistakes_are_counted(tmp_path):
    path = tmp_path / "many.toml"
    path.write_text(ROBOT.replace('"35 mm"', "35"))
    with pytest.raises(ConfigError, match=r"also wrong: pods\.right\.wheel_diameter, pods\.cross\.wheel_diameter"):
        load_config(path, RobotConfig)


def test_a_session_without_driven_wheels_has_none(tmp_path):
    path = tmp_path / "session.toml"
    path.write_text(SESSION)
    assert load_config(path, SessionConfig).odometry.drive_wheels == {}


def test_values_are_in_si(tmp_path):
    path = tmp_path / "robot.toml"
    path.write_text(ROBOT)
    robot = load_config(path, RobotConfig)
    assert robot.pods["left"].y == pytest.approx(0.15)
    assert robot.pods["right"].metres_per_count < 0 < robot.pods["left"].metres_per_count
    assert robot.pods["cross"].rolling_direction == pytest.approx(1.5707963)


@pytest.mark.parametrize(
    "text", ["a = " + "[" * 5000 + "]" * 5000, "a = " + "{ a = " * 5000 + "1" + " }" * 5000, "a = " + "1" * 5000]
)
def test_what_the_parser_gives_up_on_is_bad_input(tmp_path, text):
    (tmp_path / "deep.toml").write_text(text)
    with pytest.raises(ConfigError, match=r"deep\.toml: brackets nested too deeply, or a number with too many digits"):
        read_toml(tmp_path / "deep.toml")


@pytest.mark.parametrize("name", ["n" * 400, "a\x00b", "."])
def test_a_path_that_is_no_file(tmp_path, name):
    with pytest.raises(ConfigError, match=r"\. Check the path"):
        read_toml(tmp_path / name)


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        ('name = "test robot"', "name = 3", "must be a text (got 3). Write it in quotes"),
        ('name = "test robot"', 'name = ""', "text is empty (got '')"),
        ('x = "0 mm"', 'x = "1e400 mm"', "Check it and its unit"),
        ('x = "-100 mm"', 'x = "-100 in"', "at least -2 m and at most 2 m (got '-100 in')"),
        ('wheel_diameter = "35 mm"', 'wheel_diameter = "0 mm"', "Write a value in that range"),
    ],
)
def test_every_mistake_has_a_remedy_in_plain_words(tmp_path, old, new, words):
    assert old in ROBOT
    (tmp_path / "robot.toml").write_text(ROBOT.replace(old, new, 1))
    with pytest.raises(ConfigError) as caught:
        load_config(tmp_path / "robot.toml", RobotConfig)
    assert words in str(caught.value)
