"""What a person sees in a terminal, 80 columns wide and without colour."""

import io
import re
import subprocess
import sys

import pytest
from hand_built import MARKUP_NAME, SCRIPT_NAME, evaluation
from rich.console import Console

from locbench.report.terminal import print_evaluation
from locbench.report.wording import CAUTION
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
    assert printed(evaluation_a.results).startswith("Evidence A (dense truth): dead reckoning is 143 mm")


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
        "0.63 (0.46–1.00)",
        "4/6",
        "2/1",
        "1.83 (0.90–1.12)",
    ]


def test_intervals_move_below_when_the_table_is_too_wide(evaluation_a):
    lines = printed(evaluation_a.results, width=80).splitlines()
    row = next(index for index, line in enumerate(lines) if line.startswith("gated_kalman"))
    assert "24–45" not in lines[row]
    assert "24–45" in lines[row + 1]


def test_shots_are_listed_by_band_and_goal(evaluation_a):
    text = printed(evaluation_a.results, width=120)
    assert "Shots aimed from gated_kalman (measured)" in text
    assert re.search(r"far 3.00–4.00\s+east bin\s+3.40\s+90 \(n=12\).*67 \(35–86\)\s+12", text)
    assert re.search(r"corner 4.00–6.00\s+east bin\s+–", text)


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
    text = printed(evaluation_of_two.results, width=120)
    assert "All sessions together" in text
    assert "Monday" in text
    assert "the HTML report has all of them" in text


def test_the_terminal_does_not_load_the_plotting_library():
    code = "import sys, locbench.report.terminal; sys.exit('matplotlib' in sys.modules or 'pandas' in sys.modules)"
    assert subprocess.run([sys.executable, "-c", code], check=False).returncode == 0
