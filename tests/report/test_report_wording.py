"""The answer sentence, and where to look next."""

from dataclasses import replace

import pytest
from hand_built import FILTER, MARKUP_NAME, SCRIPT_NAME, Evaluation, evaluation, number

from locbench.report import headline, where_to_look_next
from locbench.report.wording import CAUTION
from locbench.results import Results
from locbench.statistics import unavailable
from locbench.units import UnitSystem

METRIC, IMPERIAL = UnitSystem.METRIC, UnitSystem.IMPERIAL


def with_estimators(source: Evaluation, **changes) -> Results:
    """Return the results with fields of the only session replaced."""
    session = source.results.sessions[0].model_copy(update=changes)
    return source.results.model_copy(update={"sessions": [session]})


def test_headline_with_dense_truth(evaluation_a):
    assert headline(evaluation_a.results, METRIC) == (
        "Evidence A (dense truth): dead reckoning is 143 mm (95 % 139–147 mm, n = 1) off after 38.1 m; "
        "gated_kalman (lowest RMS of 2 fusions) 31 mm RMS (95 % 24–45 mm, n = 14); "
        "from the far band of the east bin 4 of 12 shots miss on localization alone (hit share 35–86 %)."
    )


def test_headline_in_inches_and_feet(evaluation_a):
    text = headline(evaluation_a.results, IMPERIAL)
    assert "5.63 in (95 % 5.47–5.79 in, n = 1) off after 125.0 ft" in text
    assert "1.22 in RMS (95 % 0.94–1.77 in, n = 14)" in text
    assert " mm" not in text


def test_headline_at_marks(evaluation_b):
    text = headline(evaluation_b.results, METRIC)
    assert text.startswith("Evidence B (surveyed marks): dead reckoning is 143 mm")
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
    assert "gated_kalman took 4 of 6 fixes, which moved it by 34 mm RMS (95 % 21–62 mm, n = 4), NIS 1.83" in text


def test_headline_of_several_sessions_is_pooled(evaluation_of_two):
    text = headline(evaluation_of_two.results, METRIC)
    assert text.startswith("Evidence A over 2 sessions (2 with dense truth; 76.2 m driven): dead reckoning 100 mm RMS")
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
    assert "no shot misses on localization alone from any band; least certain from the far band" in text
    assert "12 of 12 hit (hit share 66–100 %)" in text


def test_headline_gives_the_miss_when_there_is_no_shooter(evaluation_a):
    session = evaluation_a.results.sessions[0]
    missing = unavailable("no shooter file: give --shooter")
    fused = session.estimators[FILTER]
    bands = [band.model_copy(update={"hit_probability": missing}) for band in fused.shots]
    changed = session.estimators | {FILTER: fused.model_copy(update={"shots": bands})}
    text = headline(with_estimators(evaluation_a, estimators=changed), METRIC)
    assert (
        "from the far band of the east bin shots land 90 mm RMS (no interval, n = 12) off; "
        "no hit share: no shooter file: give --shooter" in text
    )


def test_headline_says_when_a_share_is_predicted_and_when_it_rests_on_many_places(evaluation_a):
    session = evaluation_a.results.sessions[0]
    fused = session.estimators[FILTER]
    share = replace(fused.shots[1].hit_probability, n=400)
    bands = [fused.shots[1].model_copy(update={"basis": "predicted", "hit_probability": share})]
    changed = session.estimators | {FILTER: fused.model_copy(update={"shots": bands})}
    text = headline(with_estimators(evaluation_a, estimators=changed), METRIC)
    assert "33 % of shots miss on localization alone (predicted, not measured) (hit share 35–86 %, n = 400" in text


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
    assert "NIS 1.83, honest would be 0.90–1.12" in text
    assert f"{MARKUP_NAME} is too timid" in text
    assert "No shot can be judged from the corner band of the east bin: drive here and stop on marks." in text
    assert "onboard was left out: the log has no [onboard] table." in text
    assert "6 are needed before one estimator can be called better" in text
    assert lines[-1] == CAUTION


def test_next_steps_name_the_session_when_there_are_several(evaluation_of_two):
    lines = where_to_look_next(evaluation_of_two.results)
    assert sum(line.startswith("Monday: ") for line in lines) == sum(line.startswith(SCRIPT_NAME) for line in lines) > 3


def test_overlapping_intervals_are_not_called_a_difference(evaluation_a):
    session = evaluation_a.results.sessions[0]
    fused = session.estimators[FILTER]
    worse = fused.truth.model_copy(update={"position_rms_m": number(0.11, 0.09, 0.16)})
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
