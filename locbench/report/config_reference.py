"""Every key of every TOML file as Markdown tables, made from the models that read the files."""

import json
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any

from locbench.config.kinds import ConfigKind
from locbench.config.schemas import meanings
from locbench.report.numbers import MISSING

__all__ = ["config_reference"]

_COLUMN_KEYS = {"column", "unit"}


@dataclass(frozen=True)
class Row:
    """One key: its path in the file, what it means, what may stand there, its default and an example."""

    key: str
    what: str
    form: str
    default: str
    example: str


@dataclass(frozen=True)
class Place:
    """Where in a file tables are read from: the path before their keys, and where each kind of table was shown first.

    `known` grows while rows are made.
    """

    path: str
    known: dict[str, str]

    def below(self, key: str) -> "Place":
        """Return the place of a table under `key`."""
        return Place(f"{self.path}{key}.", self.known)

    def apart(self) -> "Place":
        """Return the same place for one of several tables that exclude each other: each shows what is below it."""
        return Place(self.path, dict(self.known))


def config_reference() -> str:
    """Return one Markdown table per kind of file: key, meaning, unit or choices, default, example."""
    parts = []
    for kind in ConfigKind:
        schema = meanings(kind)
        rows = [
            f"| `{row.key}` | {row.what} | {row.form} | {row.default} | {row.example} |"
            for row in _table_rows(schema, schema, Place("", {}))
        ]
        parts.append(
            "\n".join(
                [
                    f"### Keys of a {kind.value} file",
                    "",
                    "| key | what | unit or choices | default | example |",
                    "|---|---|---|---|---|",
                    *rows,
                ]
            )
        )
    return "\n\n".join(parts) + "\n"


def _table_rows(schema: Mapping[str, Any], table: Mapping[str, Any], place: Place) -> Iterator[Row]:
    """Yield the rows of a table's keys, each followed by those of the table under it, if that is a new one."""
    hidden = _COLUMN_KEYS if _is_column(table) else set()
    for key, node in table["properties"].items():
        if key in hidden:
            continue
        required = key in table.get("required", ())
        union = _union_members(schema, node)
        if union:
            yield from _union_rows(schema, key, node, union, place, required)
        else:
            yield _row(schema, key, node, place, required)
            yield from _rows_below(schema, key, node, place)


def _rows_below(schema: Mapping[str, Any], key: str, node: Mapping[str, Any], place: Place) -> Iterator[Row]:
    inner, below = _inner(node, key)
    for choice in inner.get("anyOf", [inner]):
        name = _definition(choice)
        if name is not None and name not in place.known and "properties" in schema["$defs"][name]:
            place.known[name] = f"{place.path}{key}"
            yield from _table_rows(schema, schema["$defs"][name], place.below(below))


def _inner(node: Mapping[str, Any], key: str) -> tuple[Mapping[str, Any], str]:
    """Return what is listed or named under a key, and the key with the sign for "each of them"."""
    if node.get("type") == "array":
        return node["items"], f"{key}[]"
    if isinstance(node.get("additionalProperties"), Mapping):
        return node["additionalProperties"], f"{key}.NAME"
    return node, key


def _union_members(schema: Mapping[str, Any], node: Mapping[str, Any]) -> dict[str, Mapping[str, Any]]:
    """Return the tables that a key `kind` chooses between, by its value; none if the key is not such a table."""
    mapping = node.get("discriminator", {}).get("mapping", {})
    references = [choice["$ref"] for choice in node.get("oneOf", ())]
    kinds = sorted(mapping, key=lambda kind: references.index(mapping[kind]))
    return {kind: schema["$defs"][mapping[kind].rsplit("/", 1)[-1]] for kind in kinds}


