"""The answer sentence, and where to look next."""

from dataclasses import replace

import pytest
from hand_built import FILTER, MARKUP_NAME, SCRIPT_NAME, Evaluation, evaluation, number, on_fixes

from locbench.report import headline, where_to_look_next
from locbench.report.wording import CAUTION, session_facts, suspicion
from locbench.results import ComparisonRecord, Results, SuspectMotion
from locbench.statistics import Remark, RemarkCode, judge_consistency, unavailable
from locbench.units import UnitSystem

METRIC, IMPERIAL = UnitSystem.METRIC, UnitSystem.IMPERIAL


def with_estimators(source: Evaluation, **changes) -> Results:
    """Return the results with fields of the only session replaced."""
    session = source.results.sessions[0].model_copy(update=changes)
    return source.results.model_copy(update={"sessions": [session]})


def test_headline_with_dense_truth(evaluation_a):
    assert headline(evaluation_a.results, METRIC) == (
        "Evidence A (dense truth): dead reckoning is 100 mm RMS off (95 % 80–140 mm; 143 mm at the end of "
        "38.1 m); gated_kalman (lowest RMS of 2 fusions) 31 mm RMS (95 % 24–45 mm); "
        "from the far band of the east bin 4 of 12 shots miss on localization alone (hit share 35–86 %)."
    )


def test_headline_in_inches_and_feet(evaluation_a):
    text = headline(evaluation_a.results, IMPERIAL)
    assert "3.94 in RMS off (95 % 3.15–5.51 in; 5.63 in at the end of 125.0 ft)" in text
    assert "1.22 in RMS (95 % 0.94–1.77 in)" in text
    assert " mm" not in text


def test_headline_at_marks(evaluation_b):
    text = headline(evaluation_b.results, METRIC)
    assert text.startswith(
        "Evidence B (surveyed marks): dead reckoning is 100 mm RMS off (95 % 80–140 mm; 143 mm at the last mark, 38.1 m"
    )
    assert "4 of 12 shots miss" in text


@pytest.mark.parametrize("evidence", ["C", "D"])
def test_headline_without_reference_says_what_is_missing_and_what_to_do(evidence):
    text = headline(evaluation(evidence).results, METRIC)
    assert text.startswith(f"Evidence {evidence} (")
    assert "no drift in metres" in text
    assert "lay out marks" in text
    assert "RMS (95 %" not in text or "moved it by" in text


def test_headline_from_tags_only_reports_what_fixes_did(evaluation_c):
    text = headline(evaluation_c.results, METRIC)
    assert "gated_kalman took 4 of 6 fixes, which moved it by 34 mm RMS (95 % 21–62 mm), typical NIS 1.83" in text


def test_headline_of_several_sessions_is_pooled(evaluation_of_two):
    text = headline(evaluation_of_two.results, METRIC)
    assert text.startswith(
        "Evidence A over 2 sessions (2 with dense truth; 76.2 m driven): dead reckoning is 100 mm RMS off ("
    )
    assert "gated_kalman (lowest RMS of 2 fusions) 31 mm RMS" in text


def test_headline_says_when_no_shot_misses(evaluation_a):
    session = evaluation_a.results.sessions[0]
    fused = session.estimators[FILTER]
    bands = [
        band.model_copy(update={"hit_probability": number(1.0, 0.76 - 0.1 * i, 1.0, n=12)})
        for i, band in enumerate(fused.shots[:2])
    ]
    changed = session.estimators | {FILTER: fused.model_copy(update={"shots": bands})}
    text = headline(with_estimators(evaluation_a, estimators=changed), METRIC)
    assert (
        "all 24 shots from its places go in (least certain: the far band of the east bin, hit share 66–100 %)." in text
    )


def test_headline_gives_the_miss_when_there_is_no_shooter(evaluation_a):
    session = evaluation_a.results.sessions[0]
    missing = unavailable("no shooter file: give --shooter")
    fused = session.estimators[FILTER]
    bands = [band.model_copy(update={"hit_probability": missing}) for band in fused.shots]
    changed = session.estimators | {FILTER: fused.model_copy(update={"shots": bands})}
    text = headline(with_estimators(evaluation_a, estimators=changed), METRIC)
    assert (
        "from the far band of the east bin shots land 90 mm RMS off; "
        "no hit share: no shooter file: give --shooter" in text
    )


