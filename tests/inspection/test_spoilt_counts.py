"""Counts that contradict everything else: no size of the wheel mends them."""

from pathlib import Path

import pandas as pd
from short_inputs import other_log

from locbench.jobs.inspect import inspect


def test_a_jump_that_no_size_of_the_wheel_explains(tmp_path: Path):
    session = other_log("range_bearing").write(tmp_path, {})
    table = pd.read_csv(session / "odometry.csv")
    table.loc[table["t_ms"].isin([2780, 2800]), "enc_cross"] -= 100_000
    table.to_csv(session / "odometry.csv", index=False)
    assert "counter_jump" in {found.code for found in inspect(session).inspection.diagnoses}
