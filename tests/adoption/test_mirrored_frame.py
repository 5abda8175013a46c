"""A camera's poses in left-handed axes: the marks show it, and the proposed frame undoes it."""

from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from locbench.config import SessionConfig, load_config
from locbench.jobs.adopt import adopt
from locbench.session import read_session

ROOT = Path(__file__).parents[2]
DEMO = ROOT / "logs_demo" / "orchard_healthy"
ROBOT, FIELD = ROOT / "configs" / "robot_three_pods.toml", ROOT / "configs" / "field_orchard.toml"


@pytest.mark.parametrize("turn_deg", [0.0, 90.0])
def test_a_mirrored_frame_is_proposed_and_undone(tmp_path, turn_deg):
    """The log's x along the field's x turned by that angle, its y to the right of it."""
    tags = pd.read_csv(DEMO / "tags.csv")
    angle = np.radians(turn_deg)
    x, y = tags["px_in"].copy(), tags["py_in"].copy()
    tags["px_in"] = np.cos(angle) * x + np.sin(angle) * y
    tags["py_in"] = np.sin(angle) * x - np.cos(angle) * y
    tags["heading_deg"] = turn_deg - tags["heading_deg"]
    tags.to_csv(tmp_path / "tags.csv", index=False)
    tables = [DEMO / "odometry.csv", tmp_path / "tags.csv", DEMO / "marks.csv"]
    folder = tmp_path / "adopted"
    adopt(tables, folder, robot_file=ROBOT, field_file=FIELD)
    text = (folder / "session.toml").read_text()
    (folder / "session.toml").write_text(text.replace('# mark = "S1"', 'mark = "S1"'))
    frame = load_config(folder / "session.toml", SessionConfig).tags.frame
    assert frame.y_axis == "right"
    assert frame.heading_sense == "clockwise"
    assert np.degrees(frame.rotate) == pytest.approx(turn_deg, abs=0.1)
    original, undone = read_session(DEMO).detections, read_session(folder).detections
    assert np.max(np.abs(original.value[:, :2] - undone.value[:, :2])) < 0.02
    assert np.max(np.abs(np.angle(np.exp(1j * (original.value[:, 2] - undone.value[:, 2]))))) < 1e-3
