import json

import numpy as np
import pandas as pd
import pytest
from logs import MARKS, SmallLog

from locbench.errors import ConfigError, LocbenchError, UsageError
from locbench.jobs.evaluate import evaluate
from locbench.results import Results, results_json, tracks_json

SHOOTER = 'name = "s"\nentry_angle = "50 deg"\n[projectile]\ndiameter = "70 mm"\n'


def _full(folder, **more):
    return SmallLog(folder, **more).with_tags().with_marks().with_truth()


def test_an_exact_log_gives_exact_answers(tmp_path):
    folder = _full(tmp_path).write()
    evaluation = evaluate([folder])
    session = evaluation.results.sessions[0]
    assert session.evidence == "A"
    assert session.path_length_m == pytest.approx(8 * np.hypot(0.5, 0.1), rel=1e-3)
    assert session.turns_absolute == pytest.approx(160 / 360, rel=1e-3)
    assert set(session.estimators) == {"dead_reckoning", "tags_only", "default_kalman"}
    assert session.estimators_left_out == {"onboard": "the log has no [onboard] table"}
    reckoned = session.estimators["dead_reckoning"]
    assert reckoned.truth.position_rms_m.value < 1e-4
    assert reckoned.truth.coverage == 1.0
    held = session.estimators["tags_only"].truth
    assert 0.9 < held.coverage < 1.0
    assert session.estimators["default_kalman"].corrections.accepted == 40


def test_the_json_is_of_the_schema_and_reads_back(tmp_path):
    evaluation = evaluate([_full(tmp_path).write()])
    text = results_json(evaluation.results)
    data = json.loads(text)
    assert (data["schema"], data["units"], data["command"]) == (1, "SI", "evaluate")
    number = data["sessions"][0]["estimators"]["dead_reckoning"]["marks"]["position_rms_m"]
    assert set(number) == {"value", "ci95", "n", "method", "why", "independent"}
    assert Results.model_validate_json(text) == evaluation.results
    assert "NaN" not in text + tracks_json(evaluation.tracks)
    assert str(tmp_path) not in text + tracks_json(evaluation.tracks)


def test_the_same_log_gives_the_same_bytes(tmp_path):
    folder = _full(tmp_path).write()
    first, second = evaluate([folder]), evaluate([folder])
    assert results_json(first.results) == results_json(second.results)
    assert tracks_json(first.tracks) == tracks_json(second.tracks)


@pytest.mark.parametrize(
    ("parts", "evidence", "missing"),
    [
        (["tags", "marks"], "B", {"truth"}),
        (["tags"], "C", {"marks", "truth", "drift"}),
        ([], "D", {"marks", "truth", "drift", "corrections"}),
    ],
)
def test_what_cannot_be_said_is_null_with_a_reason(tmp_path, parts, evidence, missing):
    log = SmallLog(tmp_path)
    for part in parts:
        getattr(log, f"with_{part}")()
    results = evaluate([log.write()]).results
    assert results.evidence == evidence
    session = results.sessions[0]
    name = "default_kalman" if "tags" in parts else "dead_reckoning"
    estimator = session.estimators[name]
    for section in missing:
        assert getattr(estimator, section) is None
        assert estimator.why[section]
    if evidence == "C":
        assert estimator.corrections.helped is None
        assert estimator.corrections.why["helped"]
        assert estimator.consistency.nis_mean.value is not None
    if evidence == "D":
        assert "default_kalman" in session.estimators_left_out


def test_segments_run_apart_and_carried_stretches_do_not_count(tmp_path):
    log = _full(tmp_path)
    log.parts["segments"] = (
        '[[segments]]\nname = "one"\nstart = "0 s"\nend = "3 s"\n'
        '[[segments]]\nname = "carried"\nstart = "3 s"\nend = "4 s"\nkind = "carried"\n'
        '[[segments]]\nname = "two"\nstart = "4 s"\nend = "8 s"\n'
        'start_pose = { x = "2 m", y = "2 m", heading = "80 deg", position_std = "5 mm", heading_std = "1 deg" }\n'
    )
    session = evaluate([log.write()]).results.sessions[0]
    assert [s.names for s in session.segments] == [["one"], ["two"]]
    assert session.duration_s == pytest.approx(7.0)
    # the second start pose is wrong on purpose: its error belongs to the second stretch alone
    truth = session.estimators["dead_reckoning"].truth
    assert truth.count == pytest.approx(352, abs=2)
    assert truth.position_last_m.value > 0.1


