"""The results as CSV texts for a spreadsheet or a script: SI units, one number a row, empty where there is none."""

from collections.abc import Iterator

from locbench.report.csv_texts import Row, csv_text
from locbench.report.quantities import (
    ALL_SESSIONS,
    QUANTITIES,
    estimator_numbers,
    fields_of,
    seen_numbers,
    shot_numbers,
)
from locbench.results import (
    BandShots,
    Consistency,
    EstimatorResult,
    PooledConsistency,
    PooledEstimator,
    Results,
    Tracks,
)
from locbench.statistics import UncertainNumber

__all__ = ["csv_tables"]

_SUMMARY = (
    "session",
    "estimator",
    "quantity",
    "value",
    "ci95_low",
    "ci95_high",
    "n",
    "unit",
    "method",
    "why",
)
_BAND = ("band", "goal", "from_m", "to_m", "basis", "hits", "cannot_aim", "needed")
_SHOTS = ("session", "estimator", *_BAND, *_SUMMARY[2:])
_AT_MARKS = ("session", "mark", "estimator", "visits", "sessions", *_SUMMARY[2:])
_COMPARISONS = ("session", "estimator", "against", *_SUMMARY[2:], "sessions", "parts", "verdict")
_CORRECTIONS = (
    "session",
    "estimator",
    "time_s",
    "captured_s",
    "tag",
    "row",
    "outcome",
    "reacquired",
    "verdict",
    "jump_m",
    "error_after_m",
)
_AIM = ("session", "estimator", "goal", "time_s", "tag", "row", "verdict", "kick_rad")
_REFERENCE = (
    "session",
    "from_place",
    "to_place",
    "start_s",
    "end_s",
    "chi_square",
    "degrees_of_freedom",
    "noise_scale",
    "broken",
    "why",
)
_DRIFT = (
    "session",
    "estimator",
    "start_s",
    "length_m",
    "turn_rad",
    "duration_s",
    "position_error_m",
    "heading_error_rad",
)
_LANDINGS = (
    "session",
    "estimator",
    "place",
    "band",
    "goal",
    "range_m",
    "lateral_m",
    "along_m",
    "inside",
)


def csv_tables(results: Results, tracks: Tracks) -> dict[str, str]:
    """Return file name -> text of every CSV file.

    Parameters
    ----------
    results
        The numbers: summary.csv, shots.csv, reference.csv, comparisons.csv and at_marks.csv.
    tracks
        The pictures' contents: corrections.csv, aim.csv, drift.csv, landings.csv.
    """
    return {
        "summary.csv": csv_text(_summary_rows(results), _SUMMARY),
        "corrections.csv": csv_text(_correction_rows(tracks), _CORRECTIONS),
        "aim.csv": csv_text(_aim_rows(tracks), _AIM),
        "reference.csv": csv_text(_reference_rows(results), _REFERENCE),
        "shots.csv": csv_text(_shot_rows(results), _SHOTS),
        "drift.csv": csv_text(_drift_rows(tracks), _DRIFT),
        "at_marks.csv": csv_text(_mark_rows(results), _AT_MARKS),
        "comparisons.csv": csv_text(_comparison_rows(results), _COMPARISONS),
        "landings.csv": csv_text(_landing_rows(tracks), _LANDINGS),
    }


def _number_cells(quantity: str, number: UncertainNumber, unit: str) -> Row:
    low, high = (None, None) if number.ci95 is None else number.ci95
    return {
        "quantity": quantity,
        "value": number.value,
        "ci95_low": low,
        "ci95_high": high,
        "n": number.n,
        "unit": unit,
        "method": number.method,
        "why": number.why,
    }


def _groups(results: Results) -> Iterator[tuple[str, str, EstimatorResult | PooledEstimator]]:
    for session in results.sessions:
        for name, result in session.estimators.items():
            yield session.name, name, result
    if results.pooled is not None:
        for name, pooled in results.pooled.estimators.items():
            yield ALL_SESSIONS, name, pooled


def _summary_rows(results: Results) -> Iterator[Row]:
    for session, estimator, result in _groups(results):
        start = {"session": session, "estimator": estimator}
        for named in estimator_numbers(session, estimator, result):
            yield start | _number_cells(f"{named.section}.{named.field}", named.number, named.quantity.unit)
        for cells in _plain_rows(result):
            yield start | cells
        for section, why in result.why.items():
            yield start | {"quantity": section, "why": why}


