"""What a person sees in a terminal, 80 columns wide and without colour."""

import io
import re
import subprocess
import sys

import pytest
from hand_built import FILTER, MARKUP_NAME, SCRIPT_NAME, evaluation, number, without_pictures
from rich.console import Console

from locbench.fusion import Rule
from locbench.report.html import report_html
from locbench.report.layout import fixes_table
from locbench.report.terminal import print_evaluation
from locbench.report.wording import CAUTION
from locbench.results import SeenShots, SuspectMotion
from locbench.statistics import unavailable
from locbench.units import UnitSystem


def printed(results, width=80, system=UnitSystem.METRIC) -> str:
    stream = io.StringIO()
    print_evaluation(results, Console(file=stream, width=width, no_color=True, highlight=False), system)
    return stream.getvalue()


def flat(text: str) -> str:
    return " ".join(text.split())


@pytest.mark.parametrize("evidence", ["A", "B", "C", "D"])
@pytest.mark.parametrize("width", [80, 100, 160])
def test_no_line_is_wider_than_the_terminal(evidence, width):
    assert max(len(line) for line in printed(evaluation(evidence).results, width).splitlines()) <= width


def test_the_answer_comes_first(evaluation_a):
    assert printed(evaluation_a.results).startswith("Evidence A (dense truth): dead reckoning is 100 mm")


def test_no_escape_sequence_is_needed_to_read_it(evaluation_a):
    assert "\x1b" not in printed(evaluation_a.results)


def test_names_are_printed_literally(evaluation_a):
    text = printed(evaluation_a.results, width=120)
    assert MARKUP_NAME in text
    assert SCRIPT_NAME in text
    assert "[bold]the gyro drifts" in text


def test_numbers_stand_beside_their_intervals(evaluation_a):
    text = printed(evaluation_a.results, width=140)
    row = next(line for line in text.splitlines() if line.startswith("gated_kalman"))
    assert re.split(r"\s{2,}", row.strip()) == [
        "gated_kalman",
        "31 (24–45)",
        "31 (24–45)",
        "1.25 (0.90–2.10)",
        "–",
        "4/6",
        "2/1",
        "1.83 (1.46–2.20)",
    ]


def fixes_row(source, **changes) -> list[str]:
    """Return the filter's cells in the table of what became of the fixes, headings first."""
    session = source.results.sessions[0]
    result = session.estimators[FILTER]
    changed = result.model_copy(update={"corrections": result.corrections.model_copy(update=changes)})
    alone = session.model_copy(update={"estimators": {FILTER: changed}})
    text = printed(source.results.model_copy(update={"sessions": [alone]}), width=160)
    table = text.split("What became of the fixes")[1].split("What fixes did")[0].splitlines()
    row = next(line for line in table if line.startswith(FILTER))
    headings = next(line for line in table if line.startswith("estimator"))
    return [re.split(r"\s{2,}", line.strip())[1:] for line in (headings, row)]


def test_what_became_of_the_fixes_is_told_by_rule(evaluation_a):
    _, row = fixes_row(evaluation_a)
    assert row == ["6", "4", "range 1, gate 1", "2/1/1/0"]


def test_every_rule_has_words(evaluation_a):
    session = evaluation_a.results.sessions[0]
    result = session.estimators[FILTER]
    fixes = result.corrections.model_copy(update={"rejected": {str(rule): 1 for rule in Rule}})
    changed = session.model_copy(update={"estimators": {FILTER: result.model_copy(update={"corrections": fixes})}})
    assert fixes_table(changed).rows[0][3].text == (
        "too old 1, excluded tag 1, range 1, view angle 1, reprojection ratio 1, tag count 1, turn rate 1, speed 1, "
        "gate 1, not requested 1"
    )


def test_reacquired_fixes_have_a_column_if_the_filter_may(evaluation_a):
    headings, _ = fixes_row(evaluation_a)
    assert "reacquired" not in " ".join(headings)
    for count in (0, 3):
        _, row = fixes_row(evaluation_a, reacquired=count)
        assert row == ["6", "4", "range 1, gate 1", str(count), "2/1/1/0"]


