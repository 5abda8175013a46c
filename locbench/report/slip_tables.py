"""Tables of slips: for the screen, and as CSV in SI units."""

import csv
import io
from collections.abc import Iterable, Mapping, Sequence

from locbench.config.robot import SensorKind
from locbench.report.fitted_numbers import decimals_for, fitted_text
from locbench.report.numbers import MISSING
from locbench.report.slip_words import doing_words, nearest_miss, what_happened
from locbench.report.text_tables import Cell, Column, TextTable, count_cell, label_cell
from locbench.results import CheckedSensor, Estimated, EventCandidate, PodSlip, SlipEvent, SlipRecord

__all__ = ["candidate_table", "event_numbers", "event_table", "pod_table", "redundancy_table", "slip_csv"]

# what is less sure than this is said to be
_SURE = 0.99
_DEGREE = 0.017453292519943295
_VALUE = "value\N{NO-BREAK SPACE}±\N{NO-BREAK SPACE}std"
_KIND = {SensorKind.POD: "pod", SensorKind.DRIVE_WHEEL: "driven wheel", SensorKind.GYRO: "gyro"}


def event_numbers(events: Sequence[SlipEvent]) -> dict[int, int]:
    """Return the number of each event, by its identity: in order of time, the same in tables and pictures."""
    return {id(event): number for number, event in enumerate(events, start=1)}


def redundancy_table(record: SlipRecord) -> TextTable:
    """Return how well each sensor is checked by the others."""
    redundancy = record.redundancy
    alike = {name: [other for other in group if other != name] for group in record.isolable_sets for name in group}
    rows = tuple(_sensor_row(name, one, alike.get(name, [])) for name, one in redundancy.sensors.items())
    columns = (
        Column("sensor", align="left"),
        Column("", align="left"),
        Column("shows", "share"),
        Column("least slip", "found in 4 of 5"),
        Column("looks like", align="left"),
    )
    note = (
        "Shows: share of its error that the others contradict. Least slip within "
        f"{redundancy.while_s:g} s of driving at {redundancy.speed_m_s:g} m/s, at {record.false_alarms_per_minute:g} "
        "false alarms a minute."
    )
    return TextTable("What checks what", columns, rows if redundancy.why is None else (), note=note)


def _sensor_row(name: str, one: CheckedSensor, alike: Sequence[str]) -> tuple[Cell, ...]:
    least = Cell(MISSING, "nothing contradicts it") if one.least is None else _rounded(one.least)
    others = ", ".join(alike) if one.detectable else "nothing shows it"
    return (
        label_cell(name),
        Cell(_KIND[one.kind]),
        Cell(f"{one.redundancy_number:.2f}"),
        least,
        label_cell(others),
    )


def _rounded(one: Estimated) -> Cell:
    """Return a limit that follows from stated noise: two digits are worth reading."""
    return Cell(f"{one.value / 0.001:.2g} mm" if one.unit == "m" else f"{one.value / _DEGREE:.2g} deg")


def event_table(title: str, events: Sequence[SlipEvent], numbers: Mapping[int, int], origin_s: float) -> TextTable:
    """Return events in order of time, each with its number, times after `origin_s`."""
    rows = tuple(_event_row(event, numbers[id(event)], origin_s) for event in events)
    columns = (
        Column("no."),
        Column("time", "s"),
        Column("who", align="left"),
        Column("lost", _VALUE),
        Column("pose off", "mm"),
        Column("heading off", "deg"),
        Column("miss", "mm"),
        Column("told by", align="left"),
        Column("meanwhile", align="left"),
    )
    note = (
        "Errors are what this event alone added, by the first one named; miss: at the nearest goal, right after it. At "
        "once: no one sensor explains it, as in a shove."
    )
    return TextTable(title, columns, rows, note=note)


def _event_row(event: SlipEvent, number: int, origin_s: float) -> tuple[Cell, ...]:
    likeliest = event.details[0]
    told = str(event.channel) if event.decided_by in (None, event.channel) else f"{event.channel}, {event.decided_by}"
    return (
        Cell(str(number)),
        Cell(f"{event.start_s - origin_s:.1f}–{event.end_s - origin_s:.1f}"),
        label_cell(what_happened(event)),
        _lost_cell(likeliest),
        *_cost_cells(likeliest),
        Cell(told if event.confidence >= _SURE else f"{told} ({100.0 * event.confidence:.0f} %)"),
        Cell(doing_words(event.circumstances)),
    )


def _lost_cell(candidate: EventCandidate) -> Cell:
    return Cell(fitted_text(candidate.lost.value, candidate.lost.std, candidate.lost.unit))


def _cost_cells(candidate: EventCandidate) -> list[Cell]:
    miss = nearest_miss(candidate)
    no_goal = Cell(MISSING, "the field file has no goal")
    return [
        _with_std(candidate.position_error_m / 0.001, candidate.position_error_std_m / 0.001),
        _with_std(candidate.heading_error_rad / _DEGREE, candidate.heading_error_std_rad / _DEGREE),
        no_goal if miss is None else _with_std(miss.miss_m / 0.001, miss.std_m / 0.001),
    ]


def _with_std(value: float, std: float) -> Cell:
    if std <= 0.0:
        return Cell(f"{value:z.1f}")
    # one digit of the uncertainty is enough in a table
    decimals = max(decimals_for(std) - 1, 0)
    return Cell(f"{value:z.{decimals}f}±{std:.{decimals}f}")


