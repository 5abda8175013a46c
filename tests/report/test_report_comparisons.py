"""Who is better, in words, tables and CSV, and what is said of marks, bands and confounded drift."""

import io

import pandas as pd
import pytest
from hand_built import FILTER, evaluation, number, without_pictures

from locbench.report import csv_tables
from locbench.report.advice import where_to_look_next
from locbench.report.comparison_words import answer, comparison_lines, comparisons_table
from locbench.report.html import report_html
from locbench.report.layout import drift_table
from locbench.report.mark_tables import marks_table
from locbench.report.residual_tables import RESIDUAL_CAUTION, residuals_table
from locbench.report.shot_tables import shots_table
from locbench.report.wording import headline
from locbench.results import AtMark, ComparisonRecord, MarkInDoubt, SeenShots, TagResiduals
from locbench.statistics import ComparisonVerdict, measured, unavailable
from locbench.units import UnitSystem

METRIC = UnitSystem.METRIC


def compared(ours, theirs, value, verdict, sessions=1, interval=None, measure="position_rms_m"):
    return ComparisonRecord(
        session=None,
        estimator=ours,
        against=theirs,
        measure=measure,
        difference=measured(value, interval, 40, "paired difference", None if interval else "worth 1.0"),
        sessions=sessions,
        parts=14,
        verdict=verdict,
    )


def with_comparisons(*records):
    return evaluation("A").results.model_copy(update={"comparisons": list(records)})


def test_six_sessions_say_who_is_better_in_the_first_line():
    gain = compared(FILTER, "dead_reckoning", -0.035, ComparisonVerdict.BETTER, 7, (-0.051, -0.020))
    other = compared(FILTER, "slow", -0.2, ComparisonVerdict.BETTER, 7, (-0.3, -0.1))
    results = with_comparisons(other, gain)
    assert answer(results, METRIC) == (
        headline(results, METRIC)
        + " Over 7 sessions gated_kalman is better than dead reckoning: 35 mm RMS less (95 % 20–51 mm)."
    )
    assert comparison_lines(results, METRIC)[1] == (
        "gated_kalman against dead reckoning: better; 35 mm RMS less (95 % 20–51 mm)"
    )


@pytest.mark.parametrize("verdict", [v for v in ComparisonVerdict if v is not ComparisonVerdict.BETTER])
def test_nothing_else_gets_into_the_first_line(verdict):
    results = with_comparisons(compared(FILTER, "dead_reckoning", -0.035, verdict, 7))
    assert answer(results, METRIC) == headline(results, METRIC)


def test_fewer_sessions_speak_for_themselves():
    one = with_comparisons(compared(FILTER, "dead_reckoning", -0.2, ComparisonVerdict.BETTER_HERE))
    three = with_comparisons(compared(FILTER, "dead_reckoning", 0.2, ComparisonVerdict.WORSE_HERE, 3))
    assert comparison_lines(one, METRIC) == [
        "gated_kalman against dead reckoning: better in this run: 1 session, 6 needed; 200 mm RMS less"
    ]
    assert "worse in these runs: 3 sessions, 6 needed; 200 mm RMS more" in comparison_lines(three, METRIC)[0]


def test_no_clear_gain_keeps_the_signs_of_its_interval():
    results = with_comparisons(
        compared(FILTER, "dead_reckoning", -0.02, ComparisonVerdict.NO_CLEAR_GAIN, 7, (-0.06, 0.02))
    )
    assert "no clear gain; 20 mm RMS less (95 % -20 to 60 mm)" in comparison_lines(results, METRIC)[0]


def test_a_pair_is_told_once_with_the_better_one_first():
    results = with_comparisons(
        compared("slow", FILTER, 0.2, ComparisonVerdict.WORSE_HERE),
        compared(FILTER, "slow", -0.2, ComparisonVerdict.BETTER_HERE),
    )
    assert len(comparison_lines(results, METRIC)) == 1
    assert comparison_lines(results, METRIC)[0].startswith("gated_kalman against slow: better")


def test_the_page_has_all_measures_and_how_to_read_them():
    results = with_comparisons(
        compared(FILTER, "dead_reckoning", -0.035, ComparisonVerdict.BETTER, 7, (-0.051, -0.020)),
        compared(FILTER, "dead_reckoning", -0.01, ComparisonVerdict.BETTER, 7, None, "heading_rms_rad"),
        compared(FILTER, "dead_reckoning", -0.01, ComparisonVerdict.NO_CLEAR_GAIN, 7, None, "miss_rms_m"),
    )
    table = comparisons_table(results, METRIC)
    assert [row[2].text for row in table.rows] == ["position", "heading", "miss of shots"]
    assert table.rows[1][3].text.startswith("-0.57")
    assert "sign-flip" in table.note
    assert "among many settings" not in table.note
    page = report_html(results, without_pictures(evaluation("A").tracks), METRIC)
    assert "<caption>Compared at the same places" in page
    assert "is better than dead reckoning" in page


def test_many_settings_come_with_a_warning():
    records = [compared(f"f{i}", "dead_reckoning", -0.1, ComparisonVerdict.BETTER, 6) for i in range(3)]
    assert "among many settings" in comparisons_table(with_comparisons(*records), METRIC).note


