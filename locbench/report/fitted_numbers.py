"""How constants and noise found by a fit are shown: as many digits as their standard uncertainty is worth."""

from collections.abc import Mapping

from locbench.units import UNITS

__all__ = ["SHOWN", "decimals_for", "fitted_text", "with_std"]

SHOWN: Mapping[str, tuple[str, float]] = {
    "m": ("mm", UNITS["mm"].factor),
    "rad": ("deg", UNITS["deg"].factor),
    "s": ("ms", UNITS["ms"].factor),
    "1": ("", 1.0),
}
"""Unit symbol and its factor to SI, by the unit of a record."""
_MOST_DECIMALS = 6
_WITHOUT_STD = 4


def decimals_for(std_shown: float) -> int:
    """Return the decimals that show two digits of a standard uncertainty, in the unit shown."""
    decimals = 0
    while std_shown < 10.0 and decimals < _MOST_DECIMALS:
        std_shown *= 10.0
        decimals += 1
    return decimals


def fitted_text(value: float, std: float | None, unit: str) -> str:
    """Return value, standard uncertainty and unit, such as "1.23 ± 0.12 mm"; four digits without one."""
    symbol, factor = SHOWN[unit]
    end = f" {symbol}" if symbol else ""
    if std is None:
        return f"{value / factor:.{_WITHOUT_STD}g}{end}"
    decimals = decimals_for(std / factor)
    return f"{value / factor:z.{decimals}f} ± {std / factor:.{decimals}f}{end}"


def with_std(value: float, std: float) -> str:
    """Return value and standard uncertainty, both as shown: one digit of it is enough in a table."""
    decimals = max(decimals_for(std) - 1, 0)
    return f"{value:z.{decimals}f}±{std:.{decimals}f}"