def test_drift_is_shown_where_it_grows_with_the_way(evaluation_a):
    text = printed(evaluation_a.results, width=140)
    row = next(line for line in text.splitlines() if line.startswith("dead_reckoning"))
    assert "0.63 (0.46–1.00)" in row


def test_intervals_move_below_when_the_table_is_too_wide(evaluation_a):
    lines = printed(evaluation_a.results, width=80).splitlines()
    row = next(index for index, line in enumerate(lines) if line.startswith("gated_kalman"))
    assert "24–45" not in lines[row]
    assert "24–45" in lines[row + 1]


def test_shots_of_all_estimators_stand_side_by_side(evaluation_a):
    text = printed(evaluation_a.results, width=120)
    assert text.count("Shots: miss RMS mm, clean hits/shots (measured)") == 1
    assert re.search(r"goal +dead_reckoning +gated_kalman +\[red\]x\[/red\]", text)
    assert re.search(r"near 0.00–2.00 +east bin +30 12/12 +30 12/12 +30 12/12", text)
    assert re.search(r"far 3.00–4.00 +east bin +90 6/12 +90 8/12 +90 3/12", text)
    assert re.search(r"corner 4.00–6.00 +east bin +– +– +–", text)
    assert "Shots aimed from" not in text


def test_without_a_shooter_shots_have_their_miss_only(evaluation_a):
    missing = unavailable("no shooter file: give --shooter")
    text = printed(with_bands(evaluation_a, hit_probability=missing, hits=None), width=120)
    assert "Shots: miss RMS mm (measured)" in text
    assert re.search(r"far 3.00–4.00 +east bin +90 +90 +90 *\n", text)
    assert "no shooter file: give --shooter" in flat(text)


def test_predicted_shots_are_marked_beside_those_seen(evaluation_a):
    seen = SeenShots(**{name: number(0.05, n=4) for name in SeenShots.model_fields})
    text = printed(with_bands(evaluation_a, basis="predicted", hits=3, seen=seen, needed=16), width=160)
    assert "clean hits/shots (measured; p: predicted)" in text
    assert re.search(r"far 3.00–4.00 +east bin +50 3/4 \(p 90 50 %\) +50 3/4 \(p 90 67 %\)", text)
    # the answer quotes the shots that were seen
    assert "1 of 4 shots misses" in text.split("\n\n")[0].replace("\n", " ")


def test_predictions_where_no_shot_was_seen_stand_alone(evaluation_a):
    text = printed(with_bands(evaluation_a, basis="transported", hits=None, needed=20), width=160)
    assert "(measured; t: transported)" in text
    assert re.search(r"far 3.00–4.00 +east bin +– \(t 90 50 %\) +– \(t 90 67 %\)", text)


def test_no_shots_no_table(evaluation_c):
    assert "Shots:" not in printed(evaluation_c.results)


def with_bands(source, **changes):
    session = source.results.sessions[0]
    estimators = {
        name: result.model_copy(update={"shots": [band.model_copy(update=changes) for band in result.shots]})
        for name, result in session.estimators.items()
    }
    changed = session.model_copy(update={"estimators": estimators})
    return source.results.model_copy(update={"sessions": [changed]})


def renamed(source, names):
    """Return the results with the filter under these names."""
    session = source.results.sessions[0]
    estimators = dict.fromkeys(names, session.estimators[FILTER])
    return source.results.model_copy(update={"sessions": [session.model_copy(update={"estimators": estimators})]})


def rows_with(text: str, start: str) -> int:
    return sum(line.startswith(start) for line in text.splitlines())


@pytest.mark.parametrize("width", [20, 40, 60])
def test_a_narrow_terminal_gets_80_columns(evaluation_a, width):
    console = Console(file=io.StringIO(), width=width, no_color=True)
    print_evaluation(evaluation_a.results, console, UnitSystem.METRIC)
    assert console.file.getvalue() == printed(evaluation_a.results, width=80)
    assert console.width == width


@pytest.mark.parametrize("width", [40, 80, 100])
def test_names_stay_however_many_estimators_there_are(evaluation_a, width):
    names = [f"filter_number_{index:02d}" for index in range(23)]
    text = printed(renamed(evaluation_a, names), width)
    assert max(len(line) for line in text.splitlines()) <= max(width, 80)
    for name in names:
        assert rows_with(text.split("What became of the fixes")[0], name) == 1
    # the row label is folded when many columns stand beside it
    assert rows_with(text, "near") > 1
    # 23 of them, in whatever tables
    assert len(re.findall(r"90 8/12", text)) == 23