def candidate_table(events: Sequence[SlipEvent], numbers: Mapping[int, int]) -> TextTable:
    """Return what events with several candidates were, if it was each of them."""
    rows = tuple(
        (
            Cell(str(numbers[id(event)])),
            label_cell(one.sensor),
            _lost_cell(one),
            *_cost_cells(one),
            Cell(f"{100.0 * one.probability:.0f}"),
        )
        for event in events
        if len(event.details) > 1
        for one in event.details
    )
    columns = (
        Column("event"),
        Column("if it was", align="left"),
        Column("lost", _VALUE),
        Column("pose off", "mm"),
        Column("heading off", "deg"),
        Column("miss", "mm"),
        Column("probability", "%"),
    )
    note = (
        "A negative loss is too much travel or turn: a wheel that rolls freely seldom counts too much. Probability: "
        "that it was this one (of several at once: that it took part), all equally likely before the log."
    )
    return TextTable("Candidates, one by one", columns, rows, note=note)


def pod_table(record: SlipRecord) -> TextTable:
    """Return what each pod lost over all sessions."""
    rows = tuple(_pod_row(name, one) for name, one in record.pods.items())
    columns = (
        Column("pod", align="left"),
        Column("rolled", "m"),
        Column("events", "surely/possibly"),
        Column("surely lost", "mm"),
        Column("per metre", "surely, mm"),
        Column("per metre", "possibly, mm"),
        Column("time", "surely, %"),
        Column("time", "possibly, %"),
    )
    note = "Surely: it alone explains the event. Possibly: every event of which it may have been the cause."
    return TextTable("Per pod, all sessions", columns, rows, note=note)


def _pod_row(name: str, one: PodSlip) -> tuple[Cell, ...]:
    return (
        label_cell(name),
        Cell(f"{one.travel.value:.1f}"),
        Cell(f"{one.events}/{one.possible_events}"),
        _number(one.lost, one.why),
        _number(one.per_metre, one.why),
        _number(one.possible_per_metre, one.why),
        _share(one.share_of_time, one.why),
        _share(one.possible_share_of_time, one.why),
    )


def _number(one: Estimated | None, why: str | None) -> Cell:
    return Cell(MISSING, why) if one is None else _with_std(one.value / 0.001, (one.std or 0.0) / 0.001)


def _share(value: float | None, why: str | None) -> Cell:
    return count_cell(None, why) if value is None else Cell(f"{100.0 * value:.2f}")


def slip_csv(record: SlipRecord) -> dict[str, str]:
    """Return name and text of events.csv, pods.csv and redundancy.csv, in SI units and radians."""
    return {"events.csv": _events_csv(record), "pods.csv": _pods_csv(record), "redundancy.csv": _redundancy_csv(record)}


def _events_csv(record: SlipRecord) -> str:
    numbers = event_numbers(record.events)
    heading = ["event", "session", "start_s", "end_s", "found_s", "fault", "channel", "decided_by", "alone"]
    heading += ["confidence", "candidate", "probability", "lost", "lost_std", "unit", "position_error_m"]
    heading += ["position_error_std_m", "heading_error_rad", "heading_error_std_rad", "speed_m_s", "turn_rate_rad_s"]
    heading += ["acceleration_m_s2", "meanwhile", "x_m", "y_m", "goal", "range_m", "miss_m", "miss_std_m"]
    rows = [heading]
    for event in record.events:
        did = event.circumstances
        for one in event.details:
            miss = nearest_miss(one)
            at_goal = [miss.goal, miss.range_m, miss.miss_m, miss.std_m] if miss is not None else [""] * 4
            values = [numbers[id(event)], event.session, event.start_s, event.end_s, event.found_s, event.fault]
            values += [event.channel, event.decided_by or "", event.alone, event.confidence, one.sensor]
            values += [one.probability, one.lost.value, one.lost.std, one.lost.unit, one.position_error_m]
            values += [one.position_error_std_m, one.heading_error_rad, one.heading_error_std_rad, did.speed_m_s]
            values += [did.turn_rate_rad_s, did.acceleration_m_s2, " ".join(did.kinds), event.x_m, event.y_m, *at_goal]
            rows.append([str(value) for value in values])
    return _csv(rows)


def _pods_csv(record: SlipRecord) -> str:
    heading = ["pod", "kind", "travel_m", "events", "possible_events", "lost_m", "lost_std_m", "per_metre"]
    heading += ["per_metre_std", "possible_per_metre", "possible_per_metre_std", "share_of_time"]
    rows = [[*heading, "possible_share_of_time", "why"]]
    for name, one in record.pods.items():
        values = [name, one.kind, one.travel.value, one.events, one.possible_events, *_both(one.lost)]
        values += [*_both(one.per_metre), *_both(one.possible_per_metre), one.share_of_time]
        values += [one.possible_share_of_time, one.why]
        rows.append(["" if value is None else str(value) for value in values])
    return _csv(rows)


def _both(one: Estimated | None) -> list[float | None]:
    return [None, None] if one is None else [one.value, one.std]


def _redundancy_csv(record: SlipRecord) -> str:
    rows = [["sensor", "kind", "redundancy_number", "detectable", "least", "unit", "alike"]]
    for name, one in record.redundancy.sensors.items():
        group = next((group for group in record.isolable_sets if name in group), [])
        values = [name, one.kind, one.redundancy_number, one.detectable]
        values += ["", ""] if one.least is None else [one.least.value, one.least.unit]
        rows.append([*(str(value) for value in values), " ".join(other for other in group if other != name)])
    return _csv(rows)


def _csv(rows: Iterable[Sequence[str]]) -> str:
    text = io.StringIO()
    csv.writer(text, lineterminator="\n").writerows(rows)
    return text.getvalue()
