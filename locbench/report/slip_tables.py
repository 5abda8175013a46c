"""Tables of slips: for the screen, and as CSV in SI units."""

from collections.abc import Iterator, Mapping, Sequence

from locbench.config.robot import SensorKind
from locbench.report.csv_texts import Row, csv_text
from locbench.report.fitted_numbers import SHOWN, fitted_text, with_std
from locbench.report.numbers import MISSING
from locbench.report.slip_words import doing_words, nearest_miss, what_happened
from locbench.report.text_tables import Cell, Column, TextTable, count_cell, label_cell
from locbench.results import CheckedSensor, Estimated, EventCandidate, MissCaused, PodSlip, SlipEvent, SlipRecord

__all__ = ["candidate_table", "event_numbers", "event_table", "pod_table", "redundancy_table", "slip_csv"]

# what is less sure than this is said to be
_SURE = 0.99
_MM, _DEGREE = SHOWN["m"][1], SHOWN["rad"][1]
_VALUE = "value\N{NO-BREAK SPACE}±\N{NO-BREAK SPACE}std"
_EVENTS = (
    *("event", "session", "start_s", "end_s", "found_s", "fault", "channel", "decided_by", "alone", "confidence"),
    *("candidate", "probability", "lost", "lost_std", "unit", "position_error_m", "position_error_std_m"),
    *("heading_error_rad", "heading_error_std_rad", "speed_m_s", "turn_rate_rad_s", "acceleration_m_s2", "meanwhile"),
    *("x_m", "y_m", "goal", "range_m", "miss_m", "miss_std_m"),
)
_PODS = (
    *("pod", "kind", "travel_m", "events", "possible_events", "lost_m", "lost_std_m", "per_metre", "per_metre_std"),
    *("possible_per_metre", "possible_per_metre_std", "share_of_time", "possible_share_of_time", "why"),
)
_SENSORS = ("sensor", "kind", "redundancy_number", "detectable", "least", "unit", "alike")
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
    return Cell(f"{one.value / _MM:.2g} mm" if one.unit == "m" else f"{one.value / _DEGREE:.2g} deg")


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
        _with_std(candidate.position_error_m / _MM, candidate.position_error_std_m / _MM),
        _with_std(candidate.heading_error_rad / _DEGREE, candidate.heading_error_std_rad / _DEGREE),
        no_goal if miss is None else _with_std(miss.miss_m / _MM, miss.std_m / _MM),
    ]


def _with_std(value: float, std: float) -> Cell:
    return Cell(with_std(value, std) if std > 0.0 else f"{value:z.1f}")


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
    return Cell(MISSING, why) if one is None else _with_std(one.value / _MM, (one.std or 0.0) / _MM)


def _share(value: float | None, why: str | None) -> Cell:
    return count_cell(None, why) if value is None else Cell(f"{100.0 * value:.2f}")


def slip_csv(record: SlipRecord) -> dict[str, str]:
    """Return name and text of events.csv, pods.csv and redundancy.csv, in SI units and radians."""
    return {
        "events.csv": csv_text(_event_rows(record), _EVENTS),
        "pods.csv": csv_text(_pod_rows(record), _PODS),
        "redundancy.csv": csv_text(_sensor_rows(record), _SENSORS),
    }


def _event_rows(record: SlipRecord) -> Iterator[Row]:
    """Yield a row per candidate of every event; its keys are the columns."""
    numbers = event_numbers(record.events)
    for event in record.events:
        did = event.circumstances
        for one in event.details:
            miss = nearest_miss(one)
            yield {
                "event": numbers[id(event)],
                "session": event.session,
                "start_s": event.start_s,
                "end_s": event.end_s,
                "found_s": event.found_s,
                "fault": event.fault,
                "channel": event.channel,
                "decided_by": event.decided_by,
                "alone": event.alone,
                "confidence": event.confidence,
                "candidate": one.sensor,
                "probability": one.probability,
                "lost": one.lost.value,
                "lost_std": one.lost.std,
                "unit": one.lost.unit,
                "position_error_m": one.position_error_m,
                "position_error_std_m": one.position_error_std_m,
                "heading_error_rad": one.heading_error_rad,
                "heading_error_std_rad": one.heading_error_std_rad,
                "speed_m_s": did.speed_m_s,
                "turn_rate_rad_s": did.turn_rate_rad_s,
                "acceleration_m_s2": did.acceleration_m_s2,
                "meanwhile": " ".join(did.kinds),
                "x_m": event.x_m,
                "y_m": event.y_m,
                **({} if miss is None else _miss_cells(miss)),
            }


def _miss_cells(miss: MissCaused) -> Row:
    return {"goal": miss.goal, "range_m": miss.range_m, "miss_m": miss.miss_m, "miss_std_m": miss.std_m}


def _pod_rows(record: SlipRecord) -> Iterator[Row]:
    for name, one in record.pods.items():
        yield {
            "pod": name,
            "kind": one.kind,
            "travel_m": one.travel.value,
            "events": one.events,
            "possible_events": one.possible_events,
            **_both("lost", one.lost, "_m"),
            **_both("per_metre", one.per_metre),
            **_both("possible_per_metre", one.possible_per_metre),
            "share_of_time": one.share_of_time,
            "possible_share_of_time": one.possible_share_of_time,
            "why": one.why,
        }


def _both(name: str, one: Estimated | None, unit: str = "") -> Row:
    if one is None:
        return {}
    return {f"{name}{unit}": one.value, f"{name}_std{unit}": one.std}


def _sensor_rows(record: SlipRecord) -> Iterator[Row]:
    for name, one in record.redundancy.sensors.items():
        group = next((group for group in record.isolable_sets if name in group), [])
        yield {
            "sensor": name,
            "kind": one.kind,
            "redundancy_number": one.redundancy_number,
            "detectable": one.detectable,
            "least": None if one.least is None else one.least.value,
            "unit": None if one.least is None else one.least.unit,
            "alike": " ".join(other for other in group if other != name),
        }
