import re

import pytest

from locbench.config.kinds import ConfigKind
from locbench.config.schemas import json_schema
from locbench.report.config_reference import config_reference

TEXT = config_reference()
TABLES = dict(re.findall(r"### Keys of a (\w+) file\n\n(.*?)(?:\n\n|\Z)", TEXT, flags=re.DOTALL))


def _keys(kind):
    return re.findall(r"^\| `([^`]+)` \|", TABLES[kind.value], flags=re.MULTILINE)


def test_there_is_one_table_per_kind_of_file():
    assert list(TABLES) == [kind.value for kind in ConfigKind]


@pytest.mark.parametrize("kind", ConfigKind)
def test_every_key_of_the_models_has_a_row(kind):
    schema = json_schema(kind)
    wanted = {key for table in [schema, *schema["$defs"].values()] for key in table.get("properties", {})}
    shown = {key.rsplit(".", 1)[-1] for key in _keys(kind)}
    # what a column is made of is said once above the tables
    assert wanted - shown <= {"column", "unit"}


def test_every_row_has_five_cells():
    for line in TEXT.splitlines():
        if line.startswith("|"):
            assert len(re.split(r"(?<!\\)\|", line)) == 7, line


def test_a_table_that_stands_in_several_places_is_shown_once():
    keys = _keys(ConfigKind.SESSION)
    assert "odometry.frame.rotate" in keys
    assert "marks.frame.rotate" not in keys
    assert "table, as `odometry.frame`" in TABLES["session"]


def test_rows_of_some_kinds_only_say_which():
    assert "| `odometry.turn_rate` | `velocities`: " in TABLES["session"]
    assert "| `tags.captured` | When the picture" in TABLES["session"]
