"""What can happen to a table or a TOML file between the robot and the reader: bytes in, spoilt bytes out.

A fault takes a source of chance and the bytes of a file that is in order. `harmless` faults change how a table is
written, not what it says.
"""

import copy
import gzip
import tomllib
from collections.abc import Callable
from random import Random
from typing import Any

from locbench.session.writer import toml_text

__all__ = ["HARMLESS_FAULTS", "spoilt_table", "spoilt_toml"]

Fault = Callable[[Random, bytes], bytes]

CELLS = [
    *(
        "",
        " ",
        "nan",
        "NaN",
        "inf",
        "-inf",
        "1e400",
        "-1e400",
        "1e300",
        "1e30",
        "1e12",
        "-1e12",
        "99999999999999999999",
    ),
    *("0", "-0", "-1", "1e-320", "0x1F", "1_000", "1,5", '"1,5"', '"12"', "'12'", "twelve", "12 mm", "True", "None"),
    *("2024-01-01", "12:30:05", "1.2.3", "１２", "M1", "M9", "3;7", "3+x", "-5", "1.5", "=1+1", '"', "\x00", "\r", "∞"),
]
TOML_VALUES: list[Any] = [
    *("", " ", "0 m", "-1 m", "1e9 m", "1e400 m", "1e-9 m", "1e-300 m", "nan m", "inf s", "0 s", "-3 s", "1e9 s"),
    *("5 deg", "-5 deg", "1e9 deg", "90", "90deg", "1,5 m", "5 furlongs", "3 kg", "50 %", "-1 %", "200 %", "0 %"),
    *("1e-12 deg", "1e-12 s", "5 rpm", "1e8 m/s", "1e9 rad/s", "0 deg/s"),
    *("../nowhere.toml", "missing/table.csv", ".", "/", "session.toml", "odometry.csv", "tags.csv", "n" * 400),
    *("a\x00b", "two\nlines", "\x1b[31mred", "[bold]", "機器人", "é" * 40, "pod_counts", "range", "kalman", "+y", "S1"),
    *(0, -1, 1, 3, 10**30, -(10**30), 0.0, 0.5, -2.5, 1e300, float("inf"), float("nan"), True, False),
    *([], {}, [[]], [{}], {"column": "t_ms"}, {"column": "t_ms", "unit": "ms"}, {"column": "", "unit": "m"}),
]


def _piece(random: Random, data: bytes) -> tuple[int, int]:
    start = random.randint(0, max(0, len(data) - 1))
    return start, min(len(data), start + random.choice([1, 2, 7, 40]))


def _cut_off(random: Random, data: bytes) -> bytes:
    return data[: random.randint(0, len(data))]


def _flip_bits(random: Random, data: bytes) -> bytes:
    flipped = bytearray(data)
    for _ in range(random.choice([1, 1, 2, 20])):
        if flipped:
            flipped[random.randint(0, len(flipped) - 1)] ^= 1 << random.randint(0, 7)
    return bytes(flipped)


def _overwrite(random: Random, data: bytes) -> bytes:
    start, end = _piece(random, data)
    return data[:start] + random.choice([b"\x00", b"\xff\xfe", b"\xc3", b'"', b"\n", b"9", b" "]) + data[end:]


def _leave_out_a_piece(random: Random, data: bytes) -> bytes:
    start, end = _piece(random, data)
    return data[:start] + data[end:]


def _repeat_a_piece(random: Random, data: bytes) -> bytes:
    start, end = _piece(random, data)
    return data[:end] + data[start:]


def _other_encoding(random: Random, data: bytes) -> bytes:
    return data.decode("utf-8", "replace").encode(random.choice(["utf-16", "utf-16-le", "utf-32"]))


def _nothing(random: Random, _: bytes) -> bytes:
    return random.choice([b"", b"\n", b"\x00", b" ", b"\xef\xbb\xbf", b"\n\n\n"])


BYTE_FAULTS: list[Fault] = [
    _cut_off,
    _flip_bits,
    _overwrite,
    _leave_out_a_piece,
    _repeat_a_piece,
    _other_encoding,
    _nothing,
]


def _rows(data: bytes) -> list[list[str]]:
    return [line.split(",") for line in data.decode().splitlines()]


def _table(rows: list[list[str]]) -> bytes:
    return "".join(",".join(row) + "\n" for row in rows).encode()


def _byte_order_mark(_: Random, data: bytes) -> bytes:
    return b"\xef\xbb\xbf" + data


def _carriage_returns(_: Random, data: bytes) -> bytes:
    return data.replace(b"\n", b"\r\n")


def _swap_columns(random: Random, data: bytes) -> bytes:
    rows = _rows(data)
    order = list(range(len(rows[0])))
    random.shuffle(order)
    return _table([[row[column] for column in order] for row in rows])


def _extra_column(random: Random, data: bytes) -> bytes:
    text = random.choice(["note", "", "1e999", '"a,b"', "機器人"])
    return _table([[*row, "remark" if number == 0 else text] for number, row in enumerate(_rows(data))])


def _quoted_cells(_: Random, data: bytes) -> bytes:
    return _table([[f'"{cell}"' for cell in row] for row in _rows(data)])


