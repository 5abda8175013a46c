"""Figures judged by a baseline."""

import dataclasses
import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from locbench.config import BaselineConfig
from locbench.config.baseline import FigureKind, FigureRole
from locbench.precheck.figures import KINDS, Figure
from locbench.precheck.judging import Overall, baseline_of, judged, needed_std, overall, role_of, unit_factor
from locbench.statistics import Conformity

KINDS_OF_FIGURES = st.sampled_from(FigureKind)


def _baseline(figures):
    return BaselineConfig.model_validate(dict(baseline_of("good", "2026-11-01T10:00", figures)))


@st.composite
def figures(draw):
    kind = draw(KINDS_OF_FIGURES)
    factor = KINDS[kind].factor
    return Figure(
        draw(st.sampled_from(["one", "two", "three"])),
        kind,
        factor * draw(st.floats(1.0, 1000.0)),
        factor * draw(st.floats(0.001, 100.0)),
    )


@st.composite
def days(draw):
    """The figures of a good day, and how today's differ, in standard uncertainties."""
    good = draw(st.lists(figures(), min_size=1, max_size=3, unique_by=lambda one: one.name))
    moved = [draw(st.floats(-100.0, 100.0)) for _ in good]
    return good, [dataclasses.replace(one, value=one.value + by * one.std) for one, by in zip(good, moved, strict=True)]


@given(figures())
def test_the_same_figures_again_never_fail(one):
    (line,) = judged([one], _baseline([one]))
    assert line.verdict is not Conformity.FAIL
    # what is deciding has room for twice the guard
    if role_of(one) is FigureRole.DECIDING:
        assert line.verdict is Conformity.PASS
    assert overall([line]) is Overall.PASS


@given(days())
def test_one_failure_fails_all_and_an_open_line_leaves_it_open(both):
    good, today = both
    lines = judged(today, _baseline(good))
    verdicts = {line.verdict for line in lines}
    deciding = {line.verdict for line in lines if line.role is FigureRole.DECIDING}
    watched = [line for line in lines if line.role is FigureRole.WATCHED and line.verdict is Conformity.UNDECIDED]
    # of what such drives are too unsure of only a plain change by more than allowed counts
    changed = [line for line in watched if line.excess > 0.0 and abs(line.change) > 2.58 * line.std]
    said = overall(lines)
    assert (said is Overall.FAIL) == (Conformity.FAIL in verdicts)
    if said is Overall.UNDECIDED:
        assert Conformity.UNDECIDED in deciding or changed
    if said is Overall.PASS:
        assert deciding <= {Conformity.PASS}
        assert not changed


@given(days())
def test_the_worst_comes_first(both):
    good, today = both
    lines = judged(today, _baseline(good))
    places = [[Conformity.FAIL, Conformity.UNDECIDED, Conformity.PASS].index(line.verdict) for line in lines]
    assert places == sorted(places)
    failed = [line.excess for line in lines if line.verdict is Conformity.FAIL and line.role is FigureRole.DECIDING]
    assert failed == sorted(failed, reverse=True)


def test_today_without_a_figure_of_the_baseline_is_open():
    one = Figure("wheel", FigureKind.WHEEL_DIAMETER, 0.05, 1e-5)
    (line,) = judged([], _baseline([one]))
    assert (line.verdict, line.figure, line.change) == (Conformity.UNDECIDED, None, None)
    assert overall([line]) is Overall.UNDECIDED


def test_a_watched_figure_that_today_lacks_is_not_judged():
    one = Figure("wheel", FigureKind.WHEEL_DIAMETER, 0.05, 1e-2)
    (line,) = judged([], _baseline([one]))
    assert (line.role, line.verdict) == (FigureRole.WATCHED, None)


def test_a_figure_that_the_baseline_lacks_is_not_judged():
    one = Figure("wheel", FigureKind.WHEEL_DIAMETER, 0.05, 1e-5)
    new = Figure("lever", FigureKind.LEVER_ARM, 0.12, 1e-5)
    lines = judged([one, new], _baseline([one]))
    assert [(line.name, line.verdict) for line in lines] == [("wheel", Conformity.PASS), ("lever", None)]
    assert overall(lines) is Overall.PASS


def test_both_uncertainties_count():
    """0.15 mm may change, 0.2 mm did: 0.028 mm are sure enough to fail it, together with as much again they are not."""
    good = Figure("wheel", FigureKind.WHEEL_DIAMETER, 0.05, 0.0)
    today = Figure("wheel", FigureKind.WHEEL_DIAMETER, 0.0498, 0.028e-3)
    (line,) = judged([today], _baseline([good]))
    assert line.std == pytest.approx(0.028e-3)
    assert line.verdict is Conformity.FAIL
    (line,) = judged([today], _baseline([dataclasses.replace(good, std=0.028e-3)]))
    assert line.std == pytest.approx(0.0396e-3, rel=1e-3)
    assert line.verdict is Conformity.UNDECIDED


@pytest.mark.parametrize("kind", FigureKind)
def test_a_figure_that_is_just_sure_enough_passes_nine_times_of_ten(kind):
    """95 % on each side that has a limit, both days measured; counted, 20,000 pairs of days."""
    value = 10.0 * KINDS[kind].factor
    std = needed_std(Figure("one", kind, value, 1.0))
    assert role_of(Figure("one", kind, value, 0.999 * std)) is FigureRole.DECIDING
    assert role_of(Figure("one", kind, value, 1.001 * std)) is FigureRole.WATCHED
    low, high = KINDS[kind].may_change(value)
    errors = std * np.random.default_rng(3).standard_normal((20_000, 2))
    # of a ratio only the share of the baseline that is the limit has to be told from today
    share = 1.0 + low / value if KINDS[kind].as_ratio else 1.0
    change, guard = errors[:, 1] - share * errors[:, 0], 1.645 * math.hypot(1.0, share) * std
    passed = np.mean((change >= low + guard) & (change <= high - guard))
    sides = sum(map(math.isfinite, (low, high)))
    assert passed == pytest.approx(1.0 - 0.05 * sides, abs=0.006)


@given(figures(), st.floats(-50.0, 50.0))
def test_the_unit_of_the_baseline_changes_no_verdict(one, moved):
    today = dataclasses.replace(one, value=one.value + moved * one.std)
    before = _baseline([one])
    (figure,) = before.figures
    others = {"mm": "in", "deg": "rad", "ms": "s", "%": "1"}
    if figure.unit not in others:
        return
    other = others[figure.unit]
    scale = unit_factor(figure.unit) / unit_factor(other)
    changed = {
        key: None if getattr(figure, key) is None else getattr(figure, key) * scale
        for key in ("value", "std", "least_change", "most_change")
    }
    after = before.model_copy(update={"figures": (figure.model_copy(update={"unit": other, **changed}),)})
    (line,), (again,) = judged([today], before), judged([today], after)
    assert again.change == pytest.approx(line.change, rel=1e-9, abs=1e-9 * one.std + 1e-9 * abs(one.value))
    # at a limit rounding may decide
    if abs(abs(line.excess) - 1.645) > 1e-6:
        assert again.verdict is line.verdict
