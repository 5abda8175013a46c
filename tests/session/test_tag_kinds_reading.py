"""Every kind of detection is read onto the robot or the field; what cannot be used is an error or a finding."""

import numpy as np
import pandas as pd
import pytest
from logs import SmallLog
from scipy.spatial.transform import Rotation

from locbench.errors import ConfigError, SessionError
from locbench.session import TagKind, read_session

HEAD = """[tags]
kind = "{kind}"
file = "tags.csv"
captured = {{ column = "t_ms", unit = "ms" }}
latency = "40 ms"
tag = "id"
"""
COLUMNS = {
    "tag_pose": 'x = { column = "x", unit = "cm" }\ny = { column = "y", unit = "cm" }\n'
    'z = { column = "z", unit = "cm" }\nheading = { column = "h", unit = "deg" }\n',
    "range_bearing": 'range = { column = "r", unit = "in" }\nbearing = { column = "b", unit = "deg" }\n',
    "bearing": 'bearing = { column = "b", unit = "deg" }\n',
    "range": 'range = { column = "r", unit = "in" }\nmount = "front"\n',
}
TAG = np.array([4.0, 2.0, 0.55])
TILTED = 'yaw = "25 deg"\npitch = "-12 deg"\nroll = "7 deg"\n'
ON_TURRET = 'carried_by = "turret"\nturret_x = "-60 mm"\nturret_y = "20 mm"\n'


class CameraLog(SmallLog):
    """The small drive with exact readings of tag 1 on the east wall, 0.55 m high, by the camera at (0.1, 0, 0.3) m."""

    def __init__(self, folder, kind, mount="", turret=None) -> None:
        super().__init__(folder)
        field = folder / "field.toml"
        field.write_text(field.read_text().replace('facing = "180 deg"\n', 'facing = "180 deg"\nz = "0.55 m"\n', 1))
        (folder / "robot.toml").write_text((folder / "robot.toml").read_text() + mount)
        self.parts["tags"] = HEAD.format(kind=kind) + COLUMNS[kind]
        rows = slice(None, None, 20)
        poses = self.poses[rows]
        angles = np.radians([25.0, -12.0, 7.0]) if "pitch" in mount else np.zeros(3)
        self.turret = np.zeros(len(poses)) if turret is None else turret(self.time[rows])
        self.mounts, table = [], []
        for pose, yaw in zip(poses, self.turret, strict=True):
            robot, turning = Rotation.from_euler("Z", pose[2]), Rotation.from_euler("Z", yaw)
            offset, axis = np.array([0.1, 0.0, 0.3]), np.zeros(3)
            if "turret" in mount:
                axis = np.array([-0.06, 0.02, 0.0])
            place = axis + turning.apply(offset)
            camera = turning * Rotation.from_euler("ZYX", angles)
            self.mounts.append([*place, yaw + angles[0], *angles[1:]])
            line = robot.inv().apply(TAG - [pose[0], pose[1], 0.0]) - place
            seen = camera.inv().apply(line)
            normal = (robot * camera).inv().apply([-1.0, 0.0, 0.0])
            table.append(
                {
                    "x": 100 * seen[0],
                    "y": 100 * seen[1],
                    "z": 100 * seen[2],
                    "h": np.degrees(np.arctan2(normal[1], normal[0])),
                    "r": np.hypot(line[0], line[1]) / 0.0254,
                    "b": np.degrees(np.arctan2(seen[1], seen[0])),
                    "tur": np.degrees(yaw),
                }
            )
        self.seen_from = poses
        self.tags = pd.DataFrame({"t_ms": 1000 * self.time[rows], "id": 1, **pd.DataFrame(table)})
        self.tables["tags.csv"] = self.tags

    def read(self, extra=""):
        self.parts["tags"] += extra
        return read_session(self.write())

    def expected(self, kind):
        poses, tag = self.seen_from, self.tags
        line = TAG[:2] - poses[:, :2]
        c, s = np.cos(poses[:, 2]), np.sin(poses[:, 2])
        on_robot = np.column_stack([c * line[:, 0] + s * line[:, 1], -s * line[:, 0] + c * line[:, 1]])
        bearing = np.radians(tag["b"].to_numpy())
        distance = tag["r"].to_numpy() * 0.0254
        return {
            "tag_pose": np.column_stack([on_robot, np.pi - poses[:, 2]]),
            "range_bearing": np.column_stack([distance, bearing]),
            "bearing": bearing[:, np.newaxis],
            "range": distance[:, np.newaxis],
        }[kind]