def _blanks_after_commas(_: Random, data: bytes) -> bytes:
    return data.replace(b",", b", ")


HARMLESS_FAULTS: list[Fault] = [
    _byte_order_mark,
    _carriage_returns,
    _swap_columns,
    _extra_column,
    _quoted_cells,
    _blanks_after_commas,
]


def _some_rows(random: Random, count: int) -> list[int]:
    """Return some data rows of a table with a head and `count` rows in all."""
    last = count - 1
    if last < 1:
        return []
    first = random.randint(1, last)
    return list(range(first, min(last, first + random.choice([0, 0, 0, 1, 5, 50, last])) + 1))


def _other_cells(random: Random, data: bytes) -> bytes:
    rows, text = _rows(data), random.choice(CELLS)
    column = random.randint(0, len(rows[0]) - 1)
    for row in _some_rows(random, len(rows)):
        rows[row][column] = text
    return _table(rows)


def _other_numbers(random: Random, data: bytes) -> bytes:
    rows = _rows(data)
    column = random.randint(0, len(rows[0]) - 1)
    factor, plus = random.choice([(-1, 0), (1000, 0), (1e-3, 0), (0, 0), (1, 1e6), (1, -1e5), (1, 65536), (1e9, 0)])
    for row in _some_rows(random, len(rows)):
        try:
            rows[row][column] = str(float(rows[row][column]) * factor + plus)
        except ValueError:
            rows[row][column] += "x"
    return _table(rows)


def _leave_out_rows(random: Random, data: bytes) -> bytes:
    rows = _rows(data)
    gone = set(_some_rows(random, len(rows)))
    return _table([row for number, row in enumerate(rows) if number not in gone])


def _repeat_rows(random: Random, data: bytes) -> bytes:
    rows = _rows(data)
    chosen = _some_rows(random, len(rows))
    at = random.choice([chosen[-1] + 1, len(rows), 1]) if chosen else 1
    return _table(rows[:at] + [rows[number] for number in chosen] + rows[at:])


def _reverse_rows(random: Random, data: bytes) -> bytes:
    rows = _rows(data)
    chosen = _some_rows(random, len(rows))
    return _table([rows[chosen[-1 - chosen.index(n)]] if n in chosen else row for n, row in enumerate(rows)])


def _head_only(random: Random, data: bytes) -> bytes:
    head = data.splitlines(keepends=True)[0]
    return random.choice([head, head.rstrip(), head * 2])


def _no_head(_: Random, data: bytes) -> bytes:
    return b"".join(data.splitlines(keepends=True)[1:])


def _leave_out_a_column(random: Random, data: bytes) -> bytes:
    rows = _rows(data)
    gone = random.randint(0, len(rows[0]) - 1)
    return _table([[cell for column, cell in enumerate(row) if column != gone] for row in rows])


def _copied_column(random: Random, data: bytes) -> bytes:
    """Write one column, with or without its head, in the place of or behind another."""
    rows = _rows(data)
    source, place = (random.randint(0, len(rows[0]) - 1) for _ in range(2))
    start, behind = random.choice([0, 1]), random.choice([True, False])
    for number, row in enumerate(rows):
        if behind:
            row.append(row[source])
        elif number >= start:
            row[place] = row[source]
    return _table(rows)


def _other_head(random: Random, data: bytes) -> bytes:
    rows = _rows(data)
    names = ["", "t", "T_MS", " t_ms", '"a\nb"', "1", "é", "\x1b[2J"]
    rows[0][random.randint(0, len(rows[0]) - 1)] = random.choice(names)
    return _table(rows)


def _ragged_row(random: Random, data: bytes) -> bytes:
    rows = _rows(data)
    for row in _some_rows(random, len(rows)):
        rows[row] = random.choice([rows[row][:-1], [*rows[row], "1"], [*rows[row], ""], [""], [], ["#", "note"]])
    return _table(rows)


def _other_separator(random: Random, data: bytes) -> bytes:
    return data.replace(b",", random.choice([b";", b"\t", b" ", b"|", b",,"]))


def _decimal_commas(random: Random, data: bytes) -> bytes:
    separator = random.choice([b";", b"\t", b","])
    return data.replace(b",", separator).replace(b".", b",")


def _packed(random: Random, data: bytes) -> bytes:
    """Write the table gzipped under a name that does not say so, whole or damaged."""
    packed = gzip.compress(data, mtime=0)
    return random.choice([packed, _cut_off(random, packed), _flip_bits(random, packed)])


TABLE_FAULTS: list[Fault] = [
    *BYTE_FAULTS,
    *HARMLESS_FAULTS,
    *[_other_cells] * 6,
    *[_other_numbers] * 5,
    _leave_out_rows,
    _repeat_rows,
    _reverse_rows,
    _head_only,
    _no_head,
    _leave_out_a_column,
    _copied_column,
    _other_head,
    _ragged_row,
    _other_separator,
    _decimal_commas,
    _packed,
]


