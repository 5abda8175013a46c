"""A pre-event check on a terminal of 80 columns, and the picture of its trends."""

import io

import numpy as np
from rich.console import Console

from locbench.report.precheck import print_precheck
from locbench.report.precheck_trends import plot_trends
from locbench.results import HistoryEntry, Precheck, PrecheckLine

WHEEL = "pods.parallel_left_outer.wheel_diameter"


def _line(name, **changed):
    known = {
        "kind": "wheel diameter",
        "role": "deciding",
        "unit": "mm",
        "value": 49.9,
        "std": 0.02,
        "baseline": 50.0,
        "baseline_std": 0.02,
        "change": -0.1,
        "change_std": 0.028,
        "least_change": -0.15,
        "most_change": 0.15,
        "verdict": "pass",
        "cause": None,
        "action": None,
        "next_run": None,
        "why": None,
    }
    return PrecheckLine.model_validate({"name": name, **known, **changed})


def _check(*lines):
    return Precheck(
        locbench="0",
        session="today",
        date="2026-11-26T10:00",
        baseline="good",
        baseline_saved="2026-11-01T10:00",
        verdict="pass",
        lines=list(lines),
        next_runs=[],
        trends=[],
        remarks=[],
    )


def _printed(check):
    stream = io.StringIO()
    print_precheck(check, "today", Console(file=stream, width=80, no_color=True, highlight=False))
    return stream.getvalue()


def test_a_long_name_breaks_between_its_words():
    text = _printed(_check(_line(WHEEL, least_change=-0.1502, most_change=0.2501)))
    table = text.split("Figures, the worst first")[1]
    pieces = [line.split()[1] if line.startswith("pass") else line.split()[0] for line in table.splitlines()[3:6]]
    assert "".join(pieces).startswith("pods.parallel_left_outer.")
    assert all(piece.endswith((".", "_")) for piece in pieces[:-1])
    assert "-0.150 to" in text
    assert max(map(len, text.splitlines())) <= 80


def test_figures_missing_for_one_reason_share_a_line():
    missing = {"value": None, "std": None, "change": None, "change_std": None, "why": "not determined"}
    names = [f"hit.bin.{place}" for place in range(20)]
    open_line = _line("lever", **missing, verdict="undecided", next_run="spin")
    text = " ".join(_printed(_check(open_line, *(_line(name, **missing, verdict=None) for name in names))).split())
    assert f"{', '.join(names)}: not determined" in text
    assert "lever: not determined; drive a lap of kind spin" in text
    assert "of 1 figures" in text
    assert "20 more not judged" in text


def test_every_check_is_drawn_beside_its_own_limits():
    """The first two were judged by another baseline: its limits are not today's."""
    limits = [(49.8, 50.2), (49.8, 50.2), (49.0, 49.4)]
    history = [
        HistoryEntry(
            date=f"2026-11-0{day}T10:00",
            session="s",
            name="wheel",
            unit="mm",
            value=49.5,
            std=0.02,
            low=low,
            high=None if day == 2 else high,
            verdict="fail",
        )
        for day, (low, high) in enumerate(limits, start=1)
    ]
    figure = plot_trends(_check(_line("wheel")), history)
    (axes,) = figure.axes
    lows, highs = (line.get_ydata() for line in axes.lines if line.get_linestyle() == "--")
    np.testing.assert_array_equal(lows, [49.8, 49.8, 49.0])
    np.testing.assert_array_equal(highs, [50.2, np.nan, 49.4])
    assert "each check's limits" in figure.get_suptitle()