def _assert_value(found, log, kind):
    difference = found.value - log.expected(kind)
    if kind != "range":
        difference[:, -1] = np.arctan2(np.sin(difference[:, -1]), np.cos(difference[:, -1]))
    np.testing.assert_allclose(difference, 0.0, atol=1e-9)


@pytest.mark.parametrize("kind", list(COLUMNS))
@pytest.mark.parametrize("mount", ["", TILTED], ids=["level", "tilted"])
def test_every_kind_is_read_through_its_mount(tmp_path, kind, mount):
    log = CameraLog(tmp_path, kind, mount)
    session = log.read()
    found = session.detections
    assert (found.kind, found.slant) == (TagKind(kind), False)
    assert session.findings == ()
    _assert_value(found, log, kind)
    np.testing.assert_allclose(found.mount, log.mounts, atol=1e-12)
    assert np.all(np.isnan(np.diagonal(found.own_covariance, axis1=1, axis2=2)))
    expected_range = np.full(len(found), np.nan) if kind == "bearing" else log.tags["r"] * 0.0254
    np.testing.assert_allclose(found.range_m, expected_range, atol=1e-9)


@pytest.mark.parametrize("kind", list(COLUMNS))
@pytest.mark.parametrize("sense", ["counter-clockwise", "clockwise"])
def test_a_camera_on_the_turret_turns_with_it(tmp_path, kind, sense):
    log = CameraLog(tmp_path, kind, ON_TURRET + TILTED, lambda time: 0.8 * np.sin(2 * time) + 2.5)
    log.tags["tur"] *= -1 if sense == "clockwise" else 1
    found = log.read(f'turret_yaw = {{ column = "tur", unit = "deg", sense = "{sense}" }}\n').detections
    np.testing.assert_allclose(found.mount, log.mounts, atol=1e-12)
    _assert_value(found, log, kind)


def test_a_view_angle_follows_from_the_tags_heading_and_a_reported_one_wins(tmp_path):
    log = CameraLog(tmp_path, "tag_pose", TILTED)
    camera = np.array([p[:2] + Rotation.from_euler("Z", p[2]).apply([0.1, 0, 0])[:2] for p in log.seen_from])
    line = camera - TAG[:2]
    # the tag looks to -x
    expected = np.abs(np.arctan2(line[:, 1], -line[:, 0]))
    np.testing.assert_allclose(log.read().detections.view_angle_rad, expected, atol=1e-9)
    log.tags["v"] = -12.0
    log.tags.loc[3, "v"] = np.nan
    found = log.read('view_angle = { column = "v", unit = "deg" }\n').detections
    assert found.view_angle_rad[2] == pytest.approx(np.radians(12.0))
    assert found.view_angle_rad[3] == pytest.approx(expected[3], abs=1e-9)


def test_axes_and_headings_the_other_way_round(tmp_path):
    log = CameraLog(tmp_path, "tag_pose", TILTED)
    log.tags["y"] *= -1
    log.tags["z"] *= -1
    # zero where the tag looks into the camera, clockwise
    log.tags["h"] = -(log.tags["h"] - 180)
    frame = 'frame = { heading_sense = "clockwise", heading_zero = "-x", y_axis = "right", z_axis = "down" }\n'
    _assert_value(log.read(frame).detections, log, "tag_pose")


@pytest.mark.parametrize("kind", ["bearing", "range_bearing"])
def test_clockwise_bearings_are_turned_round(tmp_path, kind):
    log = CameraLog(tmp_path, kind)
    found = log.read().detections
    log.tags["b"] = (-log.tags["b"]) % 360
    turned = log.read('frame = { heading_sense = "clockwise" }\n').detections
    # whole turns are kept as logged, and mean nothing
    np.testing.assert_allclose(np.exp(1j * turned.value[:, -1]), np.exp(1j * found.value[:, -1]), atol=1e-9)
    np.testing.assert_allclose(turned.value[:, :-1], found.value[:, :-1], atol=1e-9)