def spoilt_table(random: Random, data: bytes) -> bytes:
    """Return a CSV table with one fault; of a gzipped one the table inside or the packing has it."""
    if not data.startswith(b"\x1f\x8b"):
        return random.choice(TABLE_FAULTS)(random, data)
    if random.choice([True, False]):
        return random.choice(BYTE_FAULTS)(random, data)
    return gzip.compress(random.choice(TABLE_FAULTS)(random, gzip.decompress(data)), mtime=0)


def _places(node: Any) -> list[tuple[Any, Any]]:
    """Return (container, key) of everything in a parsed TOML file."""
    pairs = list(node.items() if isinstance(node, dict) else enumerate(node) if isinstance(node, list) else [])
    return [(node, key) for key, _ in pairs] + [place for _, child in pairs for place in _places(child)]


def _written(value: Any) -> str:
    match value:
        case dict():
            return "{ " + ", ".join(f"{toml_text(key)} = {_written(child)}" for key, child in value.items()) + " }"
        case list():
            return "[" + ", ".join(_written(child) for child in value) + "]"
        case bool():
            return str(value).lower()
        case str():
            return toml_text(value)
        case _:
            return repr(value)


def _toml(data: dict[str, Any]) -> bytes:
    return "".join(f"{toml_text(key)} = {_written(value)}\n" for key, value in data.items()).encode()


def _changed(random: Random, data: bytes, change: Callable[[Random, Any, Any], None]) -> bytes:
    parsed = tomllib.loads(data.decode())
    container, key = random.choice(_places(parsed))
    change(random, container, key)
    return _toml(parsed)


def _leave_out_a_key(random: Random, data: bytes) -> bytes:
    return _changed(random, data, lambda _, container, key: container.pop(key))


def _rename_a_key(random: Random, data: bytes) -> bytes:
    def rename(random: Random, container: Any, key: Any) -> None:
        value = container.pop(key)
        names = [f"{key}x", "", "kind", "x", "two\nlines", "\x1b[2J", "機器人", "a.b", str(key).upper(), "m" * 300]
        if isinstance(container, dict):
            container[random.choice(names)] = value
        else:
            container.extend([value, value])

    return _changed(random, data, rename)


def _other_value(random: Random, data: bytes) -> bytes:
    def replace(random: Random, container: Any, key: Any) -> None:
        container[key] = copy.deepcopy(random.choice(TOML_VALUES))

    return _changed(random, data, replace)


def _other_quantity(random: Random, data: bytes) -> bytes:
    """Write another number before the unit, another unit behind the number, or a number of another size or kind."""

    def replace(random: Random, container: Any, key: Any) -> None:
        value = container[key]
        if isinstance(value, str) and " " in value:
            number, unit = value.split(" ", 1)
            numbers = ["0", "-0", f"-{number}", f"{number}e3", f"{number}e-6", "1e-9", "1e6", "9.9e9", "1e400", "nan"]
            units = ["m", "mm", "in", "deg", "rad", "s", "ms", "m/s", "deg/s", "%", "kg", "M", "", "mm "]
            text = (random.choice(numbers), unit) if random.choice([True, False]) else (number, random.choice(units))
            container[key] = " ".join(text)
        elif isinstance(value, int | float):
            container[key] = random.choice([-value, 0, value * 1000, float(value), str(value), 10**18, 1e-300, 2, 9])
        else:
            container[key] = copy.deepcopy(random.choice(TOML_VALUES))

    return _changed(random, data, replace)


def _copied_value(random: Random, data: bytes) -> bytes:
    """Write under one key what stands under another: the way a name is confused."""
    parsed = tomllib.loads(data.decode())
    (source, source_key), (container, key) = (random.choice(_places(parsed)) for _ in range(2))
    container[key] = copy.deepcopy(source[source_key])
    return _toml(parsed)


def _deeply_nested(random: Random, data: bytes) -> bytes:
    depth = random.choice([50, 400, 5000])
    text = random.choice(["[" * depth + "]" * depth, "{ a = " * depth + "1" + " }" * depth, "1" * depth])
    return b"deep = " + text.encode() + b"\n" + data


def _other_lines(random: Random, data: bytes) -> bytes:
    lines = data.splitlines(keepends=True)
    number = random.randint(0, len(lines) - 1)
    line = lines[number]
    words = [b"[start]\n", b"[[tags]]\n", b"[odometry\n", b"name = \n", b"x = 1 m\n", b'x = "\n', b"= 3\n", b"\xff\n"]
    half, word = line[: len(line) // 2], random.choice(words)
    lines[number : number + 1] = random.choice([[], [line, line], [word], [word, line], [line.strip(), line], [half]])
    return b"".join(lines)


TOML_FAULTS: list[Fault] = [
    *BYTE_FAULTS,
    _byte_order_mark,
    _carriage_returns,
    *[_leave_out_a_key] * 3,
    *[_rename_a_key] * 2,
    *[_other_value] * 5,
    *[_other_quantity] * 8,
    *[_copied_value] * 2,
    _deeply_nested,
    *[_other_lines] * 2,
]


def spoilt_toml(random: Random, data: bytes) -> bytes:
    """Return a TOML file with one fault."""
    return random.choice(TOML_FAULTS)(random, data)