def test_headline_says_when_a_share_is_predicted_and_when_it_rests_on_many_places(evaluation_a):
    session = evaluation_a.results.sessions[0]
    fused = session.estimators[FILTER]
    share = replace(fused.shots[1].hit_probability, n=400)
    bands = [fused.shots[1].model_copy(update={"basis": "predicted", "hit_probability": share})]
    changed = session.estimators | {FILTER: fused.model_copy(update={"shots": bands})}
    text = headline(with_estimators(evaluation_a, estimators=changed), METRIC)
    assert "33 % of shots miss on localization alone (predicted, not measured) (hit share 35–86 %)." in text


def test_marks_on_another_clock_are_not_asked_for_again(evaluation_c):
    session = evaluation_c.results.sessions[0]
    outside = session.findings[0].model_copy(
        update={"code": "outside_log", "message": "15 mark visits lie outside the odometry log and were left out"}
    )
    results = with_estimators(evaluation_c, findings=[outside])
    assert "the mark visits lie outside the odometry log, so check the clocks of both" in headline(results, METRIC)
    assert not any("Lay out" in line for line in where_to_look_next(results))
    assert "lay out marks" in headline(evaluation_c.results, METRIC)


def test_unprintable_characters_of_a_name_do_not_reach_the_answer(evaluation_c):
    session = evaluation_c.results.sessions[0]
    changed = {"x\x1b[31m\ny": session.estimators[FILTER]}
    text = headline(with_estimators(evaluation_c, estimators=changed), METRIC)
    assert "x [31m y took 4 of 6 fixes" in text


def test_next_steps_of_a_log_with_everything_in_it(evaluation_a):
    lines = where_to_look_next(evaluation_a.results)
    text = "\n".join(lines)
    assert "Log warning (odometry.csv, row 12): a gap of 0.4 s. check the logger." in text
    assert f"{MARKUP_NAME} was further off than dead reckoning in this run, beyond both intervals" in text
    assert f"{FILTER} was further off" not in text
    assert f"{FILTER}: 1 of 4 accepted fixes moved it away from the truth, 2 towards it." in text
    assert f"{FILTER} is surer than it is right" in text
    assert "(1.83 times the honest NIS, 95 % 1.46–2.20)" in text
    assert f"{MARKUP_NAME} is too cautious" in text
    assert "No shot can be judged from the corner band of the east bin: drive there and stop on marks." in text
    assert "onboard was left out: the log has no [onboard] table." in text
    assert "6 are needed before one estimator can be called better" in text
    assert lines[-1] == CAUTION


def test_next_steps_name_the_session_when_there_are_several(evaluation_of_two):
    monday, other = evaluation_of_two.results.sessions
    fixes = other.estimators[FILTER].corrections.model_copy(update={"hurt": 2})
    changed = other.estimators[FILTER].model_copy(update={"corrections": fixes})
    other = other.model_copy(update={"estimators": other.estimators | {FILTER: changed}})
    lines = where_to_look_next(evaluation_of_two.results.model_copy(update={"sessions": [monday, other]}))
    # what both show is said once; what they differ in is said of each
    assert sum(line.startswith("In 2 of 2 sessions: ") for line in lines) > 3
    assert [line for line in lines if line.startswith("Monday: ")] == [
        f"Monday: {FILTER}: 1 of 4 accepted fixes moved it away from the truth, 2 towards it. See the hurt row under "
        "its errors over time in the report."
    ]
    assert any(line.startswith(f"{SCRIPT_NAME}: {FILTER}: 2 of 4 accepted fixes") for line in lines)