def test_comparisons_have_a_csv_file():
    results = with_comparisons(
        compared(FILTER, "dead_reckoning", -0.035, ComparisonVerdict.BETTER_HERE, 1, (-0.051, -0.020))
    )
    (row,) = pd.read_csv(io.StringIO(csv_tables(results, evaluation("A").tracks)["comparisons.csv"])).to_dict("records")
    assert (row["estimator"], row["against"], row["verdict"]) == (FILTER, "dead_reckoning", "better_here")
    assert (row["quantity"], row["value"], row["unit"]) == ("difference.position_rms_m", -0.035, "m")
    assert (row["sessions"], row["parts"]) == (1, 14)


def at_mark(estimator="dead_reckoning"):
    none = unavailable("fewer than two visits with a heading")
    return AtMark(
        mark="M1",
        estimator=estimator,
        visits=3,
        sessions=1,
        position_std_m=0.002,
        bias_x_m=number(-0.012, n=3),
        bias_y_m=number(0.005, n=3),
        accuracy_m=number(0.013, n=3),
        repeatability_m=number(0.02, n=3),
        heading_accuracy_rad=none,
        heading_repeatability_rad=none,
    )


def test_marks_found_again_have_a_table_and_a_csv_file():
    results = evaluation("B").results.model_copy(update={"at_marks": [at_mark()]})
    (row,) = marks_table(results, METRIC).rows
    assert [cell.text for cell in row] == ["M1", "dead_reckoning", "3", "-12 (n=3)", "5.0 (n=3)", "13", "20", "–", "–"]
    table = pd.read_csv(io.StringIO(csv_tables(results, evaluation("B").tracks)["at_marks.csv"]))
    assert table[table["quantity"] == "repeatability_m"]["value"].tolist() == [0.02]
    assert "Marks visited more than once" in report_html(results, without_pictures(evaluation("B").tracks), METRIC)


def test_a_mark_in_doubt_is_named():
    doubt = MarkInDoubt(mark="M1", axis="y", low_m=0.03, high_m=0.05)
    results = evaluation("B").results.model_copy(update={"marks_in_doubt": [doubt]})
    (hint,) = [line for line in where_to_look_next(results) if "survey it again" in line]
    assert "mark M1 off by 30–50 mm in y" in hint
    assert not [line for line in where_to_look_next(evaluation("B").results) if "survey it again" in line]


def with_estimators(evidence, **changes):
    session = evaluation(evidence).results.sessions[0]
    found = {name: result.model_copy(update=changes) for name, result in session.estimators.items()}
    return session.model_copy(update={"estimators": found})


def test_only_a_log_of_tags_alone_shows_residuals_and_their_caution():
    residuals = TagResiduals(
        residual_rms_m=number(0.2, 0.15, 0.3), residual_median_m=number(0.06), residual_heading_rms_rad=number(0.06)
    )
    table = residuals_table(with_estimators("C", tag_residuals=residuals), METRIC)
    assert table.note == RESIDUAL_CAUTION
    assert table.rows[0][1].text == "200 (150–300)"
    assert residuals_table(with_estimators("A", tag_residuals=residuals), METRIC).rows == ()
    assert residuals_table(with_estimators("C"), METRIC).rows == ()


def test_confounded_drift_is_said_above_its_table():
    session = with_estimators("A")
    drift = session.estimators[FILTER].drift.model_copy(update={"confounded": [["metres", "minutes"]]})
    note = drift_table(with_estimators("A", drift=drift), METRIC).note
    assert note.count("Metres and minutes never varied apart") == 1
    assert "never varied apart" not in drift_table(session, METRIC).note


def test_the_bands_table_shows_seen_and_predicted_side_by_side():
    band = evaluation("A").results.sessions[0].estimators[FILTER].shots[1]
    seen = SeenShots(**{name: number(0.05, 0.03, 0.09, n=4) for name in SeenShots.model_fields})
    seen = seen.model_copy(update={"hit_probability": number(0.75, 0.3, 0.95, n=4)})
    predicted = band.model_copy(update={"basis": "predicted", "seen": seen, "hits": 3, "needed": 16})
    table = shots_table(FILTER, [predicted, band], METRIC)
    cells = dict(zip([f"{c.heading} {c.detail}".strip() for c in table.columns], table.rows[0], strict=True))
    assert cells["seen: miss RMS mm"].text == "50 (30–90)"
    assert cells["seen: clean of shots"].text == "3/4 (30–95 %)"
    assert cells["basis"].text == "predicted"
    assert cells["more places needed"].text == "16"
    assert "predicts" in table.note
    assert shots_table(FILTER, [band], METRIC).note == ""


def test_bands_seen_are_in_the_csv_beside_what_stands_in_for_them():
    found = evaluation("A")
    session = found.results.sessions[0]
    band = session.estimators[FILTER].shots[1]
    seen = SeenShots(**{name: number(0.05, n=4) for name in SeenShots.model_fields})
    predicted = band.model_copy(update={"basis": "predicted", "seen": seen, "hits": 3, "needed": 16})
    estimators = {FILTER: session.estimators[FILTER].model_copy(update={"shots": [predicted]})}
    results = found.results.model_copy(update={"sessions": [session.model_copy(update={"estimators": estimators})]})
    table = pd.read_csv(io.StringIO(csv_tables(results, found.tracks)["shots.csv"]))
    rows = table.set_index("quantity")
    assert rows.loc["miss_rms_m", "basis"] == "predicted"
    assert rows.loc["seen.miss_rms_m", "basis"] == "measured"
    assert rows.loc["seen.miss_rms_m", "value"] == 0.05
    assert set(table["needed"]) == {16}
