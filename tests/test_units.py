import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from locbench.errors import QuantityError
from locbench.units import UNITS, Dimension, UnitSystem, format_clock, format_quantity, parse_quantity, unit_factor


# International inch and foot: exact definitions of 1959 (NIST SP 811, appendix B.8).
@pytest.mark.parametrize(
    ("text", "dimension", "expected"),
    [
        ("35 mm", Dimension.LENGTH, 0.035),
        ("1 in", Dimension.LENGTH, 0.0254),
        ("1 ft", Dimension.LENGTH, 0.3048),
        ("-90 deg", Dimension.ANGLE, -math.pi / 2),
        ("0.5 turn", Dimension.ANGLE, math.pi),
        ("1e3 us", Dimension.TIME, 1e-3),
        ("2 min", Dimension.TIME, 120.0),
        ("60 rpm", Dimension.TURN_RATE, 2 * math.pi),
        ("12 in/s", Dimension.SPEED, 0.3048),
        ("99 %", Dimension.RATIO, 0.99),
        ("30 g", Dimension.MASS, 0.03),
    ],
)
def test_quantities_are_read_into_si(text, dimension, expected):
    assert parse_quantity(text, dimension) == pytest.approx(expected, rel=1e-15)


@pytest.mark.parametrize(
    ("text", "words"),
    [
        (35, ["missing unit", "35 m"]),
        ("35", ["missing unit"]),
        ("35mm", ["no space", '"35 mm"']),
        ("35 mmm", ["unknown unit", 'Did you mean "mm"']),
        ("35 deg", ["this is a unit of angle", "m, cm, mm, in, ft"]),
        ("thirty mm", ["not a quantity"]),
        ("nan mm", ["not a quantity"]),
        ("1e999 m", ["too large"]),
        ("", ["not a quantity"]),
    ],
)
def test_bad_quantities_say_what_to_write(text, words):
    with pytest.raises(QuantityError) as caught:
        parse_quantity(text, Dimension.LENGTH)
    for word in words:
        assert word in str(caught.value)


@given(st.floats(-1e6, 1e6), st.sampled_from(sorted(UNITS)))
def test_a_number_written_with_its_unit_reads_back(number, symbol):
    unit = UNITS[symbol]
    assert parse_quantity(f"{number!r} {symbol}", unit.dimension) == number * unit.factor


def test_every_dimension_has_an_si_unit_of_factor_one_or_a_ratio():
    for dimension in Dimension:
        factors = [unit.factor for unit in UNITS.values() if unit.dimension is dimension]
        assert 1.0 in factors or dimension is Dimension.RATIO


def test_unit_factor_refuses_another_dimension():
    with pytest.raises(QuantityError, match="unit of angle"):
        unit_factor("deg", Dimension.LENGTH)


@pytest.mark.parametrize(
    ("value", "dimension", "system", "shown"),
    [
        (0.1432, Dimension.LENGTH, UnitSystem.METRIC, "143 mm"),
        (0.00317, Dimension.LENGTH, UnitSystem.METRIC, "3.17 mm"),
        (38.14, Dimension.LENGTH, UnitSystem.METRIC, "38.1 m"),
        (0.0254, Dimension.LENGTH, UnitSystem.IMPERIAL, "1.00 in"),
        (38.14, Dimension.LENGTH, UnitSystem.IMPERIAL, "125 ft"),
        (math.radians(2.5), Dimension.ANGLE, UnitSystem.METRIC, "2.50 deg"),
        (0.0, Dimension.LENGTH, UnitSystem.METRIC, "0 mm"),
        (math.nan, Dimension.LENGTH, UnitSystem.METRIC, "–"),
    ],
)
def test_quantities_are_shown_with_three_digits_and_their_unit(value, dimension, system, shown):
    assert format_quantity(value, dimension, system) == shown


@pytest.mark.parametrize(
    ("time_s", "text"),
    [(0.0, "0 s"), (4803.46890, "4803.47 s"), (-3.2, "-3.2 s"), (1718000000.126, "1718000000.13 s")],
)
def test_a_time_on_a_clock_keeps_its_hundredths_however_long_ago_the_clock_began(time_s, text):
    assert format_clock(time_s) == text