def test_opposite_orders_are_joined_into_one_sentence(evaluation_a):
    filter_ = evaluation_a.results.sessions[0].estimators[FILTER]
    remarks = [
        Remark(RemarkCode.ERRORS_LARGER, number(3.5), (0.6, 1.4), None, None),
        Remark(RemarkCode.FIXES_CLOSER, number(0.89, 0.85, 0.94), None, None, None),
    ]
    consistency = filter_.consistency.model_copy(update={"remarks": remarks})
    text = "\n".join(where_to_look_next(changed_filter(evaluation_a, consistency=consistency)))
    assert f"{FILTER} is surer of its pose than it is right, yet its fixes lie closer" in text
    assert f"{FILTER} is too cautious" not in text


def test_a_comparison_of_pairs_replaces_the_hint_from_two_intervals(evaluation_a):
    record = ComparisonRecord(
        session=None,
        estimator=MARKUP_NAME,
        against="dead_reckoning",
        measure="position_rms_m",
        difference=number(0.1),
        sessions=1,
        parts=14,
        verdict="worse_here",
    )
    compared = evaluation_a.results.model_copy(update={"comparisons": [record]})
    assert not any("further off" in line for line in where_to_look_next(compared))


def test_the_caution_stands_wherever_a_table_asks_to_drive(evaluation_a):
    quiet = with_estimators(evaluation_a, findings=[], estimators_left_out={})
    bands = [band.model_copy(update={"needed": 4}) for band in quiet.sessions[0].estimators[FILTER].shots[:1]]
    estimators = {FILTER: quiet.sessions[0].estimators[FILTER].model_copy(update={"shots": bands})}
    session = quiet.sessions[0].model_copy(update={"estimators": estimators})
    six = [session.model_copy(update={"name": f"run {number}"}) for number in range(6)]
    assert where_to_look_next(quiet.model_copy(update={"sessions": six}))[-1] == CAUTION


def test_overlapping_intervals_are_not_called_a_difference(evaluation_a):
    session = evaluation_a.results.sessions[0]
    fused = session.estimators[FILTER]
    worse = fused.truth.model_copy(update={"position_rms_m": number(0.13, 0.09, 0.16)})
    changed = session.estimators | {FILTER: fused.model_copy(update={"truth": worse})}
    text = "\n".join(where_to_look_next(with_estimators(evaluation_a, estimators=changed)))
    assert f"{FILTER} was further off than dead reckoning in this run, though the intervals do not settle it" in text


def test_nothing_to_say_stays_silent(evaluation_a):
    quiet = with_estimators(evaluation_a, estimators={}, findings=[], estimators_left_out={})
    many = quiet.model_copy(update={"sessions": quiet.sessions * 6})
    assert where_to_look_next(many) == []


def test_segments_that_gained_far_more_than_usual_are_named(evaluation_a):
    hints = " ".join(where_to_look_next(evaluation_a.results))
    assert "in 1 of 14 segments: 200 mm from 12.0 s to 21.0 s (4.00 m)" in hints
    assert "slipping pod" in hints


def changed_filter(source: Evaluation, **changes) -> Results:
    """Return the results with the filter alone beside dead reckoning, and some of its fields replaced."""
    estimators = source.results.sessions[0].estimators
    fused = estimators[FILTER].model_copy(update=changes)
    return with_estimators(source, estimators={"dead_reckoning": estimators["dead_reckoning"], FILTER: fused})


def with_fixes(source: Evaluation, offered: int, accepted: int, rejected: dict[str, int], **changes) -> Results:
    fixes = source.results.sessions[0].estimators[FILTER].corrections
    counts = {"offered": offered, "accepted": accepted, "rejected": rejected, "helped": 0, "hurt": 0}
    return changed_filter(source, corrections=fixes.model_copy(update=counts), **changes)


def with_nis(source: Evaluation, typical, **changes) -> str:
    consistency = source.results.sessions[0].estimators[FILTER].consistency
    remarks = on_fixes(typical) if changes.get("correction_mode", "kalman") == "kalman" else []
    changed = consistency.model_copy(
        update={"nis_median": typical, "verdict": judge_consistency(typical), "remarks": remarks}
    )
    return "\n".join(where_to_look_next(changed_filter(source, consistency=changed, **changes)))