def test_a_pose_without_z_needs_a_level_camera(tmp_path):
    log = CameraLog(tmp_path / "level", "tag_pose")
    log.parts["tags"] = log.parts["tags"].replace('z = { column = "z", unit = "cm" }\n', "")
    _assert_value(log.read().detections, log, "tag_pose")
    log = CameraLog(tmp_path / "tilted", "tag_pose", TILTED)
    log.parts["tags"] = log.parts["tags"].replace('z = { column = "z", unit = "cm" }\n', "")
    with pytest.raises(SessionError, match=r"tags\.mount.*pitch or roll, which cannot be undone without z.*Log z"):
        log.read()


def test_a_camera_that_looks_straight_up_gives_places_but_no_headings(tmp_path):
    log = CameraLog(tmp_path, "tag_pose", 'pitch = "-90 deg"\n')
    with pytest.raises(SessionError, match="straight up or down gives no heading"):
        log.read()
    log.parts["tags"] = log.parts["tags"].replace('heading = { column = "h", unit = "deg" }\n', "")
    assert np.all(np.isnan(log.read().detections.value[:, 2]))


@pytest.mark.parametrize(
    ("kind", "mount", "line", "refused"),
    [
        ("tag_pose", "", 'facing = "180 deg"\n', "gives no facing for some tags (ids 1)"),
        ("tag_pose", TILTED, 'z = "0.55 m"\n', None),
        ("bearing", TILTED, 'z = "0.55 m"\n', "gives no z for some tags (ids 1)"),
        ("range_bearing", TILTED, 'z = "0.55 m"\n', "gives no z for some tags (ids 1)"),
        ("bearing", "", 'z = "0.55 m"\n', None),
        ("bearing", TILTED, 'facing = "180 deg"\n', None),
    ],
)
def test_a_tag_whose_place_is_half_known_is_refused_where_the_other_half_counts(tmp_path, kind, mount, line, refused):
    log = CameraLog(tmp_path, kind, mount)
    field = (tmp_path / "field.toml").read_text()
    assert line in field
    (tmp_path / "field.toml").write_text(field.replace(line, "", 1))
    if refused is None:
        _assert_value(log.read().detections, log, kind)
        return
    with pytest.raises(SessionError) as caught:
        log.read()
    assert refused in str(caught.value)


def test_missing_headings_are_noted(tmp_path):
    log = CameraLog(tmp_path, "tag_pose")
    log.tags.loc[4, "h"] = np.nan
    session = log.read()
    assert [(f.code, f.row, f.column) for f in session.findings] == [("heading_missing", 5, "h")]
    assert np.flatnonzero(np.isnan(session.detections.value[:, 2])).tolist() == [4]


@pytest.mark.parametrize("kind", ["range_bearing", "range"])
def test_slant_and_scaled_ranges(tmp_path, kind):
    log = CameraLog(tmp_path, kind)
    found = log.read('measured = "slant"\nrange_scale = 1.25\nrange_std = { column = "r", unit = "in" }\n').detections
    assert found.slant
    np.testing.assert_allclose(found.value[:, 0], log.tags["r"] * 0.0254 / 1.25)
    np.testing.assert_allclose(found.range_m, found.value[:, 0])
    np.testing.assert_allclose(found.own_covariance[:, 0, 0], found.value[:, 0] ** 2)
    assert kind == "range" or np.all(np.isnan(found.own_covariance[:, 1, 1]))


