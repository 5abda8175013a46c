import re
import tomllib
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from locbench.config import FieldConfig, RobotConfig, SessionConfig
from locbench.config.edits import ChangedFile, Edit, EditedFile, Quantity, edit_lines, edited_line, edited_text
from locbench.errors import ConfigError
from locbench.units import Dimension, parse_quantity

ROOT = Path(__file__).parents[2]
ROBOT_TEXT = (ROOT / "configs" / "robot_three_pods.toml").read_text()
FIELD_TEXT = (ROOT / "configs" / "field_orchard.toml").read_text()
SESSION_TEXT = (ROOT / "logs_demo" / "orchard_healthy" / "session.toml").read_text()


def robot(*path, value):
    return Edit(EditedFile.ROBOT, path, value)


def session(*path, value):
    return Edit(EditedFile.SESSION, path, value)


def length(metres, std=None):
    return Quantity(metres, Dimension.LENGTH, std)


def comments(text):
    return re.findall(r"#.*", text)


def test_a_quantity_keeps_the_unit_of_its_key_and_the_comment_beside_it():
    edited = edited_text(ROBOT_TEXT, [robot("pods", "left", "along_per_metre", value=length(0.0031))])
    before, after = ROBOT_TEXT.splitlines(), edited.splitlines()
    changed = [(old, new) for old, new in zip(before, after, strict=True) if old != new]
    assert len(changed) == 1
    assert changed[0][1].startswith('along_per_metre = "3.1 mm"')
    assert "# standard deviation after one metre" in changed[0][1]
    assert RobotConfig.model_validate(tomllib.loads(edited)).pods["left"].along_per_metre == pytest.approx(0.0031)


@pytest.mark.parametrize(
    ("value", "text"),
    [
        (length(0.0482345, 0.00004), "48.234 mm"),  # two digits of the standard deviation, 0.040 mm
        (length(0.0482345, 0.004), "48.2 mm"),
        (length(0.0482345, 0.3), "50 mm"),  # at least one digit of the number itself
        (length(0.0482345), "48.23 mm"),  # four without one
        (length(0.05), "50 mm"),
        (length(12.3456), "12350 mm"),
        (length(0.0), "0 mm"),
        (length(-1e-9, 0.001), "-0.000001 mm"),
        (length(0.05, float("nan")), "50 mm"),
    ],
)
def test_a_quantity_has_the_digits_its_standard_deviation_justifies(value, text):
    assert edited_line('x = "1 mm"\n', robot("x", value=value)) == f'x = "{text}"'


def test_a_number_that_cannot_be_written_is_refused():
    with pytest.raises(ValueError, match="cannot be written"):
        edited_text("", [robot("x", value=length(float("nan")))])


def test_a_new_quantity_takes_the_unit_that_the_file_uses_most():
    assert edited_line('a = "1 in"\nb = "2 in"\nc = "3 mm"\n', robot("x", value=length(0.0254))) == 'x = "1 in"'
    assert edited_line('a = "1 in"\n', robot("x", value=Quantity(1.0, Dimension.ANGLE))) == 'x = "57.3 deg"'


@pytest.mark.parametrize("dimension", list(Dimension))
def test_every_dimension_has_a_unit_to_start_with(dimension):
    line = edited_line("", robot("x", value=Quantity(0.5, dimension)))
    (text,) = re.findall(r'"(.*)"', line)
    assert parse_quantity(text, dimension) == pytest.approx(0.5, rel=1e-3)


def test_edits_of_one_inline_table_share_the_line_that_each_makes():
    text = '[odometry]\npods = { left = "a", right = "b" }\n'
    swap = [session("odometry", "pods", "left", value="b"), session("odometry", "pods", "right", value="a")]
    assert {edited_line(text, edit, swap) for edit in swap} == {'pods = { left = "b", right = "a" }'}
    assert edited_line(text, swap[0]) == 'pods = { left = "b", right = "b" }'


def test_lines_to_copy_stand_under_the_heading_of_their_table():
    block = edit_lines(
        ROBOT_TEXT,
        [
            robot("pods", "left", "wheel_diameter", value=length(0.0482, 0.0001)),
            robot("pods", "right", "reversed", value=False),
            robot("heading_from", value="pods"),
            robot("pods", "left", "x", value=length(0.01)),
        ],
    )
    assert block == (
        'heading_from = "pods"\n\n[pods.left]\nwheel_diameter = "48.20 mm"\nx = "10 mm"\n'
        "\n[pods.right]\nreversed = false"
    )


def test_edits_inside_one_inline_table_are_one_whole_line():
    edits = [
        session("odometry", "pods", "left", value="enc_right"),
        session("odometry", "pods", "right", value="enc_left"),
        session("odometry", "frame", "heading_sense", value="clockwise"),
        session("odometry", "frame", "heading_zero", value="+y"),
    ]
    assert edit_lines(SESSION_TEXT, edits) == (
        "[odometry]\n"
        'pods = { left = "enc_right", right = "enc_left", cross = "enc_cross" }\n'
        'frame = { heading_sense = "clockwise", heading_zero = "+y" }'
    )
    config = SessionConfig.model_validate(tomllib.loads(edited_text(SESSION_TEXT, edits)))
    assert config.odometry.pods == {"left": "enc_right", "right": "enc_left", "cross": "enc_cross"}
    assert config.odometry.frame.heading_sense == "clockwise"


