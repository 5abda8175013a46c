"""The tables of the shots: each estimator's in detail, and all estimators' side by side."""

from collections.abc import Iterable, Mapping, Sequence

from locbench.report.numbers import (
    MISSING,
    SHARE_PERCENT,
    DisplayUnit,
    error_length,
    floor_length,
    interval_text,
    number_text,
    plain_text,
)
from locbench.report.text_tables import (
    NOTHING,
    Cell,
    Column,
    TextTable,
    count_cell,
    label_cell,
    largest_cell,
    number_cell,
    without_empty_columns,
)
from locbench.results import BandShots
from locbench.units import UnitSystem

__all__ = ["has_sample", "shots_overview", "shots_table"]


def has_sample(band: BandShots) -> bool:
    """Return whether there was any place in this band to aim from."""
    return band.miss_rms_m.value is not None or band.hit_probability.value is not None or band.cannot_aim > 0


def _bases(bands: Iterable[BandShots]) -> tuple[str, ...]:
    """Return where the misses come from ("measured", "predicted"), each once, in the order seen."""
    return tuple(dict.fromkeys(band.basis for band in bands if band.miss_rms_m.value is not None))


def _band_cell(band: BandShots, floor: DisplayUnit) -> Cell:
    return Cell(f"{plain_text(band.band)} {interval_text((band.from_m, band.to_m), floor)}")


def shots_table(estimator: str, shots: Sequence[BandShots], system: UnitSystem) -> TextTable:
    """Return one row per band and goal of the shots aimed from one estimator."""
    length, floor = error_length(system), floor_length(system)
    bases = _bases(shots)
    rows = tuple(
        (
            _band_cell(band, floor),
            label_cell(band.goal),
            largest_cell(band.range_m, floor),
            number_cell(band.miss_rms_m, length),
            number_cell(band.lateral_rms_m, length),
            number_cell(band.along_rms_m, length),
            number_cell(band.hit_probability, SHARE_PERCENT),
            count_cell(band.miss_rms_m.n),
            count_cell(band.cannot_aim) if band.cannot_aim else NOTHING,
            NOTHING if len(bases) == 1 or band.miss_rms_m.value is None else Cell(band.basis),
        )
        for band in shots
    )
    columns = (
        Column("band", floor.symbol, align="left"),
        Column("goal", align="left"),
        Column("range", f"mean {floor.symbol}"),
        Column("miss", f"RMS {length.symbol}"),
        Column("lateral", f"RMS {length.symbol}"),
        Column("along", f"RMS {length.symbol}"),
        Column("clean hits", "%"),
        Column("n"),
        Column("cannot aim", "places"),
        Column("basis", align="left"),
    )
    title = f"Shots aimed from {plain_text(estimator)}" + (f" ({', '.join(bases)})" if len(bases) == 1 else "")
    return without_empty_columns(TextTable(title, columns, rows))


def _overview_cell(band: BandShots | None, length: DisplayUnit) -> Cell:
    """Return "65 6/6": the miss and the clean hits of the shots; the miss alone if hits cannot be told."""
    if band is None or band.miss_rms_m.value is None:
        return Cell(MISSING, None if band is None else band.miss_rms_m.why)
    miss, hit = number_text(band.miss_rms_m.value, length), band.hit_probability
    if hit.value is None:
        return Cell(miss, hit.why)
    clean = f"{number_text(hit.value, SHARE_PERCENT)} %" if band.hits is None else f"{band.hits}/{hit.n}"
    return Cell(f"{miss} {clean}")


def shots_overview(shots: Mapping[str, Sequence[BandShots]], system: UnitSystem) -> TextTable:
    """Return one row per band and goal, one column per estimator with its miss and its clean hits.

    Without any shot the table has no rows.

    Parameters
    ----------
    shots
        By estimator.
    system
        Metric or imperial lengths.
    """
    length, floor = error_length(system), floor_length(system)
    found = {(band.band, band.goal, name): band for name, bands in shots.items() for band in bands if has_sample(band)}
    places = {(band.band, band.goal): band for bands in shots.values() for band in bands}
    rows = tuple(
        (
            _band_cell(place, floor),
            label_cell(place.goal),
            *(_overview_cell(found.get((place.band, place.goal, name)), length) for name in shots),
        )
        for place in places.values()
    )
    hits = ", clean hits/shots" if any(band.hit_probability.value is not None for band in found.values()) else ""
    bases = _bases(found.values())
    basis = f" ({', '.join(bases)})" if bases else ""
    columns = (
        Column("band", floor.symbol, align="left"),
        Column("goal", align="left"),
        *(Column(plain_text(name)) for name in shots),
    )
    title = f"Shots: miss RMS {length.symbol}{hits}{basis}"
    return without_empty_columns(
        TextTable(title, columns, rows if any(has_sample(band) for band in found.values()) else ())
    )