def test_the_robots_own_pose_is_one_more_estimator(tmp_path):
    log = _full(tmp_path)
    own = log.tables["truth.csv"].copy()
    own["x"] += 0.1
    log.tables["own.csv"] = own
    log.parts["onboard"] = log.parts["truth"].replace("[truth]", "[onboard]").replace("truth.csv", "own.csv")
    onboard = evaluate([log.write()]).results.sessions[0].estimators["onboard"]
    assert onboard.truth.position_rms_m.value == pytest.approx(0.1)
    assert onboard.consistency.nees_mean.value is None


def test_several_sessions_are_pooled(tmp_path):
    folders = []
    for i in range(2):
        folder = _full(tmp_path / str(i)).write()
        path = folder / "session.toml"
        path.write_text(path.read_text().replace('"small log"', f'"log {i}"'))
        folders.append(folder)
    results = evaluate(folders).results
    pooled = results.pooled.estimators["dead_reckoning"]
    assert pooled.sessions == 2
    assert pooled.marks.count == 4
    assert pooled.between_session_std_m.value == pytest.approx(0.0, abs=1e-12)
    assert {(s.goal, s.band) for s in pooled.shots} == {("east bin", "near"), ("east bin", "far")}


def _sessions(folder, count, offset_m):
    """So many sessions in which the robot's own pose is that far off; tags and odometry are exact."""
    folders = []
    for i in range(count):
        log = _full(folder / str(i))
        own = log.tables["truth.csv"].copy()
        own["x"] += offset_m * (1.0 + 0.1 * i)
        log.tables["own.csv"] = own
        log.parts["onboard"] = log.parts["truth"].replace("[truth]", "[onboard]").replace("truth.csv", "own.csv")
        path = log.write() / "session.toml"
        path.write_text(path.read_text().replace('"small log"', f'"log {i}"'))
        folders.append(path.parent)
    return folders


def _comparison(results, session, estimator, measure="position_rms_m"):
    wanted = (session, estimator, "dead_reckoning", measure)
    (found,) = [c for c in results.comparisons if (c.session, c.estimator, c.against, c.measure) == wanted]
    return found


def test_six_sessions_decide_who_is_better(tmp_path):
    results = evaluate(_sessions(tmp_path, 6, 0.1)).results
    own = _comparison(results, None, "onboard")
    assert (own.verdict, own.sessions) == ("worse", 6)
    assert own.difference.value == pytest.approx(0.125, abs=1e-3)
    assert own.difference.ci95[0] > 0.1
    # one of the six alone does not decide
    assert _comparison(results, "log 3", "onboard").verdict in ("worse_here", "no_clear_gain")
    assert _comparison(results, "log 3", "onboard").sessions == 1
    pooled = results.pooled.estimators["onboard"].truth.position_rms_m
    assert pooled.independent <= 6.0
    assert pooled.ci95 is not None
    assert {(mark.mark, mark.visits) for mark in results.at_marks if mark.estimator == "onboard"} == {
        ("M2", 6),
        ("S1", 6),
    }


def test_few_sessions_are_compared_by_their_parts(tmp_path):
    (folder,) = _sessions(tmp_path, 1, 0.1)
    # without marks the way has twenty equal parts
    path = folder / "session.toml"
    path.write_text(path.read_text().replace(MARKS, ""))
    results = evaluate([folder]).results
    own = _comparison(results, None, "onboard")
    assert (own.verdict, own.sessions, own.parts) == ("worse_here", 1, 20)
    assert own.difference.value == pytest.approx(0.1, abs=1e-3)
    # dead reckoning's errors pile up, so one run is one observation
    assert own.difference.ci95 is None
    assert "6 are needed" in own.difference.why
    assert results.at_marks == []


