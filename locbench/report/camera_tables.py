"""Tables of a camera study: for the screen, and as CSV in SI units."""

import csv
import io
from collections.abc import Iterable, Sequence

import numpy as np

from locbench.camera.components import Component
from locbench.report.fitted_numbers import with_std
from locbench.report.numbers import MISSING
from locbench.report.text_tables import Cell, Column, TextTable, count_cell
from locbench.results import BiasAndSpread, CameraBin, CameraRecord, TrustRecord

__all__ = ["bin_table", "camera_csv", "interval_words", "shown_components", "trust_table"]

_HEADINGS = {
    "range": ("range", "m", 1.0),
    "view_angle": ("view angle", "deg", float(np.radians(1.0))),
    "speed": ("speed", "m/s", 1.0),
    "turn_rate": ("turn rate", "deg/s", float(np.radians(1.0))),
    "tag": ("tag", "", 1.0),
}


def shown_components(record: CameraRecord) -> list[Component]:
    """Return the components that any bin has, in their own order."""
    present = {name for one in record.bins for name in one.components}
    return [name for name in Component if name in present]


def unit_of(name: Component) -> tuple[str, float]:
    """Return symbol and factor to SI of a component's residuals."""
    if name in (Component.HEADING, Component.BEARING):
        return "deg", float(np.radians(1.0))
    return "mm", 0.001


def interval_words(low: float, high: float, factor: float) -> str:
    """Return a half-open interval as it is shown."""
    return f"{low / factor:.3g}–{high / factor:.3g}"


def bin_table(record: CameraRecord, by: str) -> TextTable:
    """Return bias and spread sorted by one thing, as logged."""
    heading, unit, factor = _HEADINGS[by]
    names = shown_components(record)
    columns = [Column(heading, unit, align="left"), Column("n", "wrong")]
    for name in names:
        columns += [Column(f"{name} bias", unit_of(name)[0]), Column("spread", unit_of(name)[0])]
    rows = tuple(_bin_row(one, by, factor, names) for one in record.bins if one.by == by)
    title = f"By {heading}: detections less what they should read, as logged"
    return TextTable(title, tuple(columns), rows)


def _bin_row(one: CameraBin, by: str, factor: float, names: Sequence[Component]) -> tuple[Cell, ...]:
    label = f"{one.low:.0f}" if by == "tag" else interval_words(one.low, one.high, factor)
    cells = [Cell(label), Cell(f"{one.count}/{one.outliers}")]
    for name in names:
        cells += _numbers_cells(one.components.get(name), unit_of(name)[1])
    return tuple(cells)


def _numbers_cells(numbers: BiasAndSpread | None, factor: float) -> list[Cell]:
    if numbers is None:
        return [Cell(MISSING), Cell(MISSING)]
    return [
        Cell(with_std(numbers.bias / factor, numbers.bias_std / factor)),
        Cell(with_std(numbers.spread / factor, numbers.spread_std / factor)),
    ]


def trust_table(record: CameraRecord) -> TextTable:
    """Return RMS by range and view angle: what a fix from there is off by, as logged."""
    names = shown_components(record)
    columns = [Column("range", "m", align="left"), Column("view angle", "deg"), Column("n", "wrong")]
    columns += [Column(f"{name} RMS", unit_of(name)[0]) for name in names]
    rows = tuple(_trust_row(one, names) for one in record.trust_map)
    return TextTable("Trust map", tuple(columns), rows)


def _trust_row(one: TrustRecord, names: Sequence[Component]) -> tuple[Cell, ...]:
    degree = float(np.radians(1.0))
    cells = [
        Cell(interval_words(one.range_low_m, one.range_high_m, 1.0)),
        Cell(interval_words(one.view_low_rad, one.view_high_rad, degree)),
        Cell(f"{one.count}/{one.outliers}"),
    ]
    for name in names:
        symbol, factor = unit_of(name)
        value = one.rms.get(name)
        decimals = 2 if symbol == "deg" else 0
        cells.append(count_cell(None) if value is None else Cell(f"{value / factor:z.{decimals}f}"))
    return tuple(cells)


def camera_csv(record: CameraRecord) -> dict[str, str]:
    """Return name and text of camera_bins.csv and trust_map.csv, in SI units and radians."""
    names = shown_components(record)
    bins = [["sorted_by", "from", "to", "count", "wrong"]]
    bins[0] += [f"{name}_{what}" for name in names for what in ("bias", "bias_std", "spread", "spread_std")]
    for one in record.bins:
        row = [one.by, *(str(value) for value in (one.low, one.high, one.count, one.outliers))]
        for name in names:
            numbers = one.components.get(name)
            row += [""] * 4 if numbers is None else [str(value) for value in numbers.model_dump().values()]
        bins.append(row)
    cells = [["range_from_m", "range_to_m", "view_from_rad", "view_to_rad", "count", "wrong"]]
    cells[0] += [f"{name}_rms" for name in names]
    for cell in record.trust_map:
        values = [cell.range_low_m, cell.range_high_m, cell.view_low_rad, cell.view_high_rad, cell.count, cell.outliers]
        cells.append([str(value) for value in [*values, *(cell.rms.get(name, "") for name in names)]])
    return {"camera_bins.csv": _csv(bins), "trust_map.csv": _csv(cells)}


def _csv(rows: Iterable[Sequence[str]]) -> str:
    text = io.StringIO()
    csv.writer(text, lineterminator="\n").writerows(rows)
    return text.getvalue()