def test_headline_leaves_missing_intervals_to_the_tables(evaluation_a):
    truth = evaluation_a.results.sessions[0].estimators[FILTER].truth
    text = headline(
        changed_filter(evaluation_a, truth=truth.model_copy(update={"position_rms_m": number(0.031)})), METRIC
    )
    assert "gated_kalman 31 mm RMS; from the far band" in text
    assert "n = " not in text


def test_one_shot_misses(evaluation_a):
    shots = evaluation_a.results.sessions[0].estimators[FILTER].shots
    share = number(5.0 / 6.0, 0.41, 0.97, n=6)
    band = shots[1].model_copy(update={"hit_probability": share, "hits": 5})
    text = headline(changed_filter(evaluation_a, shots=[shots[0], band]), METRIC)
    assert text.endswith("1 of 6 shots misses on localization alone (hit share 41–97 %).")


def test_a_predicted_share_has_no_count(evaluation_a):
    shots = evaluation_a.results.sessions[0].estimators[FILTER].shots
    band = shots[1].model_copy(update={"basis": "predicted", "hits": None})
    text = headline(changed_filter(evaluation_a, shots=[band]), METRIC)
    assert "33 % of shots miss on localization alone (predicted, not measured)" in text


def test_a_fusion_without_accepted_fixes_is_dead_reckoning(evaluation_a, evaluation_c):
    for source in (evaluation_a, evaluation_c):
        found = with_fixes(source, 408, 0, {"range": 8, "gate": 400})
        assert "gated_kalman used none of 408 fixes, so it is dead reckoning" in headline(found, METRIC)
        hints = "\n".join(where_to_look_next(found))
        assert "used none of 408 fixes (most refused by the rule gate), so it is dead reckoning." in hints
        assert "refused 408" not in hints


@pytest.mark.parametrize(("rule", "points"), [("gate", True), ("range", False)])
def test_a_gate_that_refuses_most_points_to_what_may_be_wrong_with_the_set_up(evaluation_a, rule, points):
    found = with_fixes(evaluation_a, 408, 100, {rule: 308})
    hint = next(line for line in where_to_look_next(found) if "refused 308 of 408 fixes" in line)
    assert ("locbench inspect" in hint) == points


def test_a_fusion_without_any_fix_says_so(evaluation_a):
    found = with_fixes(evaluation_a, 0, 0, {})
    assert "no fix lay inside the log, so gated_kalman is dead reckoning" in headline(found, METRIC)
    hints = "\n".join(where_to_look_next(found))
    assert "gated_kalman: no fix lay inside the odometry log. Check the clocks of both." in hints


def test_a_fusion_that_applies_nothing_is_not_judged(evaluation_a):
    found = changed_filter(evaluation_a, correction_mode="none")
    assert "gated_kalman applies no fixes by its mode, so it is dead reckoning" in headline(found, METRIC)
    assert FILTER not in "\n".join(where_to_look_next(found))


def test_a_pooled_fusion_without_fixes_says_so(evaluation_of_two):
    results = evaluation_of_two.results
    fixes = results.sessions[0].estimators[FILTER].corrections.model_copy(update={"accepted": 0})
    sessions = []
    for session in results.sessions:
        idle = session.estimators[FILTER].model_copy(update={"corrections": fixes})
        sessions.append(session.model_copy(update={"estimators": session.estimators | {FILTER: idle}}))
    text = headline(results.model_copy(update={"sessions": sessions}), METRIC)
    assert "gated_kalman used none of 12 fixes, so it is dead reckoning" in text


@pytest.mark.parametrize(
    ("rms", "said"),
    [
        (number(0.11, 0.09, 0.16), False),
        (number(0.13, 0.09, 0.19), True),
        (number(0.145, 0.141, 0.15), True),
        (number(0.11), False),
        (number(0.126), True),
    ],
)
def test_further_off_needs_apart_intervals_or_a_quarter_more(evaluation_a, rms, said):
    truth = evaluation_a.results.sessions[0].estimators[FILTER].truth
    worse = truth.model_copy(update={"position_rms_m": rms})
    hints = "\n".join(where_to_look_next(changed_filter(evaluation_a, truth=worse)))
    assert ("further off than dead reckoning" in hints) == said
    idle = "\n".join(where_to_look_next(with_fixes(evaluation_a, 5, 0, {"gate": 5}, truth=worse)))
    assert "further off" not in idle


