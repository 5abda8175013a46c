"""What compiling must not cost: a stale or an unwritable cache."""

import ast
import os
import subprocess
import sys
from pathlib import Path

import locbench.fusion

ROOM = Path(locbench.fusion.__file__).parent
# numba tries a folder by making a temporary file in it
NOWHERE_TO_WRITE = """
import tempfile
def refuse(*_, **__): raise OSError(30, "read-only file system")
tempfile.TemporaryFile = refuse
"""


def _decorated(source: str) -> bool:
    names = [
        decorator.id
        for node in ast.walk(ast.parse(source))
        if isinstance(node, ast.FunctionDef)
        for decorator in node.decorator_list
        if isinstance(decorator, ast.Name)
    ]
    return "compiled" in names


def test_the_kept_code_goes_with_every_source_it_was_made_from():
    """A module with compiled functions, or rows they read, that is missing here would leave old code in use."""
    text = (ROOM / "kernel.py").read_text()
    call = next(
        node
        for node in ast.walk(ast.parse(text))
        if isinstance(node, ast.Call) and isinstance(node.func, ast.Name) and node.func.id == "fingerprint"
    )
    listed = {argument.value for argument in call.args if isinstance(argument, ast.Constant)}
    compiled = {path.stem for path in ROOM.glob("*.py") if _decorated(path.read_text())} - {"kernel"}
    assert {"model", "views", "applying"} <= compiled
    assert listed == compiled | {"compiling", "rows", "settings"}


def test_without_a_folder_to_keep_code_in_everything_still_works(tmp_path):
    command = NOWHERE_TO_WRITE + "import sys; sys.argv = ['locbench', '--help']\nimport locbench.fusion\n"
    command += "assert locbench.fusion.fuse\nfrom locbench.cli.main import main\nmain()"
    environment = os.environ | {"NUMBA_DISABLE_JIT": "0", "NUMBA_CACHE_DIR": str(tmp_path / "none")}
    done = subprocess.run([sys.executable, "-c", command], env=environment, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr
    assert "evaluate" in done.stdout