def test_every_fusion_meets_dead_reckoning_and_the_best_other_one(tmp_path):
    folder = _full(tmp_path).write()
    files = []
    for name in ("one", "two", "three"):
        files.append(folder / f"{name}.toml")
        files[-1].write_text(f'name = "{name}"\n')
    pairs = [(c.estimator, c.against) for c in evaluate([folder], files).results.comparisons]
    assert len([pair for pair in dict.fromkeys(pairs) if pair[1] == "dead_reckoning"]) == 4
    rivals = {pair for pair in pairs if pair[1] != "dead_reckoning"}
    assert {ours for ours, _ in rivals} == {"one", "two", "three"}
    assert len(rivals) == 3


@pytest.mark.parametrize(("parts", "evidence"), [(["tags"], "C"), ([], "D")])
def test_without_a_reference_nothing_is_claimed_in_metres(tmp_path, parts, evidence):
    """No error, drift, shot, comparison or mark; residuals of fixes are no errors of the pose and say so."""
    log = SmallLog(tmp_path)
    for part in parts:
        getattr(log, f"with_{part}")()
    results = evaluate([log.write()]).results
    assert results.evidence == evidence
    assert (results.comparisons, results.at_marks, results.marks_in_doubt) == ([], [], [])
    for estimator in results.sessions[0].estimators.values():
        assert (estimator.marks, estimator.truth, estimator.drift, estimator.shots) == (None, None, None, [])
        assert estimator.consistency.nees_mean.value is None
    residuals = [e.tag_residuals for e in results.sessions[0].estimators.values() if e.tag_residuals is not None]
    assert len(residuals) == (2 if evidence == "C" else 0)
    assert all(found.residual_rms_m.value < 1e-3 for found in residuals)


def test_bands_are_predicted_where_the_covariance_holds(tmp_path):
    folder = _full(tmp_path).write()
    (folder / "shooter.toml").write_text(SHOOTER)
    estimators = evaluate([folder], (), folder / "shooter.toml").results.sessions[0].estimators
    for band in estimators["default_kalman"].shots:
        assert band.basis == "predicted"
        assert 0.0 < band.miss_rms_m.value < 0.2
        assert 0.5 < band.hit_probability.value <= 1.0
        assert band.needed > 0
    for band in estimators["tags_only"].shots:
        assert band.miss_rms_m.value is None
        assert "drive here" in band.miss_rms_m.why
        assert "gives no covariance" in band.miss_rms_m.why


def test_errors_of_dead_reckoning_that_belie_its_covariance_are_transported(tmp_path):
    log = SmallLog(tmp_path).with_tags().with_truth()
    log.tables["truth.csv"]["x"] += 0.5
    estimators = evaluate([log.write()]).results.sessions[0].estimators
    bands = [band for band in estimators["dead_reckoning"].shots if band.miss_rms_m.value is not None]
    assert {band.basis for band in bands} == {"transported"}
    assert bands[0].miss_rms_m.value == pytest.approx(0.5, abs=0.02)
    assert all(band.basis != "transported" for band in estimators["default_kalman"].shots)


def _fusion(folder, text):
    path = folder / "fusion.toml"
    path.write_text(text)
    return path


def test_a_shooter_turns_misses_into_hits(tmp_path):
    folder = _full(tmp_path).write()
    (folder / "shooter.toml").write_text(SHOOTER)
    without = evaluate([folder]).results.sessions[0].estimators["dead_reckoning"].shots
    assert all(shot.hit_probability.value is None for shot in without)
    shots = evaluate([folder], (), folder / "shooter.toml").results.sessions[0].estimators["dead_reckoning"].shots
    fired = [shot for shot in shots if shot.miss_rms_m.value is not None]
    assert fired
    assert all(shot.hit_probability.value == 1.0 for shot in fired)


