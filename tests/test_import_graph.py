"""The rooms import leftward only (design: rooms in import order)."""

import ast
from pathlib import Path

import locbench

PACKAGE = Path(locbench.__file__).parent
USES = ["inspection", "camera", "calibration", "slip", "placement", "tuning", "runsheet", "precheck"]
ORDER = [
    ["arrays", "drive_kinds", "errors"],
    ["units", "files", "geometry", "statistics"],
    ["config"],
    ["session"],
    ["adoption"],
    ["odometry"],
    ["reference"],
    ["vision"],
    ["fusion"],
    ["accuracy"],
    ["shots"],
    USES,
    ["results"],
    ["jobs"],
    ["report"],
    ["cli"],
]
RANK = {room: rank for rank, rooms in enumerate(ORDER) for room in rooms}
RANK["simulation"] = RANK["session"]
SIMULATION_MAY = {"arrays", "errors", "units", "files", "geometry", "config", "session.writer", "simulation"}
NEVER = {("reference", "vision")}


def _room(path: Path) -> str:
    return path.relative_to(PACKAGE).parts[0].removesuffix(".py")


def _imports(path: Path) -> list[str]:
    found = []
    for node in ast.walk(ast.parse(path.read_text())):
        if isinstance(node, ast.ImportFrom) and node.module and node.module.startswith("locbench."):
            found.append(node.module.removeprefix("locbench."))
        elif isinstance(node, ast.ImportFrom) and node.level:
            raise AssertionError(f"{path}: relative imports hide the room they lead to")
        elif isinstance(node, ast.Import):
            found += [
                alias.name.removeprefix("locbench.") for alias in node.names if alias.name.startswith("locbench.")
            ]
    return found


def _files() -> list[Path]:
    return [
        path
        for path in PACKAGE.rglob("*.py")
        if path.parent != PACKAGE or path.name not in ("__init__.py", "__main__.py")
    ]


def test_every_room_has_its_place():
    assert {_room(path) for path in _files()} <= set(RANK)


def test_imports_go_leftward_only():
    wrong = []
    for path in _files():
        room = _room(path)
        for module in _imports(path):
            target = module.split(".")[0]
            allowed = target == room or RANK[target] < RANK[room] or (RANK[target] == RANK[room] == 1)
            if room == "simulation":
                allowed = module in SIMULATION_MAY or target in SIMULATION_MAY
            if target == "simulation" and room not in ("jobs", "simulation"):
                allowed = False
            if (room, target) in NEVER or (room in USES and target in USES and room != target):
                allowed = False
            if not allowed:
                wrong.append(f"{path.relative_to(PACKAGE)} imports {module}")
    assert not wrong


def test_there_are_no_cycles_among_the_first_rooms():
    edges = {(_room(path), module.split(".")[0]) for path in _files() for module in _imports(path)}
    first = set(ORDER[1])
    pairs = {(a, b) for a, b in edges if a in first and b in first and a != b}
    assert not {(a, b) for a, b in pairs if (b, a) in pairs}


def test_modules_stay_small():
    long = {str(path.relative_to(PACKAGE)): len(path.read_text().splitlines()) for path in _files()}
    assert {name: lines for name, lines in long.items() if lines > 400} == {}


def test_matplotlib_stays_in_the_report():
    users = {_room(path) for path in _files() if "matplotlib" in path.read_text()}
    assert users <= {"report"}