@pytest.mark.parametrize("mode", ["replace", "fixed_gain", "none", None])
def test_noise_settings_are_advice_for_kalman_filters_only(evaluation_a, mode):
    for typical in (number(3.0, 2.0, 4.0), number(0.3, 0.2, 0.4)):
        hints = with_nis(evaluation_a, typical, correction_mode=mode)
        assert "surer than it is right" not in hints
        assert "too cautious" not in hints
    assert "surer than it is right" in with_nis(evaluation_a, number(3.0, 2.0, 4.0))
    assert "too cautious" in with_nis(evaluation_a, number(0.3, 0.2, 0.4))


def with_remark(source: Evaluation, remark: Remark, **changes) -> str:
    consistency = source.results.sessions[0].estimators[FILTER].consistency.model_copy(update={"remarks": [remark]})
    return "\n".join(where_to_look_next(changed_filter(source, consistency=consistency, **changes)))


@pytest.mark.parametrize(
    ("remark", "said"),
    [
        (
            Remark(RemarkCode.ERRORS_LARGER, number(3.2), (0.5, 1.7)),
            "gated_kalman is surer than it is right: its errors are larger than it claims (NEES 3.20, honest would be "
            "0.50–1.70). Raise its tag noise",
        ),
        (
            Remark(RemarkCode.ERRORS_SMALLER, number(0.2), (0.5, 1.7)),
            "gated_kalman is too cautious: its errors are smaller than it claims (NEES 0.20,",
        ),
        (
            Remark(RemarkCode.TRUTH_LOCKED_OUT, number(214.0, n=214), None, 37.24, 52.13),
            "gated_kalman has locked the truth out: its gate refused fixes of several tags in a row, 214 from 37.2 s "
            "to 52.1 s. Its belief was off",
        ),
        (
            Remark(RemarkCode.FIXES_HANG_TOGETHER, number(0.51, 0.4, 0.6), (-0.16, 0.16)),
            "gated_kalman meets fixes whose errors hang together: from one fix of a tag to its next they correlate by "
            "0.51, honest would be -0.16 to 0.16. Averaging more of them does not help: raise the floors",
        ),
    ],
)
def test_each_remark_is_said_with_its_numbers_and_what_to_do(evaluation_a, remark, said):
    assert said in with_remark(evaluation_a, remark)


def test_several_lockouts_are_said_at_once(evaluation_a):
    consistency = evaluation_a.results.sessions[0].estimators[FILTER].consistency
    times = [(80, 10.0, 15.0), (40, 20.0, 24.0)]
    locked = [Remark(RemarkCode.TRUTH_LOCKED_OUT, number(float(n), n=n), None, a, b) for n, a, b in times]
    hints = where_to_look_next(
        changed_filter(evaluation_a, consistency=consistency.model_copy(update={"remarks": locked}))
    )
    (said,) = [hint for hint in hints if "locked the truth out" in hint]
    assert "80 from 10.0 s to 15.0 s, 40 from 20.0 s to 24.0 s." in said


def test_a_lockout_is_said_in_every_mode_and_noise_settings_are_not(evaluation_a):
    locked = Remark(RemarkCode.TRUTH_LOCKED_OUT, number(214.0, n=214), None, 37.24, 52.13)
    assert "locked the truth out" in with_remark(evaluation_a, locked, correction_mode="replace")
    larger = Remark(RemarkCode.ERRORS_LARGER, number(3.2), (0.5, 1.7))
    assert "surer" not in with_remark(evaluation_a, larger, correction_mode="replace")


def test_errors_and_fixes_that_say_the_same_are_said_once(evaluation_a):
    consistency = evaluation_a.results.sessions[0].estimators[FILTER].consistency
    both = [Remark(RemarkCode.ERRORS_LARGER, number(3.2), (0.5, 1.7)), *on_fixes(number(1.8, 1.5, 2.1))]
    changed = consistency.model_copy(update={"remarks": both})
    hints = "\n".join(where_to_look_next(changed_filter(evaluation_a, consistency=changed)))
    assert hints.count("surer than it is right") == 1