@pytest.mark.parametrize(
    ("text", "error", "words"),
    [
        (
            'name = "f"\n[trust]\nexcluded_tags = [7]\n',
            ConfigError,
            ["fusion.toml: trust.excluded", "7", "Tags: 1"],
        ),
        ('name = "tags_only"\n', ConfigError, ["reserved"]),
    ],
)
def test_a_fusion_file_that_does_not_fit(tmp_path, text, error, words):
    folder = _full(tmp_path).write()
    with pytest.raises(error) as caught:
        evaluate([folder], [_fusion(folder, text)])
    for word in words:
        assert word in str(caught.value)


def test_two_fusion_files_of_one_name_and_two_sessions_of_one_name(tmp_path):
    folder = _full(tmp_path).write()
    fusion = _fusion(folder, 'name = "f"\n')
    with pytest.raises(UsageError, match='two fusion files have the name "f"'):
        evaluate([folder], [fusion, fusion])
    with pytest.raises(UsageError, match="two sessions have the name"):
        evaluate([folder, folder])
    with pytest.raises(LocbenchError, match="no session given"):
        evaluate([])


def test_whole_poses_are_needed_to_replace_the_belief(tmp_path):
    log = _full(tmp_path)
    log.tables["tags.csv"]["r"] = 1.0
    log.parts["tags"] = (
        '[tags]\nkind = "range"\nfile = "tags.csv"\ncaptured = { column = "t_ms", unit = "ms" }\nlatency = "0 s"\n'
        'tag = "id"\nrange = { column = "r", unit = "m" }\nmount = "front"\nmeasured = "slant"\n'
    )
    folder = log.write()
    with pytest.raises(UsageError, match="needs whole poses"):
        evaluate([folder], [_fusion(folder, 'name = "f"\n[correction]\nmode = "replace"\n')])
    regaining = 'name = "f"\n[trust]\ngate_probability = "99 %"\nreacquire_after = 3\n'
    with pytest.raises(UsageError, match=r"trust\.reacquire_after: this needs whole poses.*Remove this key"):
        evaluate([folder], [_fusion(folder, regaining)])
    left_out = evaluate([folder]).results.sessions[0].estimators_left_out
    assert "does not give a pose" in left_out["tags_only"]


def test_progress_is_told(tmp_path):
    told = []
    evaluate([_full(tmp_path).write()], progress=lambda what, share: told.append((what, share)))
    assert any("dead reckoning" in what for what, _ in told)
    assert all(0 <= share <= 1 for _, share in told)


def test_marks_that_all_lie_outside_the_log_count_as_none(tmp_path):
    log = _full(tmp_path)
    log.tables["marks.csv"][["begin", "end"]] += 1000
    reckoned = evaluate([log.write()]).results.sessions[0].estimators["dead_reckoning"]
    # parts of the truth of a twentieth of the way, not one a second
    assert reckoned.drift.segment_length_m.value == pytest.approx(8 * np.hypot(0.5, 0.1) / 20, rel=0.1)
    assert sum(shot.seen.miss_rms_m.n for shot in reckoned.shots) == 8


def test_a_filter_that_applies_nothing_counts_as_dead_reckoning_does(tmp_path):
    folder = _full(tmp_path / "log").write()
    (tmp_path / "none.toml").write_text('name = "watcher"\n[correction]\nmode = "none"\n')
    found = evaluate([folder], [tmp_path / "none.toml"]).results.sessions[0].estimators
    watcher, reckoned = found["watcher"].truth.position_rms_m, found["dead_reckoning"].truth.position_rms_m
    assert watcher.value == pytest.approx(reckoned.value)
    assert (watcher.ci95, watcher.independent) == (reckoned.ci95, reckoned.independent)


def _without_headings(log):
    log.tables["truth.csv"] = log.tables["truth.csv"].drop(columns="h")
    log.parts["truth"] = log.parts["truth"].replace('heading = { column = "h", unit = "deg" }\n', "")
    return log


