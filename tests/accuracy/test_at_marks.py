import numpy as np
import pytest
from builders import comparison

from locbench.accuracy import biased_marks, repeatability_at_marks

UNAIDED = frozenset({"dead_reckoning"})


def _visited(errors, std=0.002, places=None):
    """Visits with these position errors, of marks in turn or at these places along x."""
    along = np.arange(len(errors)) if places is None else np.array(places)
    reference = np.column_stack([along, np.zeros((len(errors), 2))]).astype(float)
    believed = reference + np.column_stack([errors, np.zeros(len(errors))])
    return comparison(believed, reference, (std, 0.001))


def test_marks_visited_once_are_left_out():
    errors = np.array([[0.01, 0.0], [0.02, 0.0], [0.03, 0.0]])
    found = repeatability_at_marks([_visited(errors, places=[0, 1, 0])], ["ABA"], np.inf)
    assert [(one.mark, one.visits, one.sessions) for one in found] == [("A", 2, 1)]
    assert found[0].accuracy_m.value == pytest.approx(0.02)
    # both visits lie 1 cm from their middle, so the distances have no spread
    assert found[0].repeatability_m.value == pytest.approx(0.01)
    assert found[0].bias_x_m.value == pytest.approx(0.02)
    assert found[0].bias_x_m.ci95 is None
    assert "6 are needed" in found[0].bias_x_m.why
    assert found[0].heading_accuracy_rad.value == pytest.approx(0.0)


def test_a_mark_is_its_place_not_its_name():
    """Of another field, or without names and so numbered by row, the same name is another place."""
    twice = np.array([[0.01, 0.0], [0.02, 0.0]])
    elsewhere = [_visited(twice, places=[0, 1]), _visited(twice, places=[2, 3])]
    assert repeatability_at_marks(elsewhere, [["row 1", "row 2"]] * 2, np.inf) == []
    (found,) = repeatability_at_marks([_visited(twice, places=[5, 5])], [["row 1", "row 2"]], np.inf)
    assert (found.mark, found.visits) == ("row 1", 2)


def test_sessions_are_taken_together_and_six_visits_give_an_interval():
    rng = np.random.default_rng(1)
    sessions = [_visited(0.03 + 0.002 * rng.normal(size=(1, 2))) for _ in range(9)]
    (found,) = repeatability_at_marks(sessions, ["A"] * 9, np.inf)
    assert (found.visits, found.sessions) == (9, 9)
    low, high = found.bias_y_m.ci95
    assert low < 0.03 < high
    (capped,) = repeatability_at_marks(sessions, ["A"] * 9, 5.0)
    assert capped.bias_y_m.ci95 is None


def test_visits_without_heading_have_no_heading_figures():
    blind = comparison(np.zeros((2, 3)) * [1, 1, np.nan], np.zeros((2, 3)))
    (found,) = repeatability_at_marks([blind], ["AA"], np.inf)
    assert found.heading_repeatability_rad.value is None
    assert found.position_std_m == 0.0


def _everyone(shift_by_mark, seed=2, names=("dead_reckoning", "filter")):
    rng = np.random.default_rng(seed)
    marks = list(shift_by_mark)
    shifts = np.array([[shift_by_mark[mark], 0.0] for mark in marks])
    figures = {}
    for name in names:
        sessions = [_visited(shifts + 0.003 * rng.normal(size=shifts.shape)) for _ in range(12)]
        figures[name] = repeatability_at_marks(sessions, [marks] * 12, np.inf)
    return figures


def test_a_mark_that_all_miss_alike_is_in_doubt():
    (doubt,) = biased_marks(_everyone({"A": 0.0, "B": 0.04, "C": 0.0}), UNAIDED)
    assert (doubt.mark, doubt.axis) == ("B", "x")
    assert doubt.low_m < 0.04 < doubt.high_m


def test_no_mark_is_blamed_for_what_concerns_most():
    assert biased_marks(_everyone({"A": 0.04, "B": 0.04, "C": 0.04}), UNAIDED) == []


def test_no_mark_is_blamed_within_its_own_uncertainty_or_by_one_kind_of_estimator():
    assert biased_marks(_everyone({"A": 0.0, "B": 0.002, "C": 0.0}), UNAIDED) == []
    assert biased_marks(_everyone({"A": 0.0, "B": 0.04, "C": 0.0}, names=("one", "other")), UNAIDED) == []


def test_no_mark_is_blamed_if_the_estimators_disagree():
    figures = _everyone({"A": 0.0, "B": 0.04, "C": 0.0})
    figures["filter"] = _everyone({"A": 0.0, "B": -0.04, "C": 0.0})["filter"]
    assert biased_marks(figures, UNAIDED) == []
