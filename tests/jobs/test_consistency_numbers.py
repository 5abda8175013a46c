"""Consistency as results.json has it: bands, lock-outs, the demo logs."""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from body_runs import FILTER, body_run, body_session, kalman
from logs import SmallLog

from locbench.config import FusionConfig, load_config
from locbench.jobs.consistency import consistency
from locbench.jobs.evaluate import evaluate
from locbench.jobs.replaying import replay_session
from locbench.session import StartPose, read_session
from locbench.statistics import RemarkCode

DEMOS = Path(__file__).parents[2] / "logs_demo"
GATE = {"trust": {"gate_probability": "99 %"}}


def _thrown_off(mode):
    """A run that begins half a metre beside where the filter is sure to be."""
    session = body_session(3)
    (stretch,) = session.stretches
    wrong = StartPose(stretch.start.pose + [0.4, -0.3, 0.0], stretch.start.covariance)
    moved = replace(session, stretches=(replace(stretch, start=wrong),))
    return replay_session(moved, [kalman(correction={"mode": mode}, **GATE)], None, 0, lambda *_: None)


@pytest.mark.parametrize("mode", ["kalman", "replace", "fixed_gain"])
def test_a_belief_that_is_thrown_off_locks_the_truth_out(mode):
    run = _thrown_off(mode)
    locked = [r for r in consistency(run, FILTER).remarks if r.code is RemarkCode.TRUTH_LOCKED_OUT]
    assert len(locked) == 1
    arrived = run.estimators[FILTER].estimates[0].corrections.arrived_s
    assert locked[0].start_s == arrived[0]
    assert locked[0].end_s > arrived[0] + 3.0
    assert locked[0].value.value >= 10


def test_without_a_gate_or_corrections_nothing_is_locked_out():
    run = _thrown_off("none")
    assert RemarkCode.TRUTH_LOCKED_OUT not in {r.code for r in consistency(run, FILTER).remarks}
    free = consistency(body_run(3), FILTER)
    assert RemarkCode.TRUTH_LOCKED_OUT not in {r.code for r in free.remarks}


@pytest.mark.parametrize("demo", ["orchard_healthy", "orchard_shoved", "orchard_worn", "orchard_spin_line"])
def test_the_demo_logs_evaluate_cleanly(demo):
    """No lock-out though shoves make the gate refuse for a while; bands wherever there is a covariance."""
    (session,) = evaluate([DEMOS / demo], [DEMOS.parent / "configs" / "fusion_gated_kalman.toml"]).results.sessions
    assert {finding.severity for finding in session.findings} <= {"note"}
    for name, result in session.estimators.items():
        found = result.consistency
        assert RemarkCode.TRUTH_LOCKED_OUT not in {remark.code for remark in found.remarks}
        assert RemarkCode.FIXES_HANG_TOGETHER not in {remark.code for remark in found.remarks}
        if name != "tags_only":
            assert found.nees_band95[0] < 1.0 < found.nees_band95[1]
    # what was shoved drifted further than any honest motion noise allows; what was not did not
    larger = {r.code for r in session.estimators["dead_reckoning"].consistency.remarks}
    assert (RemarkCode.ERRORS_LARGER in larger) == (demo == "orchard_shoved")


def test_shoves_that_throw_a_sure_filter_off_are_found_with_their_times():
    """The shoved demo with the robot file's own motion noise: shoves at 37 s and 65.5 s move the belief for good."""
    session = read_session(DEMOS / "orchard_shoved")
    sure = load_config(DEMOS.parent / "configs" / "fusion_gated_kalman.toml", FusionConfig)
    sure = sure.model_copy(update={"motion_noise": FusionConfig(name="own").motion_noise})
    found = consistency(replay_session(session, [sure], None, 0, lambda *_: None), sure.name).remarks
    locked = [remark for remark in found if remark.code is RemarkCode.TRUTH_LOCKED_OUT]
    assert [37.0 < locked[0].start_s < 41.0, 65.5 < locked[-1].start_s < 68.0] == [True, True]
    assert all(remark.end_s - remark.start_s >= 3.0 for remark in locked)
    assert RemarkCode.ERRORS_LARGER in {remark.code for remark in found}


def test_marks_alone_give_a_band_and_no_reference_a_reason(tmp_path):
    with_marks = evaluate([SmallLog(tmp_path / "b").with_tags().with_marks().write()]).results.sessions[0]
    found = with_marks.estimators["default_kalman"].consistency
    assert found.nees_band95[0] < found.nees_band95[1]
    assert "nees_band95" not in found.why
    bare = evaluate([SmallLog(tmp_path / "c").with_tags().write()]).results.sessions[0]
    for result in bare.estimators.values():
        assert result.consistency.nees_band95 is None
        assert result.consistency.why["nees_band95"]
        assert result.consistency.remarks == [] or result.consistency.nis_mean.value is not None


def test_several_sessions_give_one_independent_comparison_each(tmp_path):
    folders = []
    for number in range(6):
        folder = SmallLog(tmp_path / str(number)).with_tags().with_marks().with_truth().write()
        path = folder / "session.toml"
        path.write_text(path.read_text().replace('"small log"', f'"run {number}"'))
        folders.append(folder)
    pooled = evaluate(folders).results.pooled.estimators["dead_reckoning"].consistency
    assert pooled.nees_mean.n == 6
    # six comparisons of three components: chi-square quantiles of 18 over 18, e.g. NIST/SEMATECH 1.3.6.7.4
    assert pooled.nees_band95 == pytest.approx((8.231 / 18, 31.526 / 18), abs=1e-3)
    alone = evaluate(folders[:2]).results.pooled.estimators["tags_only"].consistency
    assert alone.nees_mean.value is None
    assert alone.why["nees_band95"]


def test_the_draws_follow_the_dwell(tmp_path):
    """A press compares at one moment: its band differs from that of the same places dwelt on, but both hold 1."""
    del tmp_path
    run = body_run(5)
    dwelt = consistency(run, FILTER).nees_band95
    pressed_marks = replace(run.session.marks, end_s=run.estimators[FILTER].places.time_s)
    pressed = consistency(replace(run, session=replace(run.session, marks=pressed_marks)), FILTER).nees_band95
    assert dwelt != pressed
    assert np.all(np.array([dwelt[0], pressed[0]]) < 1.0)
    assert np.all(np.array([dwelt[1], pressed[1]]) > 1.0)
