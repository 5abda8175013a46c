import tomllib
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from locbench.config import SessionConfig, load_config
from locbench.errors import OutputError
from locbench.session.writer import (
    Bearings,
    DetectionRecord,
    OdometryRecord,
    Ranges,
    RangesAndBearings,
    RobotPoses,
    SessionRecord,
    SourceFiles,
    TagPoses,
    TruthRecord,
    VisitRecord,
    toml_text,
    write_session,
)


def _record(root: Path, **changes) -> SessionRecord:
    """A tiny log whose numbers come out round in the units it is written in."""
    content = {
        "name": "tiny",
        "start_mark": "A",
        "files": SourceFiles(
            root / "configs" / "robot.toml",
            root / "configs" / "field.toml",
            (root / "configs" / "one.toml", root / "configs" / "two.toml"),
            root / "configs" / "shooter.toml",
        ),
        "odometry": OdometryRecord(
            time_s=np.array([0.0, 0.0125, 0.025]),
            counts={"left": np.array([0, 7, 15]), "mid pod": np.array([0, -3, -2])},
            heading_rad=np.radians([0.0, 1.5, -0.0]),
        ),
        "detections": DetectionRecord(
            captured_s=np.array([0.0011]),
            arrived_s=np.array([0.0512]),
            tag=np.array([4]),
            readings=RobotPoses(
                pose=np.array([[0.0254, -0.508, np.radians(-45.0)]]),
                range_m=np.array([2.54]),
                view_angle_rad=np.radians([12.34]),
            ),
            mount="front",
        ),
        "visits": VisitRecord(('A, "upper"', "B"), np.array([1.0, 3.0]), np.array([2.25, 4.5])),
        "truth": TruthRecord(np.array([0.0, 0.02]), np.array([[1.0, 2.0, 0.0], [1.0005, -1e-9, np.radians(90.0)]])),
    }
    return SessionRecord(**(content | changes))


def _write(tmp_path: Path, **changes) -> Path:
    folder = tmp_path / "logs" / "tiny"
    write_session(folder, _record(tmp_path, **changes))
    return folder


def test_tables_hold_the_values_in_their_units(tmp_path):
    folder = _write(tmp_path)
    assert (folder / "odometry.csv").read_bytes().decode() == (
        "t_ms,enc_left,enc_mid pod,gyro_deg\n0.0,0,0,0.0\n12.5,7,-3,1.5\n25.0,15,-2,0.0\n"
    )
    assert (folder / "tags.csv").read_bytes().decode() == (
        "t_shutter_ms,t_rx_ms,id,px_in,py_in,heading_deg,range_in,view_deg\n1.1,51.2,4,1,-20,-45,100,12.3\n"
    )
    assert (folder / "marks.csv").read_bytes().decode() == (
        't_begin_ms,t_end_ms,mark\n1000,2250,"A, ""upper"""\n3000,4500,B\n'
    )
    assert (folder / "truth.csv").read_bytes().decode() == (
        "t_ms,x_mm,y_mm,heading_deg\n0,1000.0,2000,0\n20,1000.5,0,90\n"
    )


def test_rows_per_table_are_returned(tmp_path):
    assert write_session(tmp_path / "out", _record(tmp_path)) == {"odometry": 3, "tags": 1, "marks": 2, "truth": 2}


def test_the_session_file_is_valid_and_explains_every_column(tmp_path):
    folder = _write(tmp_path)
    session = load_config(folder / "session.toml", SessionConfig)
    assert (session.name, session.start.mark) == ("tiny", "A")
    assert session.odometry.kind == "pod_counts"
    assert dict(session.odometry.pods) == {"left": "enc_left", "mid pod": "enc_mid pod"}
    assert session.odometry.time.unit == pytest.approx(1e-3)
    assert session.odometry.heading.unit == pytest.approx(np.radians(1.0))
    assert (session.tags.kind, session.tags.tag, session.tags.x.column) == ("robot_pose", "id", "px_in")
    assert session.tags.x.unit == session.tags.range.unit == pytest.approx(0.0254)
    assert (session.tags.captured.column, session.tags.arrived.column) == ("t_shutter_ms", "t_rx_ms")
    assert (session.marks.mark, session.marks.begin.column, session.marks.end.column) == (
        "mark",
        "t_begin_ms",
        "t_end_ms",
    )
    assert session.truth.x.unit == pytest.approx(1e-3)