def _pressed_on_its_way(log):
    """Presses at 3 and 6 s on places that the robot really passes."""
    rows = np.searchsorted(log.time, [3.0, 6.0])
    table = {"t": log.time[rows], "x": log.poses[rows, 0], "y": log.poses[rows, 1]}
    log.tables["marks.csv"] = pd.DataFrame({**table, "h": np.degrees(log.poses[rows, 2])})
    log.parts["marks"] = (
        '[marks]\nfile = "marks.csv"\ntime = { column = "t", unit = "s" }\nx = { column = "x", unit = "m" }\n'
        'y = { column = "y", unit = "m" }\nheading = { column = "h", unit = "deg" }\n'
        'position_std = "2 mm"\nheading_std = "0.3 deg"\n'
    )
    return log


def test_marks_fill_what_a_truth_does_not_tell(tmp_path):
    """A truth that ends early, or has no headings, must not make a log with marks worth less than without it."""
    early = _pressed_on_its_way(_full(tmp_path / "early"))
    early.tables["truth.csv"] = early.tables["truth.csv"].query("t_ms <= 1500")
    headless = _without_headings(_pressed_on_its_way(_full(tmp_path / "headless")))
    whole = evaluate([_pressed_on_its_way(_full(tmp_path / "whole")).write()]).results.sessions[0]
    assert (whole.reference.kind, whole.reference.intervals) == ("dense truth", [])
    for log in (early, headless):
        session = evaluate([log.write()]).results.sessions[0]
        assert session.reference.kind == "dense truth and marks"
        assert [interval.broken for interval in session.reference.intervals] == [False, False]
        fixes = session.estimators["default_kalman"].corrections
        # nothing is known of the way after 6 of the 8 s but by a truth
        assert fixes.unreferenced <= 0.26 * fixes.accepted
        shots = fixes.goals[0]
        assert shots.neutral + shots.helped + shots.hurt >= 0.74 * fixes.accepted


def test_a_rule_that_has_nothing_to_look_at_is_named(tmp_path):
    (tmp_path / "strict.toml").write_text('name = "strict"\n[trust]\nmaximum_view_angle = "60 deg"\n')
    folder = _full(tmp_path / "log").write()
    fixes = evaluate([folder], [tmp_path / "strict.toml"]).results.sessions[0].estimators["strict"].corrections
    assert fixes.idle_rules == ["view_angle"]


def test_a_log_without_reprojection_ratios_leaves_that_rule_idle_too(tmp_path):
    log = _full(tmp_path / "log")
    config = _fusion(tmp_path, 'name = "f"\n[trust]\nmaximum_reprojection_ratio = 0.5\nminimum_tag_count = 1\n')
    fixes = evaluate([log.write()], [config]).results.sessions[0].estimators["f"].corrections
    assert (fixes.idle_rules, fixes.accepted) == (["reprojection_ratio"], 40)
    log.tables["tags.csv"]["ratio"] = np.arange(len(log.tables["tags.csv"])) / 40
    log.parts["tags"] += 'reprojection_ratio = "ratio"\n'
    fixes = evaluate([log.write()], [config]).results.sessions[0].estimators["f"].corrections
    assert (fixes.idle_rules, fixes.rejected) == ([], {"reprojection_ratio": 19})


ON_REQUEST = 'name = "f"\n[trust]\nonly_on_request = true\nrequest_window = "500 ms"\n'


def test_a_filter_may_wait_until_the_driver_asks(tmp_path):
    config = _fusion(tmp_path, ON_REQUEST)
    folder = _full(tmp_path / "log").with_requests([3.0, 6.01]).write()
    evaluation = evaluate([folder], [config])
    fixes = evaluation.results.sessions[0].estimators["f"].corrections
    assert (fixes.offered, fixes.accepted, fixes.rejected) == (40, 2, {"not_requested": 38})
    marks = evaluation.tracks.sessions[0].estimators["f"].corrections
    taken = [time for time, outcome in zip(marks.time_s, marks.outcome, strict=True) if outcome == "accepted"]
    # a tag every 0.2 s, 40 ms late
    np.testing.assert_allclose(taken, [3.04, 6.04])


