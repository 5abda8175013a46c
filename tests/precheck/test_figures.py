"""What is known of each kind of figure."""

import math

import pytest
from pydantic import ValidationError

from locbench.config import BaselineConfig
from locbench.config.baseline import BaselineFigure, FigureKind
from locbench.drive_kinds import DriveKind
from locbench.precheck.figures import KINDS
from locbench.precheck.judging import unit_factor


@pytest.mark.parametrize("kind", FigureKind)
def test_every_kind_has_limits_words_and_a_unit_that_suits_it(kind):
    facts = KINDS[kind]
    low, high = facts.may_change(10.0 * facts.factor)
    assert low < 0.0 < high
    assert math.isfinite(low) or math.isfinite(high)
    assert unit_factor(facts.unit) == pytest.approx(facts.factor)
    assert isinstance(facts.drive, DriveKind)
    assert BaselineFigure(name="x", kind=kind, unit=facts.unit, value=1.0, std=0.1).unit == facts.unit
    assert facts.action[0].isupper()


@pytest.mark.parametrize(
    ("kind", "unit"), [("wheel diameter", "deg"), ("latency", "mm"), ("gyro scale", "deg"), ("drift", "per minute")]
)
def test_a_unit_of_another_dimension_is_refused(kind, unit):
    figure = {"name": "x", "kind": kind, "unit": unit, "value": 1.0, "std": 0.1}
    with pytest.raises(ValidationError, match="is not measured in"):
        BaselineConfig.model_validate({"name": "good", "saved": "today", "figures": [figure]})
