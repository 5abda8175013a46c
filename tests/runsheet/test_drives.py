"""Whatever the floor: the steps lead to the marks they name, on the floor, in short legs."""

import numpy as np
import pytest
from floors import ROBOT, floor_field, floors, walked
from hypothesis import given, settings
from hypothesis import strategies as st

from locbench.config import FieldConfig
from locbench.drive_kinds import DriveKind
from locbench.errors import ConfigError
from locbench.geometry import wrap_angle
from locbench.runsheet.moves import PartName
from locbench.runsheet.rates import row_rate
from locbench.runsheet.sheet import run_sheet

STEPS_M = st.sampled_from([0.05, 0.0508])


def _sheet(kind, field, robot=None, step_m=0.05):
    return run_sheet(field, robot, kind, "field.toml", step_m)


def _names(marks):
    return [mark.name for mark in marks]


@pytest.mark.parametrize("kind", DriveKind)
@given(field=floors(), step_m=STEPS_M, with_robot=st.booleans())
@settings(max_examples=40)
def test_the_steps_lead_from_mark_to_mark_inside_the_floor(kind, field, step_m, with_robot):
    sheet = _sheet(kind, field, ROBOT if with_robot else None, step_m)
    floor, clearance = field.floor, sheet.ground.clearance_m - 1e-3
    for part, move, before, after in walked(sheet.plan):
        start, end = sheet.plan.mark(move.start).pose, sheet.plan.mark(move.end).pose
        assert abs(move.length_m) <= 6.0 + 1e-9
        np.testing.assert_allclose(before[:2], [start.x_m, start.y_m], atol=1e-9)
        np.testing.assert_allclose(after[:2], [end.x_m, end.y_m], atol=1e-9)
        if move.pressed and end.heading_rad is not None:
            assert abs(wrap_angle(np.array(after[2] - end.heading_rad))) < 1e-9, (part.name, move)
        assert floor.x_from + clearance <= after[0] <= floor.x_to - clearance
        assert floor.y_from + clearance <= after[1] <= floor.y_to - clearance


@pytest.mark.parametrize("kind", DriveKind)
@given(field=floors(), step_m=STEPS_M)
@settings(max_examples=20)
def test_marks_have_names_of_their_own_and_all_are_stood_on(kind, field, step_m):
    plan = _sheet(kind, field, ROBOT, step_m).plan
    names = _names(plan.marks)
    assert len(set(names)) == len(names)
    assert {move.end for part in plan.parts for move in part.moves if move.pressed} | {names[0]} == set(names)
    listed = {mark.name for mark in field.marks}
    assert {mark.name for mark in plan.marks if mark.listed is None}.isdisjoint(listed)
    assert plan.presses == 1 + sum(move.pressed for _, move, _, _ in walked(plan))


@given(field=floors())
def test_a_tour_has_marks_and_headings_enough_and_goes_both_ways_round(field):
    plan = _sheet(DriveKind.TOUR, field).plan
    headings = np.array([mark.pose.heading_rad for mark in plan.marks])
    apart = np.abs(wrap_angle(headings[:, np.newaxis] - headings))
    # a heading that differs by more than 20 degrees from those chosen before it
    chosen = []
    for number in range(len(headings)):
        if all(apart[number, other] > np.radians(20.0) for other in chosen):
            chosen.append(number)
    assert len(chosen) >= 4
    assert len(plan.marks) >= 6
    assert plan.presses - 1 >= 20
    there, back = (part for part in plan.parts)
    assert [(m.start, m.end) for m in there.moves] == [(m.end, m.start) for m in back.moves[::-1]]


def test_the_tour_takes_the_marks_that_the_field_file_has():
    marks = [(1, 1, 0), (3, 1, 90), (3, 3, 180), (1, 3, -90), (2, 2, 45), (2, 1, 135)]
    sheet = _sheet(DriveKind.TOUR, floor_field(marks=marks))
    assert sorted(_names(sheet.plan.marks)) == [f"M{number}" for number in range(1, 7)]
    assert sheet.plan.marks[0].name == "M1"
    assert sheet.to_write == ()


def test_marks_too_near_the_edge_are_left_out_and_named():
    sheet = _sheet(DriveKind.TOUR, floor_field(marks=[(0.2, 1, 0), (3, 1, 90)]))
    assert "M2" in _names(sheet.plan.marks)
    assert sheet.unused == ("M1",)


def test_a_tour_of_distant_marks_gets_marks_on_the_way():
    marks = [(1, 1, 0), (11, 1, 90), (11, 3, 180), (1, 3, -90), (6, 2, 45), (6, 3, 135)]
    plan = _sheet(DriveKind.TOUR, floor_field(12.0, 4.0, marks=marks)).plan
    assert all(abs(move.length_m) <= 6.0 for part in plan.parts for move in part.moves)


@pytest.mark.parametrize(
    ("width", "height", "headings"), [(4.0, 4.0, {0, 90}), (4.0, 1.2, {0, 180}), (1.2, 4.0, {90, -90})]
)
def test_lines_go_there_and_back_in_two_headings(width, height, headings):
    plan = _sheet(DriveKind.STRAIGHT, floor_field(width, height)).plan
    lines = [part for part in plan.parts if part.name is PartName.LINE]
    assert {round(np.degrees(mark.pose.heading_rad)) for mark in plan.marks} == headings
    for line in lines:
        there, back = line.moves
        assert back.length_m == -there.length_m
        assert there.turning_rad == back.turning_rad == 0.0
        assert there.length_m >= 1.5
        assert line.presses >= 6


