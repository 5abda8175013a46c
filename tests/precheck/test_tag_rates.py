"""Detections per minute against a good day: a camera that sees far less is found on any kind of drive."""

from pathlib import Path

import numpy as np
import pytest
from changed_sessions import copied, without_tables
from scipy import stats

from locbench.config import BaselineConfig
from locbench.config.baseline import FigureKind
from locbench.jobs.precheck_figures import figures_of_log
from locbench.precheck.figures import Figure
from locbench.precheck.judging import Line, baseline_of, judged
from locbench.session import read_session

ROOT = Path(__file__).parents[2]
_KEPT = (0.0, 0.05, 0.2, 0.5, 0.8, 1.0)


def _rate(session: Path) -> Figure:
    return next(one for one in figures_of_log(read_session(session)) if one.kind is FigureKind.TAGS_PER_MINUTE)


def _line(before: Figure, today: Figure) -> Line:
    (line,) = judged([today], BaselineConfig.model_validate(dict(baseline_of("good", "2026-11-01", [before]))))
    return line


@pytest.fixture(scope="module", params=["orchard_healthy", "orchard_spin_line"])
def lines(request, tmp_path_factory) -> dict[float, Line]:
    """A demo log with a share of its detections, judged by the whole one."""
    folder = tmp_path_factory.mktemp("rates") / "session"
    without_tables(copied(ROOT / "logs_demo" / request.param, folder), "truth")
    table = folder / "tags.csv"
    head, *rows = table.read_text().splitlines(keepends=True)
    whole = _rate(folder)
    found, rng = {}, np.random.default_rng(1)
    for kept in _KEPT:
        # one before the drive stays: a table without rows is refused on reading
        chosen = [row for row in rows[1:] if rng.random() < kept]
        table.write_text(head + rows[0] + "".join(chosen))
        found[kept] = _line(whole, _rate(folder))
    return found


@pytest.mark.parametrize("kept", [0.0, 0.05, 0.2])
def test_a_fifth_of_the_detections_or_less_plainly_fails(kept, lines):
    assert lines[kept].verdict == "fail"


def test_half_of_them_is_at_the_limit_and_most_of_them_no_failure(lines):
    assert lines[0.5].verdict == "undecided"
    assert lines[0.8].verdict != "fail"
    assert lines[1.0].verdict != "fail"
    assert lines[0.8].excess < 0.0


def test_no_detection_at_all_is_zero_with_the_rule_of_three(lines):
    today = lines[0.0].figure
    assert today is not None
    assert today.value < 1.0
    assert 0.0 < today.std < 3.0


def test_a_share_is_told_as_surely_as_two_rates_allow():
    """Drawn 4,000 times: a rate that truly fell to the limit, half of the good day, fails in one of twenty."""
    draws = np.random.default_rng(5).standard_normal((4_000, 2))
    before, today = 100.0 + 15.0 * draws[:, 0], 50.0 + 6.0 * draws[:, 1]
    rates = [
        (Figure("rate", FigureKind.TAGS_PER_MINUTE, b, 15.0), Figure("rate", FigureKind.TAGS_PER_MINUTE, t, 6.0))
        for b, t in zip(before, today, strict=True)
    ]
    failed = sum(_line(*pair).verdict == "fail" for pair in rates)
    low, high = stats.binom.ppf([0.001, 0.999], len(rates), 0.05)
    assert low <= failed <= high
