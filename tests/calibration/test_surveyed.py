"""Surveyed marks: what of their uncertainty is new at every visit, and distances taped between them."""

from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from locbench.calibration.surveyed import surveyed_places
from locbench.config import FieldConfig

FILE = Path("field.toml")
FLOOR = {"x_from": "0 m", "x_to": "4 m", "y_from": "0 m", "y_to": "4 m"}


def _places(*marks, distances=()):
    field = FieldConfig.model_validate(
        {"name": "floor", "floor": FLOOR, "marks": list(marks), "distances": list(distances)}
    )
    return surveyed_places({FILE: field})


def _mark(name="A", **more):
    return {"name": name, "x": "1 m", "y": "2 m", **more}


@given(whole=st.floats(0.5, 20.0), share=st.floats(0.01, 1.0))
def test_survey_and_placing_make_up_the_whole(whole, share):
    places = _places(_mark(position_std=f"{whole:.6f} mm", placing_std=f"{share * whole:.6f} mm"))
    both = np.hypot(places.survey_std, places.placing_std)
    np.testing.assert_allclose(both[0, :2], 0.001 * whole, rtol=1e-4)
    np.testing.assert_allclose(places.placing_std[0, :2], 0.001 * share * whole, atol=1e-8)


def test_a_mark_that_does_not_split_its_uncertainty_has_half_of_the_variance_in_each():
    places = _places(_mark(position_std="3 mm", heading="90 deg", heading_std="2 deg"))
    np.testing.assert_allclose(places.survey_std, places.placing_std)
    np.testing.assert_allclose(2.0 * places.placing_std[0] ** 2, [9e-6, 9e-6, np.radians(2.0) ** 2])


def test_a_mark_that_does_not_say_how_sure_it_is_takes_no_part():
    places = _places(_mark("A"), _mark("B", position_std="2 mm"))
    assert places.index(FILE, "A") is None
    assert places.index(FILE, "B") == 1
    assert places.index(FILE, "C") is None
    assert places.index(Path("another.toml"), "B") is None
    assert np.isnan(places.pose[1, 2])


def test_taped_distances_know_their_ends_in_several_fields():
    marks = (_mark("A", position_std="2 mm"), {**_mark("B", position_std="2 mm"), "x": "3 m"})
    taped = {"first": "A", "second": "B", "length": "2001 mm", "std": "1 mm"}
    field = FieldConfig.model_validate(
        {"name": "floor", "floor": FLOOR, "marks": list(marks), "distances": [taped]},
    )
    places = surveyed_places({Path("one.toml"): field, Path("two.toml"): field})
    assert [(one.first, one.second) for one in places.distances] == [(0, 1), (2, 3)]
    assert places.distances[0].length_m == pytest.approx(2.001)
    assert places.distances[0].std_m == pytest.approx(0.001)