def test_spins_turn_as_far_left_as_right_and_end_where_they_began():
    plan = _sheet(DriveKind.SPIN, floor_field()).plan
    left, right = ([move.turn_before_rad for move in part.moves] for part in plan.parts)
    assert sum(left) == pytest.approx(-sum(right))
    assert sum(left) == pytest.approx(2.0 * np.pi * (4 * 5 + 1))
    assert len({(mark.pose.x_m, mark.pose.y_m) for mark in plan.marks}) == 1
    assert len({mark.pose.heading_rad for mark in plan.marks}) == 4


def test_the_square_turns_left_in_one_sense_and_right_in_the_other():
    plan = _sheet(DriveKind.SQUARE, floor_field(4.0, 3.0)).plan
    left, _, right = plan.parts
    assert left.times == right.times == 5
    for part, sense in ((left, 1.0), (right, -1.0)):
        turned = sum(move.turn_before_rad + move.turn_after_rad for move in part.moves)
        assert turned == pytest.approx(sense * 2.0 * np.pi)
        assert {round(move.length_m, 9) for move in part.moves} == {2.2}


@given(field=floors(3.0), with_robot=st.booleans(), step_m=STEPS_M)
def test_the_camera_looks_at_the_tag_from_the_ranges_and_angles_told(field, with_robot, step_m):
    plan = _sheet(DriveKind.CAMERA, field, ROBOT if with_robot else None, step_m).plan
    tag = next(tag for tag in field.tags if tag.id == plan.view.tag)
    x, y, yaw = (0.1, -0.06, np.radians(-35.0)) if with_robot else (0.0, 0.0, 0.0)
    assert plan.view.camera == ("side" if with_robot else None)
    for place in plan.view.places:
        pose = plan.mark(place.mark).pose
        c, s = np.cos(pose.heading_rad), np.sin(pose.heading_rad)
        lens = np.array([pose.x_m + c * x - s * y, pose.y_m + s * x + c * y])
        sight = np.array([tag.x, tag.y]) - lens
        off_axis = np.arctan2(sight[1], sight[0]) - pose.heading_rad - yaw
        assert abs(wrap_angle(np.array(off_axis))) < np.radians(2.6)
        assert np.hypot(*sight) == pytest.approx(place.range_m)
        seen_from = np.arctan2(-sight[1], -sight[0]) - tag.facing
        assert wrap_angle(np.array(seen_from)) == pytest.approx(place.view_angle_rad)
    ranges = [place.range_m for place in plan.view.places]
    angles = np.degrees([place.view_angle_rad for place in plan.view.places])
    assert max(ranges) > 1.4 * min(ranges)
    assert np.ptp(angles) > 30.0


@pytest.mark.parametrize("kind", DriveKind)
def test_marks_once_surveyed_are_taken_for_the_same_drive(kind):
    field = floor_field()
    first = _sheet(kind, field, ROBOT)
    entries = [
        {"name": mark.name, "x": f"{mark.pose.x_m} m", "y": f"{mark.pose.y_m} m", "position_std": "2 mm"}
        | ({} if mark.pose.heading_rad is None else {"heading": f"{mark.pose.heading_rad} rad", "heading_std": "1 deg"})
        for mark in first.plan.marks
    ]
    listed = {"name": "n", "floor": {"x_from": "0 m", "x_to": "4 m", "y_from": "0 m", "y_to": "4 m"}, "marks": entries}
    marks = FieldConfig.model_validate(listed).marks
    second = _sheet(kind, field.model_copy(update={"marks": marks}), ROBOT)
    assert second.to_write == ()
    assert set(_names(second.plan.marks)) == set(_names(first.plan.marks))
    assert second.path_m == pytest.approx(first.path_m)


@pytest.mark.parametrize(
    ("kind", "width", "height"),
    [
        (DriveKind.TOUR, 1.5, 4.0),
        (DriveKind.STRAIGHT, 2.2, 2.2),
        (DriveKind.STRAIGHT, 9.0, 0.7),
        (DriveKind.SPIN, 0.7, 3.0),
        (DriveKind.SQUARE, 1.7, 4.0),
        (DriveKind.CAMERA, 1.2, 1.2),
    ],
)
def test_a_floor_without_room_says_what_is_needed(kind, width, height):
    with pytest.raises(ConfigError) as raised:
        _sheet(kind, floor_field(width, height))
    assert str(raised.value).startswith("field.toml: floor: the floor is too small for a " + kind.value)
    assert "another --kind" in raised.value.remedy


def test_a_camera_drive_without_tags_says_so():
    with pytest.raises(ConfigError, match=r"field\.toml: tags: a camera drive needs tags"):
        _sheet(DriveKind.CAMERA, floor_field(walls=False))


def test_a_wide_robot_keeps_more_clearance():
    wide = ROBOT.model_copy(update={"pods": {"far": ROBOT.pods["left"].model_copy(update={"y": 0.6})}})
    assert _sheet(DriveKind.SPIN, floor_field(), ROBOT).ground.clearance_m == pytest.approx(0.4)
    assert _sheet(DriveKind.SPIN, floor_field(), wide).ground.clearance_m == pytest.approx(0.75)


@pytest.mark.parametrize("kind", DriveKind)
def test_a_lost_row_costs_little(kind):
    sheet = _sheet(kind, floor_field(), ROBOT)
    fastest = max(abs(part.turn_rate_rad_s or sheet.plan.pace.turn_rate_rad_s) for part in sheet.plan.parts)
    assert sheet.plan.pace.speed_m_s / sheet.rate.rows_per_s <= 0.010 + 1e-12
    assert np.degrees(fastest / sheet.rate.rows_per_s) <= 1.0 + 1e-9
    assert sheet.rate == row_rate(sheet.plan.pace, ROBOT)