MOUNT_ERRORS = {
    "no camera": ("", "", ["no camera, and this kind needs", "[cameras.NAME]"]),
    "several cameras": ("[cameras.rear]\n[cameras.front]\n", "", ["several cameras (rear, front)", "Say which one"]),
    "unknown": ("[cameras.front]\n", 'mount = "frnt"\n', ['no camera "frnt"', 'Did you mean "front"']),
    "unknown among none": ("", 'mount = "frnt"\n', ['no camera "frnt"', "[cameras.NAME]"]),
    "needless yaw": (
        "[cameras.front]\n",
        'turret_yaw = { column = "tur", unit = "deg" }\n',
        ["tags.turret_yaw", '"front" is fixed on the robot', 'carried_by = "turret"'],
    ),
    "missing yaw": (
        '[cameras.front]\ncarried_by = "turret"\n',
        "",
        ["tags.turret_yaw", "the yaw of the turret at capture is needed", "turret_yaw = {"],
    ),
    "yaw is text": (
        '[cameras.front]\ncarried_by = "turret"\n',
        'turret_yaw = { column = "note", unit = "deg" }\n',
        ["tags.csv", "row 1", '"note"', "not a number"],
    ),
}


@pytest.mark.parametrize("case", MOUNT_ERRORS)
def test_a_mount_that_cannot_be_known_is_refused(tmp_path, case):
    cameras, extra, parts = MOUNT_ERRORS[case]
    log = CameraLog(tmp_path, "bearing")
    log.tags["note"] = "none"
    robot = (tmp_path / "robot.toml").read_text()
    (tmp_path / "robot.toml").write_text(robot[: robot.index("[cameras")] + cameras)
    with pytest.raises(SessionError) as caught:
        log.read(extra)
    for part in parts:
        assert part in str(caught.value)


def test_a_range_needs_no_mount_but_then_no_turret_either(tmp_path):
    log = CameraLog(tmp_path, "range")
    log.parts["tags"] = log.parts["tags"].replace('mount = "front"\n', "")
    np.testing.assert_array_equal(log.read().detections.mount, 0.0)
    with pytest.raises(SessionError, match="no mount is named"):
        log.read('turret_yaw = { column = "tur", unit = "deg" }\n')


@pytest.mark.parametrize(
    ("kind", "extra", "parts"),
    [
        ("tag_pose", 'x_std = { column = "x", unit = "cm" }\n', ["tags", '"x_std" and "y_std" belong together']),
        ("tag_pose", 'z_std = { column = "z", unit = "cm" }\n', ["tags", '"z_std" needs']),
        ("bearing", 'frame = { heading_zero = "+y" }\n', ["tags.frame.heading_zero", "unknown key"]),
        ("bearing", "range_scale = 1.0\n", ["tags.range_scale", "unknown key"]),
        ("range_bearing", 'measured = "slanted"\n', ["tags.measured", "slant"]),
        ("range", 'bearing = { column = "b", unit = "deg" }\n', ["tags.bearing", "unknown key"]),
    ],
)
def test_keys_that_do_not_belong_are_refused(tmp_path, kind, extra, parts):
    with pytest.raises(ConfigError) as caught:
        CameraLog(tmp_path, kind).read(extra)
    for part in parts:
        assert part in str(caught.value)


@pytest.mark.parametrize("kind", ["range", "range_bearing"])
def test_a_range_of_nothing_is_refused(tmp_path, kind):
    log = CameraLog(tmp_path, kind)
    log.tags.loc[6, "r"] = 0.0
    with pytest.raises(SessionError, match=r'tags.csv, row 7, column "r".*a range must be more than 0'):
        log.read()


def test_a_bearings_range_of_nothing_says_nothing(tmp_path):
    log = CameraLog(tmp_path, "bearing")
    log.tags.loc[6, "r"] = 0.0
    found = log.read('range = { column = "r", unit = "in" }\n').detections
    assert np.flatnonzero(np.isnan(found.range_m)).tolist() == [6]


def test_the_logs_own_spread_is_carried_through_the_tilted_mount(tmp_path):
    log = CameraLog(tmp_path, "tag_pose", TILTED)
    for name, std in (("sx", 4.0), ("sy", 1.0), ("sz", 2.0), ("sh", 3.0)):
        log.tags[name] = std
    columns = "".join(f'{axis}_std = {{ column = "s{axis}", unit = "cm" }}\n' for axis in "xyz")
    log.parts["tags"] += columns + 'heading_std = { column = "sh", unit = "deg" }\n'
    found = log.read().detections
    turn = Rotation.from_euler("ZYX", [25, -12, 7], degrees=True).as_matrix()
    expected = (turn @ np.diag([0.04**2, 0.01**2, 0.02**2]) @ turn.T)[:2, :2]
    for covariance in found.own_covariance:
        np.testing.assert_allclose(covariance[:2, :2], expected, atol=1e-15)
        assert covariance[2, 2] == pytest.approx(np.radians(3.0) ** 2)
    log.parts["tags"] = log.parts["tags"].replace('z_std = { column = "sz", unit = "cm" }\n', "")
    sideways = (turn @ np.diag([0.04**2, 0.01**2, 0.01**2]) @ turn.T)[:2, :2]
    np.testing.assert_allclose(log.read().detections.own_covariance[0, :2, :2], sideways, atol=1e-15)


