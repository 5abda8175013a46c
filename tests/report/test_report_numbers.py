"""Digits, units and intervals as a person reads them."""

import math

import numpy as np
import pytest

from locbench.report.numbers import (
    DEGREES,
    DRIFT_PERCENT,
    MISSING,
    PLAIN,
    SHARE_PERCENT,
    as_sentence,
    error_length,
    floor_length,
    in_words,
    interval_text,
    interval_words,
    number_text,
    plain_text,
    quantity_text,
    with_interval,
)
from locbench.statistics import measured, unavailable
from locbench.units import UnitSystem

MM, INCH = error_length(UnitSystem.METRIC), error_length(UnitSystem.IMPERIAL)


@pytest.mark.parametrize(
    ("value", "unit", "shown"),
    [
        (0.143, MM, "143 mm"),
        (0.0087, MM, "8.7 mm"),
        (1.432, MM, "1432 mm"),
        (0.0254, INCH, "1.00 in"),
        (0.3048, INCH, "12.0 in"),
        (38.1, floor_length(UnitSystem.METRIC), "38.1 m"),
        (38.1, floor_length(UnitSystem.IMPERIAL), "125.0 ft"),
        (math.radians(1.25), DEGREES, "1.25 deg"),
        (0.0063, DRIFT_PERCENT, "0.63 %"),
        (2.0 / 3.0, SHARE_PERCENT, "67 %"),
        (1.834, PLAIN, "1.83"),
        (-1e-9, MM, "0.0 mm"),
        (999.999, MM, "999999 mm"),
        (1.2e77, MM, "1.2e+80 mm"),
        (-2.5e4, MM, "-2.5e+07 mm"),
        (None, MM, MISSING),
        (math.nan, MM, MISSING),
    ],
)
def test_a_quantity_has_a_number_a_space_and_a_unit(value, unit, shown):
    assert quantity_text(value, unit) == shown


def test_bounds_have_as_many_decimals_as_their_value():
    assert interval_text((0.0072, 0.0113), MM, 0.0088) == "7.2–11.3"
    assert interval_text((-0.02, 0.03), MM, 0.031) == "-20 to 30"


def test_a_cell_holds_its_interval_or_its_count_or_a_dash():
    assert with_interval(measured(0.031, (0.024, 0.045), 14, "m"), MM) == "31 (24–45)"
    assert with_interval(measured(0.031, None, 14, "m", "too few"), MM) == "31 (n=14)"
    assert with_interval(unavailable("nothing"), MM) == MISSING


def test_words_say_what_is_missing():
    assert in_words(measured(0.031, (0.024, 0.045), 14, "m"), MM) == "31 mm (95 % 24–45 mm, n = 14)"
    assert in_words(measured(0.031, None, 4, "m", "too few"), MM) == "31 mm (no interval, n = 4)"
    assert in_words(unavailable("no\x07 mark"), MM) == "unknown (no  mark)"


def test_an_interval_below_the_shown_digits_does_not_feign_certainty():
    assert in_words(measured(0.096, (0.09599, 0.09601), 1, "m"), MM) == "96 mm (n = 1)"


def test_missing_values_break_a_drawn_line():
    np.testing.assert_allclose(MM.shown([0.001, None, 0.003]), [1.0, np.nan, 3.0])


def test_number_text_has_no_unit():
    assert number_text(0.0254, INCH) == "1.00"


def test_user_text_is_printable_and_ends_like_a_sentence():
    assert plain_text("a\x1b[31mb\nc") == "a [31mb c"
    assert as_sentence(" keep it still ") == "keep it still."
    assert as_sentence("Why?") == "Why?"
    assert as_sentence("") == ""


def test_an_interval_alone_is_left_out_if_it_says_nothing():
    assert interval_words(measured(0.031, (0.024, 0.045), 14, "m"), MM) == "95 % 24–45 mm"
    assert interval_words(measured(0.031, (0.03099, 0.03101), 14, "m"), MM) is None
    assert interval_words(measured(0.031, None, 14, "m", "too few"), MM) is None
    assert interval_words(unavailable("nothing"), MM) is None


def test_absurd_bounds_stay_short():
    assert with_interval(measured(1e90, (1e80, 1e200), 14, "m"), MM) == "1.0e+93 (1.0e+83–1.0e+203)"