def test_dead_reckoning_is_told_of_the_robot_file(evaluation_a):
    source = evaluation_a.results.sessions[0].estimators["dead_reckoning"]
    for code, said in ((RemarkCode.ERRORS_LARGER, "drifted further"), (RemarkCode.ERRORS_SMALLER, "drifted less")):
        changed = source.consistency.model_copy(update={"remarks": [Remark(code, number(9.0), (0.3, 2.2))]})
        drifted = source.model_copy(update={"consistency": changed})
        hints = "\n".join(where_to_look_next(with_estimators(evaluation_a, estimators={"dead_reckoning": drifted})))
        assert f"dead reckoning {said}" in hints
        assert "(NEES 9.00, honest would be 0.30–2.20)" in hints


def test_a_high_mean_beside_an_honest_typical_fix_means_a_few_wrong_ones(evaluation_a):
    hints = with_nis(evaluation_a, number(1.0, 0.9, 1.1))
    assert "a few fixes lie very far from its belief (mean NIS 1.83, honest would be 0.90–1.12" in hints
    assert "a few fixes" not in with_nis(evaluation_a, number(1.8, 1.5, 2.1))


def test_fixes_that_do_not_belong_to_the_belief_point_to_the_frame(evaluation_a):
    for typical in (number(21.0, 19.0, 23.0), number(400.0)):
        hints = with_nis(evaluation_a, typical)
        assert "gated_kalman: the fixes and its belief do not belong together at all (typical NIS" in hints
        assert "heading sense and zero, origin), units, clock offset and start pose of the log" in hints
        assert "Raise its tag noise" not in hints
        assert "a few fixes" not in hints
    assert "belong together" not in with_nis(evaluation_a, number(19.0, 18.0, 22.0))


def test_no_verdict_by_counting_verdicts(evaluation_a):
    fixes = evaluation_a.results.sessions[0].estimators[FILTER].corrections
    more = fixes.model_copy(update={"hurt": 3, "helped": 1})
    assert "hurt than helped" not in "\n".join(where_to_look_next(changed_filter(evaluation_a, corrections=more)))


def test_bands_without_a_shot_are_listed(evaluation_a):
    empty = evaluation_a.results.sessions[0].estimators[FILTER].shots[2]
    bands = [empty.model_copy(update={"band": name}) for name in ("near", "middle", "far")]
    alone = evaluation_a.results.sessions[0].estimators[FILTER].model_copy(update={"shots": bands})
    hints = "\n".join(where_to_look_next(with_estimators(evaluation_a, estimators={FILTER: alone})))
    assert "from the near, middle and far bands of the east bin: drive there and stop on marks." in hints


def test_facts_of_a_session(evaluation_a):
    session = evaluation_a.results.sessions[0]
    assert session_facts(session, METRIC) == "Evidence A (dense truth); 88 s, 38.1 m driven, 5.0 turns"
    wild = session.model_copy(update={"path_length_m": 1.2e80, "turns_absolute": 1e30, "duration_s": 3.0})
    assert session_facts(wild, METRIC) == "Evidence A (dense truth); 3.0 s, 1.2e+80 m driven, 1.0e+30 turns"


def test_suspect_odometry_is_told_with_its_place_and_a_remedy_where_there_is_one(evaluation_a, evaluation_d):
    session, unfused = evaluation_a.results.sessions[0], evaluation_d.results.sessions[0]
    assert suspicion(session) is None
    slips = {"suspect_motion": SuspectMotion(duration_s=1.24, places=5, first_s=27.23)}
    assert suspicion(session.model_copy(update=slips)) == (
        "Odometry looks doubtful for 1.2 s in 5 places, first at 27.2 s: slips, lifted pods or shoves; "
        "filters whose [motion_noise] sets a doubted_factor trust tags more there."
    )
    once = {"suspect_motion": SuspectMotion(duration_s=0.1, places=1, first_s=3.0)}
    assert suspicion(unfused.model_copy(update=once)) == (
        "Odometry looks doubtful for 0.1 s in 1 place, at 3.0 s: slips, lifted pods or shoves."
    )