def _robot_poses(tmp_path, **columns):
    log = SmallLog(tmp_path).with_tags()
    for name, values in columns.items():
        log.tables["tags.csv"][name] = values
    return log


SPREAD = """x_std = { column = "sx", unit = "cm" }
y_std = { column = "sy", unit = "cm" }
heading_std = { column = "sh", unit = "deg" }
"""


def test_the_logs_own_spread_turns_with_its_frame(tmp_path):
    log = _robot_poses(tmp_path, sx=3.0, sy=1.0, sh=2.0)
    log.parts["tags"] += SPREAD + 'frame = { rotate = "90 deg" }\n'
    own = read_session(log.write()).detections.own_covariance
    np.testing.assert_allclose(own[0], np.diag([0.01**2, 0.03**2, np.radians(2.0) ** 2]), atol=1e-15)


def test_rows_without_a_usable_spread_are_a_finding(tmp_path):
    log = _robot_poses(tmp_path, sx=3.0, sy=1.0, sh=2.0)
    table = log.tables["tags.csv"]
    table.loc[2, "sx"], table.loc[3, "sy"], table.loc[4, "sh"] = 0.0, np.nan, -1.0
    # without a heading none is needed
    table.loc[5, ["h", "sh"]] = np.nan
    log.parts["tags"] += SPREAD
    session = read_session(log.write())
    finding = next(f for f in session.findings if f.code == "spread_missing")
    assert finding.row == 3
    assert finding.message.startswith("3 detections")
    own = session.detections.own_covariance
    assert np.flatnonzero(np.isnan(own[:, 0, 0])).tolist() == [2, 3]
    assert np.flatnonzero(np.isnan(own[:, 1, 1])).tolist() == [2, 3]
    assert np.flatnonzero(np.isnan(own[:, 2, 2])).tolist() == [4, 5]
    assert {f.code for f in session.findings} == {"spread_missing", "heading_missing"}


def test_a_spread_of_a_heading_that_is_not_logged_is_refused(tmp_path):
    log = _robot_poses(tmp_path, sh=2.0)
    log.parts["tags"] = log.parts["tags"].replace('heading = { column = "h", unit = "deg" }\n', "")
    log.parts["tags"] += 'heading_std = { column = "sh", unit = "deg" }\n'
    with pytest.raises(ConfigError, match='"heading_std" needs a "heading"'):
        read_session(log.write())


def test_a_reprojection_ratio_is_kept(tmp_path):
    log = _robot_poses(tmp_path, ratio=0.25)
    log.tables["tags.csv"].loc[1, "ratio"] = np.nan
    log.parts["tags"] += 'reprojection_ratio = "ratio"\n'
    np.testing.assert_allclose(read_session(log.write()).detections.reprojection_ratio[:3], [0.25, np.nan, 0.25])


def _with_second_tag(log):
    field = log.folder / "field.toml"
    field.write_text(
        field.read_text() + '[[tags]]\nid = 3\nx = "0 m"\ny = "1 m"\n[[tags]]\nid = 7\nx = "1 m"\ny = "0 m"\n'
    )
    return log


