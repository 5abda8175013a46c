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
from locbench.statistics import UncertainNumber, unavailable
from locbench.units import UnitSystem

__all__ = ["as_seen", "has_sample", "shots_overview", "shots_table"]


_MARKS: Mapping[str, str] = {"measured": "", "predicted": "p ", "transported": "t "}


def as_seen(band: BandShots) -> BandShots:
    """Return the band with the figures of the shots seen from it, if there were any, whatever stands in for them."""
    if band.seen is None or band.seen.range_m.value is None:
        return band
    return band.model_copy(update={**dict(band.seen), "basis": "measured"})


def has_sample(band: BandShots) -> bool:
    """Return whether there was any place in this band to aim from."""
    seen = as_seen(band)
    known = seen.miss_rms_m.value is not None or seen.hit_probability.value is not None
    return (known and seen.basis == "measured") or band.cannot_aim > 0


def _band_cell(band: BandShots, floor: DisplayUnit) -> Cell:
    return Cell(f"{plain_text(band.band)} {interval_text((band.from_m, band.to_m), floor)}")


def shots_table(estimator: str, shots: Sequence[BandShots], system: UnitSystem) -> TextTable:
    """Return one row per band and goal of the shots aimed from one estimator.

    Where too few were seen, what they did stands beside the figures that stand in for a measurement.
    """
    length, floor = error_length(system), floor_length(system)
    bases = tuple(dict.fromkeys(band.basis for band in shots if band.miss_rms_m.value is not None))
    rows = tuple(
        (
            _band_cell(band, floor),
            label_cell(band.goal),
            *_seen_cells(band, length),
            largest_cell(band.range_m, floor),
            number_cell(band.miss_rms_m, length),
            number_cell(band.lateral_rms_m, length),
            number_cell(band.along_rms_m, length),
            number_cell(band.hit_probability, SHARE_PERCENT),
            NOTHING if band.miss_rms_m.value is None else count_cell(band.miss_rms_m.n),
            NOTHING if len(bases) == 1 or band.miss_rms_m.value is None else Cell(band.basis),
            count_cell(band.needed) if band.needed else NOTHING,
            count_cell(band.cannot_aim) if band.cannot_aim else NOTHING,
        )
        for band in shots
    )
    columns = (
        Column("band", floor.symbol, align="left"),
        Column("goal", align="left"),
        Column("seen: miss", f"RMS {length.symbol}"),
        Column("seen: clean", "of shots"),
        Column("range", f"mean {floor.symbol}"),
        Column("miss", f"RMS {length.symbol}"),
        Column("lateral", f"RMS {length.symbol}"),
        Column("along", f"RMS {length.symbol}"),
        Column("clean hits", "%"),
        Column("n", "behind miss"),
        Column("basis", align="left"),
        Column("more places", "needed"),
        Column("cannot aim", "places"),
    )
    note = ""
    if any(band.needed for band in shots):
        note = _NOTE + (
            _STANDING_IN if any(band.miss_rms_m.value is not None for band in shots) else _NOTHING_STANDS_IN
        )
    title = f"Shots aimed from {plain_text(estimator)}" + (f" ({bases[0]})" if len(bases) == 1 else "")
    return without_empty_columns(TextTable(title, columns, rows, note=note))


_NOTE = "Measured figures take 20 independent shots from the band. Below that the few that were seen stand on the left"
_STANDING_IN = (
    ", and on the right what the estimator's own covariance predicts, if its errors do not belie it. For dead "
    "reckoning alone, errors measured elsewhere may be transported into the band. Where nothing corrects the "
    "estimator, a session counts as one place."
)
_NOTHING_STANDS_IN = "; nothing can stand in for more of them, for the reason below the tables."


def _seen_cells(band: BandShots, length: DisplayUnit) -> tuple[Cell, Cell]:
    """Return miss and clean hits of the few shots seen; nothing where they are the measured figures anyway."""
    if not band.needed or band.seen is None or band.seen.miss_rms_m.value is None:
        return NOTHING, NOTHING
    hit = band.seen.hit_probability
    clean = NOTHING if band.hits is None else Cell(f"{band.hits}/{hit.n}{_share_interval(hit)}")
    return number_cell(band.seen.miss_rms_m, length), clean


def _share_interval(hit: UncertainNumber) -> str:
    return "" if hit.ci95 is None else f" ({interval_text(hit.ci95, SHARE_PERCENT, 1.0)} %)"


def _overview_cell(band: BandShots | None, length: DisplayUnit) -> Cell:
    """Return "65 6/6 (p 58 97 %)": miss and clean hits of the shots seen, and what stands in for too few of them."""
    if band is None:
        return NOTHING
    seen, why = as_seen(band), None
    if seen.basis != "measured":
        seen = seen.model_copy(update={"miss_rms_m": unavailable("none seen"), "hits": None})
    if band.miss_rms_m.value is None:
        why = band.miss_rms_m.why
    elif band.hit_probability.value is None:
        why = band.hit_probability.why
    text = _miss_and_hits(seen, length)
    if band.basis != "measured" and band.miss_rms_m.value is not None:
        text += f" ({_MARKS[band.basis]}{_miss_and_hits(band.model_copy(update={'hits': None}), length)})"
    return Cell(text, why)


def _miss_and_hits(band: BandShots, length: DisplayUnit) -> str:
    if band.miss_rms_m.value is None:
        return MISSING
    miss, hit = number_text(band.miss_rms_m.value, length), band.hit_probability
    if hit.value is None:
        return miss
    return f"{miss} " + (f"{number_text(hit.value, SHARE_PERCENT)} %" if band.hits is None else f"{band.hits}/{hit.n}")


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
    found = {(band.band, band.goal, name): band for name, bands in shots.items() for band in bands}
    places = {(band.band, band.goal): band for bands in shots.values() for band in bands}
    rows = tuple(
        (
            _band_cell(place, floor),
            label_cell(place.goal),
            *(_overview_cell(found.get((place.band, place.goal, name)), length) for name in shots),
        )
        for place in places.values()
    )
    hits = ", clean hits/shots" if any(as_seen(b).hit_probability.value is not None for b in found.values()) else ""
    columns = (
        Column("band", floor.symbol, align="left"),
        Column("goal", align="left"),
        *(Column(plain_text(name)) for name in shots),
    )
    title = f"Shots: miss RMS {length.symbol}{hits} ({_legend(found.values())})"
    told = any(has_sample(band) or band.miss_rms_m.value is not None for band in found.values())
    return without_empty_columns(TextTable(title, columns, rows if told else ()))


def _legend(bands: Iterable[BandShots]) -> str:
    """Return "measured", or how the figures that are not are marked."""
    others = [b for b in ("predicted", "transported") if any(b == band.basis for band in bands)]
    return "; ".join(["measured", *(f"{_MARKS[basis].strip()}: {basis}" for basis in others)])
