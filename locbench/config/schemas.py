"""The JSON Schema of every kind of TOML file, in the form in which its user writes it."""

from collections.abc import Callable, Mapping
from types import MappingProxyType
from typing import Any

from locbench.config.baseline import BaselineConfig
from locbench.config.field import FieldConfig
from locbench.config.fusion import FusionConfig
from locbench.config.kinds import ConfigKind
from locbench.config.quantities import Config
from locbench.config.robot import RobotConfig
from locbench.config.scenario import ScenarioConfig
from locbench.config.session import SessionConfig
from locbench.config.shooter import ShooterConfig
from locbench.units import Dimension, quantity_as_written, unit_symbols

__all__ = ["MODELS", "json_schema", "meanings"]

MODELS: Mapping[ConfigKind, type[Config]] = MappingProxyType(
    {
        ConfigKind.ROBOT: RobotConfig,
        ConfigKind.FIELD: FieldConfig,
        ConfigKind.FUSION: FusionConfig,
        ConfigKind.SHOOTER: ShooterConfig,
        ConfigKind.SESSION: SessionConfig,
        ConfigKind.SCENARIO: ScenarioConfig,
        ConfigKind.BASELINE: BaselineConfig,
    }
)

_DIALECT = "https://json-schema.org/draft/2020-12/schema"
_NO_UNIT = ("integer", "number")


def json_schema(kind: ConfigKind) -> dict[str, Any]:
    """Return the JSON Schema (draft 2020-12) of one kind of file, for editors and other tools.

    Quantities are texts with a pattern; their defaults are written with a unit. What TOML cannot say (null) is left
    out: a key without a value is a key that is not written. Every key's description says what it means, then its unit.
    Rules between several keys are not in it; reading the file checks those.
    """
    return {"$schema": _DIALECT, **_each_property(meanings(kind), _with_unit)}


def meanings(kind: ConfigKind) -> dict[str, Any]:
    """Return the same schema with descriptions that say only what a key means."""
    return _each_property(MODELS[kind].model_json_schema(), _as_written)


def _each_property(
    schema: Mapping[str, Any], change: Callable[[dict[str, Any], bool], dict[str, Any]]
) -> dict[str, Any]:
    """Return the schema with every key's own schema changed; `change` also learns whether the key is required."""

    def model(node: Mapping[str, Any]) -> dict[str, Any]:
        required = node.get("required", [])
        properties = {key: change(value, key in required) for key, value in node.get("properties", {}).items()}
        described = {**node, "description": _one_line(node.get("description", ""))}
        return {**described, "properties": properties} if properties else described

    definitions = {name: model(node) for name, node in schema.get("$defs", {}).items()}
    return {**model({key: value for key, value in schema.items() if key != "$defs"}), "$defs": definitions}


def _as_written(node: dict[str, Any], required: bool) -> dict[str, Any]:
    """Return the schema of one key without null and title, its default as a user would write it."""
    found = _without_null({key: value for key, value in node.items() if key != "title"})
    written = _default_as_written(found, found.pop("default", None))
    if not required and written is not None:
        found["default"] = written
    found["description"] = _one_line(found.get("description", ""))
    return found


def _with_unit(node: dict[str, Any], _: bool) -> dict[str, Any]:
    return {**node, "description": " ".join(filter(None, [node["description"], _unit_words(node)]))}


def _without_null(node: dict[str, Any]) -> dict[str, Any]:
    """Return the node without the choice of null, and without a union of the one choice that is left."""
    choices = [choice for choice in node.get("anyOf", ()) if choice.get("type") != "null"]
    choices = choices or list(node.get("allOf", ()))
    rest = {key: value for key, value in node.items() if key not in ("anyOf", "allOf")}
    if len(choices) == 1:
        return {**choices[0], **rest}
    return {**rest, "anyOf": choices} if choices else rest


def _default_as_written(node: Mapping[str, Any], default: object) -> object:
    dimension = node.get("x-dimension")
    if dimension is not None and isinstance(default, int | float):
        return quantity_as_written(float(default), Dimension(dimension))
    if isinstance(default, dict) or (default is None and "additionalProperties" in node):
        # a table that may be left out is made of keys that may be left out, whose own defaults say the rest
        return {}
    return default


def _unit_words(node: Mapping[str, Any]) -> str:
    """Return the sentence about the unit of a key's values, or of the values in its list or table."""
    inner, words = node, "{}"
    if node.get("type") == "array":
        inner, words = node["items"], "A list; each: {}"
    elif isinstance(node.get("additionalProperties"), Mapping):
        inner, words = node["additionalProperties"], "A table of names; each: {}"
    if "x-dimension" in inner:
        dimension = Dimension(inner["x-dimension"])
        bounds = f", {inner['x-range']}" if "x-range" in inner else ""
        sentence = f"{dimension.value.capitalize()} with its unit ({', '.join(unit_symbols(dimension))}){bounds}."
    elif inner.get("type") in _NO_UNIT:
        sentence = "Number without unit."
    else:
        return ""
    return words.format(sentence)


def _one_line(text: str) -> str:
    return " ".join(text.split())
