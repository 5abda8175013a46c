"""CSV texts: values, empty cells, and text that must not become a formula."""

import io

import pandas as pd
import pytest
from hand_built import FILTER, MARKUP_NAME, SCRIPT_NAME, evaluation

from locbench.report import csv_tables


def tables(found) -> dict[str, pd.DataFrame]:
    return {name: pd.read_csv(io.StringIO(text)) for name, text in csv_tables(found.results, found.tracks).items()}


def row(table: pd.DataFrame, **wanted) -> pd.Series:
    for column, value in wanted.items():
        table = table[table[column] == value]
    assert len(table) == 1
    return table.iloc[0]


def test_every_file_is_there(evaluation_a):
    assert set(csv_tables(evaluation_a.results, evaluation_a.tracks)) == {
        "summary.csv",
        "corrections.csv",
        "shots.csv",
        "drift.csv",
        "at_marks.csv",
        "comparisons.csv",
        "landings.csv",
        "aim.csv",
        "reference.csv",
    }


def test_summary_has_value_interval_count_unit_and_method(evaluation_a):
    found = row(tables(evaluation_a)["summary.csv"], estimator=FILTER, quantity="truth.position_rms_m")
    assert found["session"] == SCRIPT_NAME
    assert (found["value"], found["ci95_low"], found["ci95_high"], found["n"]) == (0.031, 0.024, 0.045, 14)
    assert (found["unit"], found["method"]) == ("m", "root mean square; chi-square interval")
    assert pd.isna(found["why"])


def test_missing_numbers_are_empty_with_a_reason(evaluation_a):
    found = row(tables(evaluation_a)["summary.csv"], estimator=FILTER, quantity="truth.position_r95_m")
    assert pd.isna(found["value"])
    assert found["why"] == "needs 20 independent errors"


def test_summary_counts_fixes_and_gives_the_band(evaluation_a):
    summary = tables(evaluation_a)["summary.csv"]
    assert row(summary, estimator=FILTER, quantity="corrections.rejected.gate")["value"] == 1
    assert row(summary, estimator=FILTER, quantity="corrections.hurt")["value"] == 1
    band = row(summary, estimator=FILTER, quantity="consistency.nis_band95")
    assert (band["ci95_low"], band["ci95_high"]) == (0.9, 1.12)
    remark = row(summary, estimator=FILTER, quantity="consistency.remark.fixes_further_than_claimed")
    assert remark["value"] == 1.83


def test_summary_gives_the_nees_of_all_sessions_together(evaluation_of_two):
    summary = tables(evaluation_of_two)["summary.csv"]
    pooled = summary[(summary["session"] == "(all sessions pooled)") & (summary["estimator"] == FILTER)]
    mean = pooled[pooled["quantity"] == "consistency.nees_mean"].iloc[0]
    band = pooled[pooled["quantity"] == "consistency.nees_band95"].iloc[0]
    assert (mean["value"], mean["n"]) == (1.2, 2)
    assert pd.isna(band["ci95_low"])
    assert band["why"] == "fewer than 6 sessions"


def test_missing_sections_have_a_row_with_the_reason(evaluation_c):
    summary = tables(evaluation_c)["summary.csv"]
    assert row(summary, estimator=FILTER, quantity="marks")["why"] == "no mark visit in this log"
    assert row(summary, estimator=FILTER, quantity="corrections.hurt")["why"].startswith("judging single")


def test_corrections_are_those_of_the_tracks(evaluation_a):
    found = tables(evaluation_a)["corrections.csv"]
    fixes = evaluation_a.tracks.sessions[0].estimators[FILTER].corrections
    mine = found[found["estimator"] == FILTER]
    assert mine["time_s"].tolist() == fixes.time_s
    assert mine["outcome"].tolist() == fixes.outcome
    assert mine["reacquired"].tolist() == [False, False, False, False, False, True]
    assert [None if pd.isna(v) else v for v in mine["verdict"]] == fixes.verdict


def test_reacquired_fixes_are_counted_where_the_filter_may(evaluation_a):
    session = evaluation_a.results.sessions[0]
    result = session.estimators[FILTER]
    assert "corrections.reacquired" not in set(tables(evaluation_a)["summary.csv"]["quantity"])
    fixes = result.corrections.model_copy(update={"reacquired": 2})
    changed = session.model_copy(update={"estimators": {FILTER: result.model_copy(update={"corrections": fixes})}})
    texts = csv_tables(evaluation_a.results.model_copy(update={"sessions": [changed]}), evaluation_a.tracks)
    summary = pd.read_csv(io.StringIO(texts["summary.csv"]))
    assert row(summary, estimator=FILTER, quantity="corrections.reacquired")["value"] == 2


def test_drift_and_landings_are_those_of_the_tracks(evaluation_a):
    found = tables(evaluation_a)
    drift = found["drift.csv"][found["drift.csv"]["estimator"] == FILTER]
    assert drift["length_m"].tolist() == [2.5, 4.0]
    landings = found["landings.csv"][found["landings.csv"]["estimator"] == FILTER]
    assert landings["lateral_m"].tolist() == [0.02, -0.2, 2.0]
    assert landings["inside"].tolist() == [True, False, False]


def test_shots_keep_counts_whole(evaluation_a):
    text = csv_tables(evaluation_a.results, evaluation_a.tracks)["shots.csv"]
    found = row(
        tables(evaluation_a)["shots.csv"], estimator=FILTER, band="far", goal="east bin", quantity="hit_probability"
    )
    assert found["value"] == pytest.approx(2.0 / 3.0)
    assert ",measured,8,0,0,hit_probability," in text


@pytest.mark.parametrize(
    ("name", "shown"),
    [
        ("=1+1", "'=1+1"),
        ("+1", "'+1"),
        ("-1", "'-1"),
        ("@sum", "'@sum"),
        ("\t=1", "' =1"),
        ("\r\n=1", "'  =1"),
        ("plain\nname", "plain name"),
    ],
)
def test_text_cannot_become_a_formula(name, shown):
    hostile = evaluation("A", name=name)
    for file_name, text in csv_tables(hostile.results, hostile.tracks).items():
        table = pd.read_csv(io.StringIO(text), dtype=str, keep_default_na=False)
        assert table["session"].tolist() == [shown] * len(table), file_name


def test_numbers_are_left_alone(evaluation_a):
    landings = csv_tables(evaluation_a.results, evaluation_a.tracks)["landings.csv"]
    assert ",-0.2," in landings
    assert ",'=M3," in landings


def test_pooled_numbers_have_rows_of_their_own(evaluation_of_two):
    found = tables(evaluation_of_two)["summary.csv"]
    pooled = found[found["session"] == "(all sessions pooled)"]
    assert row(pooled, estimator=MARKUP_NAME, quantity="pooled.between_session_std_m")["value"] == 0.005


def test_a_log_without_anything_still_gives_headers(evaluation_d):
    texts = csv_tables(evaluation_d.results, evaluation_d.tracks)
    assert texts["corrections.csv"] == (
        "session,estimator,time_s,captured_s,tag,row,outcome,reacquired,verdict,jump_m,error_after_m\n"
    )