@pytest.mark.parametrize("file", ["tags.csv", "tags.parquet"])
def test_a_fix_may_name_several_tags(tmp_path, file):
    log = _with_second_tag(_robot_poses(tmp_path))
    table = log.tables.pop("tags.csv")
    ids = ["1", "3 7", "3;7", " 7 + 3 + 1 ", "3.0", "3 3"]
    table["id"] = ids + ["1"] * (len(table) - len(ids))
    log.tables[file] = table
    log.parts["tags"] = log.parts["tags"].replace("tags.csv", file)
    session = read_session(log.write())
    found = session.detections
    assert session.findings == ()
    assert found.tag[:6].tolist() == [1, 3, 3, 7, 3, 3]
    assert found.other_tags[:6].tolist() == [[-1, -1], [7, -1], [7, -1], [3, 1], [-1, -1], [-1, -1]]
    assert found.tag_count[:7].tolist() == [1, 2, 2, 3, 1, 1, 1]


def test_one_unknown_tag_leaves_the_whole_fix_out(tmp_path):
    log = _with_second_tag(_robot_poses(tmp_path))
    table = log.tables["tags.csv"]
    table["id"] = ["1", "3 99", "98", *["3 7"] * (len(table) - 3)]
    session = read_session(log.write())
    assert [(f.code, f.row) for f in session.findings] == [("unknown_tag", 2)]
    assert session.findings[0].message == (
        "2 detections of tags that are not in the field file were left out (ids 98, 99)"
    )
    assert session.detections.row.tolist() == [1, *range(4, len(table) + 1)]


@pytest.mark.parametrize("cell", ["3,7", "three", "3 x", "-3", "1.5", "", ";"])
def test_ids_that_are_none_are_refused(tmp_path, cell):
    log = _with_second_tag(_robot_poses(tmp_path))
    table = log.tables["tags.csv"]
    table["id"] = ["3 7", "1", cell, *["1"] * (len(table) - 3)]
    with pytest.raises(SessionError, match=r'tags.csv, row 3, column "id".*3;7'):
        read_session(log.write())


def test_several_ids_are_for_robot_poses_only(tmp_path):
    log = CameraLog(tmp_path, "bearing")
    log.tags["id"] = "1 1"
    with pytest.raises(SessionError, match=r'tags.csv, row 1, column "id".*not a number'):
        log.read()


def test_the_number_of_tags_is_read_beside_the_ids(tmp_path):
    log = _with_second_tag(_robot_poses(tmp_path, n=4.0))
    table = log.tables["tags.csv"]
    table["id"] = ["3 7", *["1"] * (len(table) - 1)]
    table.loc[0, "n"], table.loc[1, "n"] = 1.0, np.nan
    log.parts["tags"] += 'tag_count = "n"\n'
    session = read_session(log.write())
    assert session.detections.tag_count[:3].tolist() == [2, 1, 4]
    assert [(f.code, f.severity, f.row) for f in session.findings] == [("tag_count", "warning", 1)]


@pytest.mark.parametrize("count", [0.0, 1.5, -2.0])
def test_a_fix_from_no_tag_is_refused(tmp_path, count):
    log = _robot_poses(tmp_path, n=2.0)
    log.tables["tags.csv"].loc[4, "n"] = count
    log.parts["tags"] += 'tag_count = "n"\n'
    with pytest.raises(SessionError, match=r'row 5, column "n".*one tag or more'):
        read_session(log.write())


def test_fixes_of_other_tags_at_one_time_are_no_duplicates(tmp_path):
    log = _with_second_tag(_robot_poses(tmp_path))
    table = log.tables["tags.csv"]
    table["id"] = ["3 7", *["1"] * (len(table) - 1)]
    again = table.iloc[[0, 0]].assign(id=["3", "3 7"])
    log.tables["tags.csv"] = pd.concat([again.iloc[:1], table, again.iloc[1:]], ignore_index=True)
    session = read_session(log.write())
    assert {f.code for f in session.findings} == {"duplicate_detection", "unsorted_time"}
    assert len(session.detections) == len(table) + 1


def test_a_row_of_no_tag_is_left_out_like_one_of_an_unknown_tag(tmp_path):
    log = SmallLog(tmp_path).with_tags()
    log.tables["tags.csv"].loc[3:5, "id"] = -1
    session = read_session(log.write())
    assert len(session.detections) == len(log.tables["tags.csv"]) - 3
    assert set(session.detections.tag) == {1}
    assert [(found.code.value, found.row) for found in session.findings] == [("unknown_tag", 4)]