def test_one_of_a_list_of_tables_is_told_by_what_names_it():
    edit = Edit(EditedFile.FIELD, ("tags", 3, "x"), length(1.125, 0.01))
    assert edit.key == "tags[4].x"
    assert edit_lines(FIELD_TEXT, [edit]) == '[[tags]]  # the one with id = 4\nx = "1.125 m"'
    field = FieldConfig.model_validate(tomllib.loads(edited_text(FIELD_TEXT, [edit])))
    assert [tag.x for tag in field.tags if tag.id == 4] == [1.125]
    with pytest.raises(ConfigError, match="no such table"):
        edited_text(FIELD_TEXT, [Edit(EditedFile.FIELD, ("tags", 99, "x"), length(1.0))])


def test_missing_tables_are_added():
    edited = edited_text(SESSION_TEXT, [session("onboard", "offset", value=Quantity(0.25, Dimension.TIME))])
    assert edited.startswith(SESSION_TEXT)
    assert edited.endswith('[onboard]\noffset = "250 ms"\n')


@pytest.mark.parametrize("text", ['a = "1 mm" # mine', '[a]\nb = "2 mm"', ""])
def test_a_file_without_a_last_line_break_is_no_obstacle(text):
    edited = tomllib.loads(edited_text(text, [robot("pods", "left", "x", value="new"), robot("top", value=1)]))
    assert edited["pods"]["left"]["x"] == "new"
    assert edited["top"] == 1


def test_line_ends_byte_order_mark_and_comments_survive():
    text = "\ufeff" + ROBOT_TEXT.replace("\n", "\r\n")
    edits = [robot("pods", "left", "wheel_diameter", value=length(0.048)), robot("gyro", "fresh", value=True)]
    edited = edited_text(text, edits)
    assert edited.startswith("\ufeff")
    assert edited.count("\n") == edited.count("\r\n") == text.count("\n") + 1
    assert comments(edited) == comments(text)
    assert edited_text(text, []) == text
    assert edit_lines(text, edits).splitlines()[0] == "[pods.left]"


def test_a_text_that_is_no_toml_is_bad_input():
    with pytest.raises(ConfigError, match="cannot be edited"):
        edited_text("x = ", [robot("x", value=1)])


KEYS = {
    ("pods", "left", "wheel_diameter"): (Dimension.LENGTH, st.floats(0.01, 0.2)),
    ("pods", "cross", "x"): (Dimension.LENGTH, st.floats(-0.3, 0.3)),
    ("pods", "right", "rolling_direction"): (Dimension.ANGLE, st.floats(-0.1, 0.1)),
    ("cameras", "front", "yaw"): (Dimension.ANGLE, st.floats(-3.1, 3.1)),
    ("motion_noise", "heading_per_turn"): (Dimension.ANGLE, st.floats(1e-4, 0.1)),
}


@given(
    st.dictionaries(st.sampled_from(sorted(KEYS)), st.integers(0, 2**32 - 1), min_size=1),
    st.one_of(st.none(), st.floats(1e-6, 1e-3)),
)
def test_an_edited_file_loads_and_differs_in_the_edited_keys_only(chosen, std):
    edits = []
    for path, seed in chosen.items():
        dimension, values = KEYS[path]
        low, high = values.wrapped_strategy.min_value, values.wrapped_strategy.max_value
        value = float(np.random.default_rng(seed).uniform(low, high))
        edits.append(robot(*path, value=Quantity(value, dimension, std)))
    edited = edited_text(ROBOT_TEXT, edits)
    before = RobotConfig.model_validate(tomllib.loads(ROBOT_TEXT)).model_dump()
    after = RobotConfig.model_validate(tomllib.loads(edited)).model_dump()
    for edit in edits:
        old, new = before, after
        for key in edit.path[:-1]:
            old, new = old[key], new[key]
        found = new[edit.path[-1]]
        slack = 5e-4 * abs(edit.value.si) if std is None else max(0.05 * std, 0.5 * abs(edit.value.si))
        assert found == pytest.approx(edit.value.si, abs=slack + 1e-12)
        old[edit.path[-1]] = found
    assert before == after
    assert comments(edited) == comments(ROBOT_TEXT)
    assert edited_text(edited, edits) == edited


def test_a_changed_file_gives_both_forms():
    changed = ChangedFile(EditedFile.ROBOT, "robot.toml", ROBOT_TEXT, (robot("heading_from", value="pods"),))
    assert changed.lines == 'heading_from = "pods"'
    assert changed.changed_text == ROBOT_TEXT.replace('heading_from = "gyro"', 'heading_from = "pods"')