def _plain_rows(result: EstimatorResult | PooledEstimator) -> Iterator[Row]:
    """Yield counts, coverage and consistency bands: what has no interval because it is not an estimate."""
    for section, errors in (("marks", result.marks), ("truth", result.truth)):
        if errors is not None:
            yield {"quantity": f"{section}.count", "value": errors.count, "unit": "1", "method": "count"}
            yield {"quantity": f"{section}.coverage", "value": errors.coverage, "unit": "1", "method": "share"}
    if result.consistency is not None:
        yield from _consistency_rows(result.consistency)
    if not isinstance(result, EstimatorResult):
        return
    for group in [] if result.drift is None else result.drift.confounded:
        yield {"quantity": "drift.confounded", "method": "terms that never varied apart", "why": " and ".join(group)}
    if result.corrections is not None:
        fixes = result.corrections
        counts = {name: getattr(fixes, name) for name in ("offered", "accepted")}
        counts |= {f"rejected.{rule}": count for rule, count in fixes.rejected.items()}
        counts |= {} if fixes.reacquired is None else {"reacquired": fixes.reacquired}
        counts |= {name: getattr(fixes, name) for name in ("helped", "hurt", "neutral", "undecided", "unreferenced")}
        for name, count in counts.items():
            why = None if count is not None else fixes.why.get(name, fixes.why.get("helped"))
            yield {"quantity": f"corrections.{name}", "value": count, "unit": "1", "method": "count", "why": why}
        longest = {"quantity": "corrections.longest_without_s", "value": fixes.longest_without_s}
        yield longest | {"unit": "s", "method": "longest time between accepted fixes"}


def _consistency_rows(consistency: Consistency | PooledConsistency) -> Iterator[Row]:
    bands = {"nees_band95": consistency.nees_band95}
    if isinstance(consistency, Consistency):
        bands["nis_band95"] = consistency.nis_band95
        for remark in consistency.remarks:
            yield _number_cells(f"consistency.remark.{remark.code}", remark.value, "1")
    for name, band in bands.items():
        low, high = (None, None) if band is None else band
        yield {
            "quantity": f"consistency.{name}",
            "ci95_low": low,
            "ci95_high": high,
            "unit": "1",
            "method": "where the mean of an honest filter lies, 95 %",
            "why": consistency.why.get(name),
        }


def _shot_rows(results: Results) -> Iterator[Row]:
    for session, estimator, result in _groups(results):
        for band in result.shots:
            yield from _band_rows({"session": session, "estimator": estimator}, band)


def _band_rows(start: Row, band: BandShots) -> Iterator[Row]:
    place = {column: getattr(band, column) for column in _BAND}
    for field, number in shot_numbers(band):
        yield start | place | _number_cells(field, number, QUANTITIES[field].unit)
    for field, number in seen_numbers(band):
        yield start | place | {"basis": "measured"} | _number_cells(f"seen.{field}", number, QUANTITIES[field].unit)


def _over_all(results: Results) -> str:
    """Return what to call all sessions together: the only one's name if there is one."""
    return results.sessions[0].name if len(results.sessions) == 1 else ALL_SESSIONS


def _comparison_rows(results: Results) -> Iterator[Row]:
    for record in results.comparisons:
        yield {
            "session": record.session or _over_all(results),
            "estimator": record.estimator,
            "against": record.against,
            **_number_cells(f"difference.{record.measure}", record.difference, QUANTITIES[record.measure].unit),
            "sessions": record.sessions,
            "parts": record.parts,
            "verdict": str(record.verdict),
        }


def _mark_rows(results: Results) -> Iterator[Row]:
    for found in results.at_marks:
        start = {"session": _over_all(results)} | {column: getattr(found, column) for column in _AT_MARKS[1:5]}
        yield start | {"quantity": "position_std_m", "value": found.position_std_m, "unit": "m", "method": "surveyed"}
        for field, number in fields_of(found):
            yield start | _number_cells(field, number, QUANTITIES[field].unit)


def _correction_rows(tracks: Tracks) -> Iterator[Row]:
    for session in tracks.sessions:
        for name, track in session.estimators.items():
            fixes = track.corrections
            if fixes is None:
                continue
            for cells in zip(*(getattr(fixes, column) for column in _CORRECTIONS[2:]), strict=True):
                yield dict(zip(_CORRECTIONS, (session.name, name, *cells), strict=True))


def _aim_rows(tracks: Tracks) -> Iterator[Row]:
    for session in tracks.sessions:
        for name, track in session.estimators.items():
            fixes = track.corrections
            if fixes is None:
                continue
            for goal, aim in fixes.aims.items():
                for cells in zip(fixes.time_s, fixes.tag, fixes.row, aim.verdict, aim.kick_rad, strict=True):
                    yield dict(zip(_AIM, (session.name, name, goal, *cells), strict=True))


def _reference_rows(results: Results) -> Iterator[Row]:
    for session in results.sessions:
        for interval in [] if session.reference is None else session.reference.intervals:
            yield {"session": session.name, **dict(interval)}


def _drift_rows(tracks: Tracks) -> Iterator[Row]:
    for session in tracks.sessions:
        for name, track in session.estimators.items():
            for point in track.drift:
                yield {"session": session.name, "estimator": name, **dict(point)}


def _landing_rows(tracks: Tracks) -> Iterator[Row]:
    for session in tracks.sessions:
        for name, track in session.estimators.items():
            for point in track.landings:
                yield {"session": session.name, "estimator": name, **dict(point)}
