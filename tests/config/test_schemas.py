"""The JSON Schemas say what the models read: every key explained, valid themselves, true of the files we ship."""

import json
import tomllib
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st
from jsonschema import Draft202012Validator

from locbench.config.kinds import ConfigKind
from locbench.config.quantities import Config
from locbench.config.schemas import MODELS, json_schema
from locbench.units import UNITS, Dimension, parse_quantity, quantity_as_written, quantity_pattern, unit_symbols

ROOT = Path(__file__).parents[2]
FILES = [
    (kind, path)
    for kind in ConfigKind
    for path in sorted(
        [*(ROOT / "configs").glob(f"{kind.value}_*.toml"), *(ROOT / "logs_demo").rglob(f"{kind.value}.toml")]
    )
]
SCHEMAS = {kind: json_schema(kind) for kind in ConfigKind}


def _keys(schema):
    """Path and schema of every key, of the file itself and of every table in it."""
    for name, table in {"": schema, **schema["$defs"]}.items():
        for key, node in table.get("properties", {}).items():
            yield f"{name}.{key}", node


def _speaks_for_itself(node, schema):
    """Whether its values are listed, or it is a table or a list of tables, whose own keys have examples."""
    if "$ref" in node:
        target = schema["$defs"][node["$ref"].rsplit("/", 1)[-1]]
        return "enum" in target or "properties" in target
    inner = node["items"] if node.get("type") == "array" else node.get("additionalProperties", node)
    if inner is not node:
        return _speaks_for_itself(inner, schema)
    return "enum" in node or "const" in node or "oneOf" in node or node.get("type") == "boolean"


@pytest.mark.parametrize("kind", ConfigKind)
def test_a_schema_is_valid_itself(kind):
    Draft202012Validator.check_schema(SCHEMAS[kind])
    assert SCHEMAS[kind]["$schema"].endswith("2020-12/schema")
    assert json.loads(json.dumps(SCHEMAS[kind], allow_nan=False)) == SCHEMAS[kind]


def _is_explained(node):
    if "x-dimension" in node:
        unit = f"with its unit ({', '.join(unit_symbols(Dimension(node['x-dimension'])))})"
    else:
        unit = "without unit" if node.get("type") in ("integer", "number") else ""
    meaning = node["description"].split(" with its unit (")[0]
    return len(meaning.split()) > 2 and unit in node["description"]


@pytest.mark.parametrize("kind", ConfigKind)
def test_every_key_says_what_it_is_its_unit_and_an_example(kind):
    schema = SCHEMAS[kind]
    assert [path for path, node in _keys(schema) if not _is_explained(node)] == []
    assert [
        path for path, node in _keys(schema) if not (_speaks_for_itself(node, schema) or node.get("examples"))
    ] == []


@pytest.mark.parametrize("kind", ConfigKind)
def test_examples_and_defaults_are_valid_where_they_stand(kind):
    for path, node in _keys(SCHEMAS[kind]):
        validator = Draft202012Validator({**node, "$defs": SCHEMAS[kind]["$defs"]})
        for value in [*node.get("examples", []), *([node["default"]] if "default" in node else [])]:
            assert validator.is_valid(value), f"{path}: {value}"


@pytest.mark.parametrize(("kind", "path"), FILES, ids=[path.parent.name + "/" + path.name for _, path in FILES])
def test_files_of_the_repository_are_accepted_and_unknown_keys_are_not(kind, path):
    data = tomllib.loads(path.read_text())
    validator = Draft202012Validator(SCHEMAS[kind])
    validator.validate(data)
    assert not validator.is_valid({**data, "nmae": "x"})
    tables = {key: value for key, value in data.items() if isinstance(value, dict | list) and "column" not in value}
    table, inside = next((key, value) for key, value in tables.items() if isinstance(value, dict) or kind == "baseline")
    spoilt = {**inside, "unheard_of": 1} if isinstance(inside, dict) else [{**inside[0], "unheard_of": 1}]
    assert not validator.is_valid({**data, table: spoilt})


def test_every_kind_has_files_to_try():
    assert {kind for kind, _ in FILES} == set(ConfigKind)


def test_a_quantity_without_unit_space_or_of_another_dimension_is_refused():
    validator = Draft202012Validator(SCHEMAS[ConfigKind.FIELD]["$defs"]["Floor"])
    floor = {"x_from": "0 m", "x_to": "4 m", "y_from": "0 m", "y_to": "1.2e1 ft"}
    assert validator.is_valid(floor)
    for wrong in ("4", "4m", "4 deg", "four m", 4.0):
        assert not validator.is_valid({**floor, "x_to": wrong})


def test_defaults_are_written_as_in_a_file():
    def default(kind, table, key):
        return SCHEMAS[kind]["$defs"][table]["properties"][key]["default"]

    assert default(ConfigKind.ROBOT, "MotionNoise", "along_per_metre") == "10 mm"
    assert default(ConfigKind.ROBOT, "Gyro", "heading_per_minute") == "0.5 deg"
    assert default(ConfigKind.FUSION, "FixedGain", "position") == "30 %"
    assert default(ConfigKind.SCENARIO, "Logging", "odometry_period") == "10 ms"
    assert default(ConfigKind.SESSION, "Frame", "heading_sense") == "counter-clockwise"
    assert SCHEMAS[ConfigKind.FUSION]["properties"]["trust"]["default"] == {}


@pytest.mark.parametrize("kind", ConfigKind)
def test_defaults_and_required_keys_are_those_of_the_models(kind):
    models = {model.__name__: model for model in _with_subclasses(Config)}
    for name, table in {MODELS[kind].__name__: SCHEMAS[kind], **SCHEMAS[kind]["$defs"]}.items():
        if "properties" not in table:
            continue
        fields = {field.alias or key: field for key, field in models[name].model_fields.items()}
        assert set(table.get("required", [])) == {key for key, field in fields.items() if field.is_required()}
        for key, node in table["properties"].items():
            if "x-dimension" in node and "default" in node:
                read = parse_quantity(node["default"], Dimension(node["x-dimension"]))
                assert read == pytest.approx(fields[key].default, rel=1e-9), f"{name}.{key}"


def _with_subclasses(model):
    return [model, *(found for child in model.__subclasses__() for found in _with_subclasses(child))]


def test_the_key_of_a_band_is_the_one_in_the_file():
    band = SCHEMAS[ConfigKind.FIELD]["$defs"]["Band"]
    assert {"from", "to"} <= set(band["properties"])
    assert "from" in band["required"]


def test_nothing_offers_null():
    assert '"null"' not in json.dumps(SCHEMAS)


@given(st.sampled_from(Dimension), st.floats(-1e4, 1e4, allow_nan=False))
def test_a_quantity_as_written_reads_back_as_the_same(dimension, value):
    assert parse_quantity(quantity_as_written(value, dimension), dimension) == pytest.approx(
        value, rel=1e-9, abs=1e-300
    )


@pytest.mark.parametrize("unit", UNITS.values(), ids=list(UNITS))
def test_the_pattern_knows_every_unit(unit):
    validator = Draft202012Validator({"type": "string", "pattern": quantity_pattern(unit.dimension)})
    assert validator.is_valid(f"-1.5e-3 {unit.symbol}")
    assert not validator.is_valid(f"1 {unit.symbol}x")