def test_configuration_files_are_named_relative_to_the_folder(tmp_path):
    session = tomllib.loads((_write(tmp_path) / "session.toml").read_text(encoding="utf-8"))
    assert session["robot"] == "../../configs/robot.toml"
    assert session["field"] == "../../configs/field.toml"
    assert session["fusion"] == ["../../configs/one.toml", "../../configs/two.toml"]
    assert session["shooter"] == "../../configs/shooter.toml"


def test_what_was_not_recorded_is_neither_written_nor_named(tmp_path):
    bare = OdometryRecord(np.array([0.0, 0.01]), {"left": np.array([0, 1])}, None)
    files = SourceFiles(tmp_path / "robot.toml", tmp_path / "field.toml")
    folder = _write(tmp_path, odometry=bare, detections=None, visits=None, truth=None, files=files)
    assert sorted(path.name for path in folder.iterdir()) == ["odometry.csv", "session.toml"]
    session = load_config(folder / "session.toml", SessionConfig)
    assert session.odometry.heading is None
    assert (session.tags, session.marks, session.truth, session.shooter, session.fusion) == (None, None, None, None, ())


def test_driven_wheels_have_columns_beside_those_of_the_pods(tmp_path):
    times = np.array([0.0, 0.01])
    odometry = OdometryRecord(times, {"left": np.array([0, 1])}, np.zeros(2), {"left front": np.array([0, -4])})
    folder = _write(tmp_path, odometry=odometry)
    assert (folder / "odometry.csv").read_text() == "t_ms,enc_left,drive_left front,gyro_deg\n0,0,0,0\n10,1,-4,0\n"
    source = load_config(folder / "session.toml", SessionConfig).odometry
    assert (source.pods, source.drive_wheels) == ({"left": "enc_left"}, {"left front": "drive_left front"})


@given(st.text(st.characters(exclude_categories=["Cs"])))
def test_any_text_survives_toml(text):
    assert tomllib.loads(f"key = {toml_text(text)}")["key"] == text


def test_names_with_quotes_and_line_ends_survive(tmp_path):
    name = 'run "3"\\ \n\tgrün \x7f = ["]'
    session = load_config(_write(tmp_path, name=name) / "session.toml", SessionConfig)
    assert session.name == name


def test_a_folder_that_cannot_be_written_is_an_output_error(tmp_path):
    (tmp_path / "file").write_text("in the way")
    with pytest.raises(OutputError):
        write_session(tmp_path / "file" / "out", _record(tmp_path))


READINGS = {
    "tag_pose": (
        TagPoses(np.array([[2.54, -0.0254, 0.508]]), np.radians([179.5])),
        "ahead_in,left_in,up_in,facing_deg",
        "100,-1,20,179.5",
    ),
    "range_bearing": (RangesAndBearings(np.array([1.27]), np.radians([-3.25])), "range_in,bearing_deg", "50,-3.25"),
    "bearing": (Bearings(np.radians([-3.25])), "bearing_deg", "-3.25"),
    "range": (Ranges(np.array([1.27])), "range_in", "50"),
}


@pytest.mark.parametrize("kind", READINGS)
@pytest.mark.parametrize("turning", [True, False])
def test_every_kind_of_detection_is_written_with_the_camera_it_comes_from(tmp_path, kind, turning):
    readings, header, cells = READINGS[kind]
    yaw = np.radians([-90.0]) if turning else None
    times = {"captured_s": np.array([0.001]), "arrived_s": np.array([0.05]), "tag": np.array([4])}
    record = DetectionRecord(**times, readings=readings, mount='front "up"', turret_yaw_rad=yaw)
    folder = _write(tmp_path, detections=record)
    header, cells = (header + ",turret_deg", cells + ",-90") if turning else (header, cells)
    assert (folder / "tags.csv").read_text() == f"t_shutter_ms,t_rx_ms,id,{header}\n1,50,4,{cells}\n"
    tags = load_config(folder / "session.toml", SessionConfig).tags
    assert (tags.kind, tags.mount) == (kind, 'front "up"')
    assert (tags.turret_yaw is not None) == turning


def test_requests_are_written_as_presses(tmp_path):
    folder = _write(tmp_path, requests_s=np.array([1.5, 2.0625]))
    assert (folder / "requests.csv").read_text() == "t_press_ms\n1500.0\n2062.5\n"
    session = load_config(folder / "session.toml", SessionConfig)
    assert (session.requests.time.column, session.requests.time.unit) == ("t_press_ms", 0.001)