def _union_rows(
    schema: Mapping[str, Any],
    key: str,
    node: Mapping[str, Any],
    members: Mapping[str, Mapping[str, Any]],
    place: Place,
    required: bool,
) -> Iterator[Row]:
    """Yield the rows of all members, what several say alike once; a row that not all have says whose it is."""
    yield Row(f"{place.path}{key}", _cell(node["description"]), "table", _needed(required), MISSING)
    kinds = [f"`{kind}`: {_cell(table['properties']['kind']['description'])}" for kind, table in members.items()]
    yield Row(f"{place.path}{key}.kind", " ".join(kinds), ", ".join(members), "required", _code(next(iter(members))))
    owners: dict[Row, list[str]] = {}
    apart = {kind: place.below(key).apart() for kind in members}
    for kind, table in members.items():
        for row in _table_rows(schema, table, apart[kind]):
            if row.key != f"{place.path}{key}.kind":
                owners.setdefault(row, []).append(kind)
    for member in apart.values():
        place.known.update(member.known)
    order = list(dict.fromkeys(row.key for row in owners))
    for row, kinds in sorted(owners.items(), key=lambda item: order.index(item[0].key)):
        whose = "" if len(kinds) == len(members) else f"{', '.join(f'`{kind}`' for kind in kinds)}: "
        yield Row(row.key, whose + row.what, row.form, row.default, row.example)


def _row(schema: Mapping[str, Any], key: str, node: Mapping[str, Any], place: Place, required: bool) -> Row:
    default = _code(node["default"]) if node.get("default") not in (None, {}, []) else _needed(required)
    return Row(
        f"{place.path}{key}", _cell(node["description"]), _form(schema, node, place), default, _example(schema, node)
    )


def _needed(required: bool) -> str:
    return "required" if required else MISSING


def _form(schema: Mapping[str, Any], node: Mapping[str, Any], place: Place) -> str:
    """Return in a few words what may stand at a key."""
    name = _definition(node)
    if name is not None and name in place.known:
        return f"table, as `{place.known[name]}`" if not _is_column(schema["$defs"][name]) else _columns(schema, name)
    if name is not None:
        target = schema["$defs"][name]
        return _columns(schema, name) if _is_column(target) else _form(schema, target, place)
    if "anyOf" in node:
        return " or ".join(_form(schema, choice, place) for choice in node["anyOf"])
    if node.get("type") == "array":
        return f"list, each: {_form(schema, node['items'], place)}"
    if isinstance(node.get("additionalProperties"), Mapping):
        return f"names, each: {_form(schema, node['additionalProperties'], place)}"
    return _simple_form(node)


def _simple_form(node: Mapping[str, Any]) -> str:
    if "x-dimension" in node:
        return ", ".join(filter(None, [node["x-dimension"], node.get("x-range")]))
    if "enum" in node:
        return ", ".join(node["enum"])
    if "const" in node:
        return f'"{node["const"]}"'
    kinds = {"boolean": "true, false", "string": "text", "object": "table"}
    return kinds.get(node["type"]) or _number_form(node)


def _number_form(node: Mapping[str, Any]) -> str:
    bounds = [
        f"{words} {node[keyword]:g}"
        for keyword, words in (
            ("minimum", "at least"),
            ("exclusiveMinimum", "more than"),
            ("maximum", "at most"),
            ("exclusiveMaximum", "less than"),
        )
        if keyword in node
    ]
    kind = "whole number" if node["type"] == "integer" else "number"
    return " ".join(filter(None, [f"{kind}, no unit" + (":" if bounds else ""), " and ".join(bounds)]))


def _columns(schema: Mapping[str, Any], name: str) -> str:
    return str(schema["$defs"][name]["description"]).removeprefix("A ").rstrip(".")


def _example(schema: Mapping[str, Any], node: Mapping[str, Any]) -> str:
    name = _definition(node)
    examples = node.get("examples") or (schema["$defs"][name].get("examples", []) if name is not None else [])
    return _code(examples[0]) if examples else MISSING


def _definition(node: Mapping[str, Any]) -> str | None:
    return str(node["$ref"]).rsplit("/", 1)[-1] if "$ref" in node else None


def _is_column(table: Mapping[str, Any]) -> bool:
    return set(table.get("properties", ())) >= _COLUMN_KEYS


def _cell(text: str) -> str:
    return text.replace("|", "\\|")


def _code(value: object) -> str:
    return f"`{_toml(value)}`"


def _toml(value: object) -> str:
    """Return a value as TOML writes it inside a line."""
    if isinstance(value, Mapping):
        return "{ " + ", ".join(f"{key} = {_toml(inner)}" for key, inner in value.items()) + " }"
    if isinstance(value, list):
        return "[" + ", ".join(_toml(inner) for inner in value) + "]"
    return json.dumps(value)