def test_long_names_are_folded_not_lost(evaluation_a):
    name = "a_very_long_name_" * 6 + "x" * 60
    text = printed(renamed(evaluation_a, [name]), width=80)
    overview = text.split("How far off")[1].split("Brackets")[0]
    letters = "".join(line[:20].split(" ")[0] for line in overview.split("Shots:")[0].splitlines()[5:])
    assert name in letters
    assert max(len(line) for line in text.splitlines()) <= 80


def test_an_absurd_number_does_not_push_the_names_away(evaluation_a):
    session = evaluation_a.results.sessions[0]
    fused = session.estimators[FILTER]
    absurd = number(1.2e77, 1e70, 1e200)
    truth = fused.truth.model_copy(update={"position_rms_m": absurd, "heading_rms_rad": absurd})
    changed = session.estimators | {FILTER: fused.model_copy(update={"truth": truth, "marks": truth})}
    results = evaluation_a.results.model_copy(
        update={"sessions": [session.model_copy(update={"estimators": changed, "path_length_m": 1e80})]}
    )
    text = printed(results, width=60)
    assert "1.2e+80" in text
    assert re.search(r"^gated_kalman ", text, re.MULTILINE)
    assert re.search(r"^near 0.00–2.00 ", text, re.MULTILINE)
    assert max(len(line) for line in text.splitlines()) <= 80


def test_findings_show_severity_place_message_and_remedy(evaluation_a):
    text = flat(printed(evaluation_a.results))
    assert "WARNING odometry.csv, row 12: a gap of 0.4 s (found: <b>0.4</b>). check the logger." in text
    assert "NOTE: [bold]the gyro drifts. -" not in text
    assert "NOTE: [bold]the gyro drifts." in text


def test_missing_numbers_are_explained(evaluation_c):
    text = flat(printed(evaluation_c.results))
    assert "no mark visit in this log (dead_reckoning, at marks, and 2 more)" in text
    assert "judging single corrections needs a dense ground truth" in text
    assert "shots need marks" in text


def test_columns_without_any_number_are_left_out(evaluation_c):
    assert "drift" not in printed(evaluation_c.results).split("Why numbers")[0].split("How far off")[1]


def test_driving_advice_comes_with_the_caution(evaluation_a):
    assert flat(printed(evaluation_a.results)).endswith(CAUTION)


def test_imperial_units(evaluation_a):
    text = printed(evaluation_a.results, width=140, system=UnitSystem.IMPERIAL)
    assert "RMS in" in text
    assert "1.22 (0.94–1.77)" in text
    assert " mm" not in text


def test_several_sessions_have_a_common_table(evaluation_of_two):
    monday, other = evaluation_of_two.results.sessions
    many = monday.model_copy(update={"estimators_left_out": {f"filter_{index}": "no tags" for index in range(20)}})
    text = printed(evaluation_of_two.results.model_copy(update={"sessions": [many, other]}), width=120)
    assert "All sessions together" in text
    assert "Monday" in text
    assert "the HTML report has all of them" in text


def test_the_terminal_does_not_load_the_plotting_library():
    code = "import sys, locbench.report.terminal; sys.exit('matplotlib' in sys.modules or 'pandas' in sys.modules)"
    assert subprocess.run([sys.executable, "-c", code], check=False).returncode == 0


def test_doubtful_odometry_is_told_below_the_facts_in_both_reports(evaluation_a):
    found = evaluation_a.results
    slips = {"suspect_motion": SuspectMotion(duration_s=1.24, places=5, first_s=27.23)}
    slipped = found.model_copy(update={"sessions": [found.sessions[0].model_copy(update=slips)]})
    line = "Odometry looks doubtful for 1.2 s in 5 places, first at 27.2 s"
    assert line in flat(printed(slipped))
    assert "looks doubtful" not in flat(printed(found))
    page = report_html(slipped, without_pictures(evaluation_a.tracks), UnitSystem.METRIC).replace("\u00a0", " ")
    assert f"5.0 turns. {line}" in page
