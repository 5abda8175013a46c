"""The compiled code as plain Python: compiling changes nothing, and its lines can be stepped through."""

import os
import subprocess
import sys
from pathlib import Path

import numpy as np
from kernel_cases import write_replays

TESTS = Path(__file__).parents[1]


def test_with_compiling_switched_off_the_numbers_are_the_same(tmp_path):
    plain, compiled = tmp_path / "plain.npz", tmp_path / "compiled.npz"
    write_replays(compiled)
    command = (
        "import sys, pathlib, numba, kernel_cases as c; assert numba.config.DISABLE_JIT; "
        "c.write_replays(pathlib.Path(sys.argv[1]))"
    )
    environment = os.environ | {
        "NUMBA_DISABLE_JIT": "1",
        "PYTHONPATH": os.pathsep.join([str(TESTS), str(TESTS.parent)]),
    }
    subprocess.run([sys.executable, "-W", "error", "-c", command, str(plain)], check=True, env=environment)
    expected, found = np.load(plain), np.load(compiled)
    assert sorted(expected.files) == sorted(found.files)
    for name in expected.files:
        if expected[name].dtype.kind == "f":
            np.testing.assert_allclose(found[name], expected[name], rtol=1e-9, atol=1e-12, err_msg=name)
        else:
            np.testing.assert_array_equal(found[name], expected[name], err_msg=name)
    assert found["robot_pose_reacquire_resets"].any()