def test_without_requests_in_the_log_waiting_for_them_is_refused(tmp_path):
    config = _fusion(tmp_path, ON_REQUEST)
    with pytest.raises(UsageError, match=r"only_on_request: .*driver asked.*Add a \[requests\] table"):
        evaluate([_full(tmp_path / "log").write()], [config])


def test_a_filter_that_was_locked_out_says_how_often_it_gave_its_belief_up(tmp_path):
    log = _full(tmp_path / "log")
    log.tables["tags.csv"]["x"] += 0.5
    trust = '[trust]\ngate_probability = "99 %"\n'
    (tmp_path / "a.toml").write_text(f'name = "locked"\n{trust}')
    (tmp_path / "b.toml").write_text(f'name = "regaining"\n{trust}reacquire_after = 4\n')
    evaluation = evaluate([log.write()], [tmp_path / "a.toml", tmp_path / "b.toml"])
    estimators = evaluation.results.sessions[0].estimators
    locked, regaining = (estimators[name].corrections for name in ("locked", "regaining"))
    assert (locked.accepted, locked.reacquired) == (0, None)
    assert (regaining.rejected, regaining.reacquired) == ({"gate": 3}, 1)
    marks = evaluation.tracks.sessions[0].estimators["regaining"].corrections
    assert np.flatnonzero(marks.reacquired).tolist() == [3]


def test_a_press_at_the_very_end_counts_and_one_between_two_stretches_counts_once(tmp_path):
    log = _pressed_on_its_way(_full(tmp_path / "log"))
    rows = np.searchsorted(log.time, [4.0, 8.0])
    table = {"t": log.time[rows], "x": log.poses[rows, 0], "y": log.poses[rows, 1], "h": np.degrees(log.poses[rows, 2])}
    log.tables["marks.csv"] = pd.DataFrame(table)
    x, y, heading = log.poses[rows[0]]
    pose = f'x = "{x} m"\ny = "{y} m"\nheading = "{np.degrees(heading)} deg"'
    log.parts["segments"] = (
        '[[segments]]\nname = "first"\nstart = "0 s"\nend = "4 s"\n'
        '[[segments]]\nname = "second"\nstart = "4 s"\nend = "8 s"\n'
        f'[segments.start_pose]\n{pose}\nposition_std = "2 mm"\nheading_std = "0.3 deg"\n'
    )
    evaluation = evaluate([log.write()])
    session = evaluation.results.sessions[0]
    assert len(session.segments) == 2
    assert session.estimators["dead_reckoning"].marks.count == 2
    assert session.estimators["dead_reckoning"].truth.count == len(log.time)


def test_a_fix_from_several_tags_is_told_by_all_of_them(tmp_path):
    log = SmallLog(tmp_path).with_tags()
    log.tables["tags.csv"]["id"] = ["1"] + ["1+2"] * (len(log.tables["tags.csv"]) - 1)
    folder = log.write()
    field = folder / "field.toml"
    field.write_text(field.read_text().replace("[[marks]]", '[[tags]]\nid = 2\nx = "4 m"\ny = "1 m"\n[[marks]]', 1))
    fixes = evaluate([folder]).tracks.sessions[0].estimators["default_kalman"].corrections
    assert fixes.tag[:2] == [1, "1+2"]


def test_moments_with_a_lifted_pod_are_counted_and_the_first_is_told(tmp_path):
    log = _full(tmp_path / "lifted")
    assert evaluate([_full(tmp_path / "whole").write()]).results.sessions[0].suspect_motion is None
    table, steps = log.tables["odometry.csv"], np.diff(log.tables["odometry.csv"]["r"], prepend=0.0)
    for begin_s in (3.0, 6.0):
        steps[(log.time > begin_s) & (log.time <= begin_s + 0.4)] = 0.0
    table["r"] = np.cumsum(steps)
    suspect = evaluate([log.write()]).results.sessions[0].suspect_motion
    assert suspect.places == 2
    assert suspect.first_s == pytest.approx(3.0, abs=0.12)
    assert 0.8 < suspect.duration_s < 1.3
