"""The parts of slip.json, from what was found in each stretch."""

from collections.abc import Iterable, Sequence
from functools import partial
from itertools import pairwise

import numpy as np

from locbench.arrays import FloatArray, IntArray
from locbench.config import FieldConfig
from locbench.config.robot import SensorKind
from locbench.jobs.drawing import draw_field
from locbench.jobs.slip_stretches import StudiedStretch
from locbench.odometry import SensorLayout
from locbench.results import (
    CheckedSensor,
    Estimated,
    EventCandidate,
    MapPoint,
    MissCaused,
    ParityPoint,
    ParitySeries,
    Redundancy,
    SlipCircumstances,
    SlipEvent,
    SlipMap,
)
from locbench.session import Session
from locbench.slip.alarms import limits
from locbench.slip.checkable import WHILE_S, WHILE_SPEED_M_S, Checkable, helpful_pod, parting_pod
from locbench.slip.circumstances import circumstances
from locbench.slip.cost import Cost, cost_of
from locbench.slip.events import Candidate
from locbench.slip.steps import WINDOWS, Steps, projected
from locbench.slip.study import Event

__all__ = ["another_layout", "event_record", "parity_series", "redundancy_record", "slip_map"]

_MAP_POINTS, _SERIES_POINTS = 1200, 600
_NO_PODS = "the logs do not hold the counters of single pods, so nothing contradicts anything"
_NO_REDUNDANCY = "pods and gyro measure three motions and no more, so nothing contradicts anything"


def redundancy_record(checks: Checkable) -> Redundancy:
    """Return what the sensors of a layout check."""
    layout = checks.layout
    why = None
    if checks.redundancy == 0:
        why = _NO_REDUNDANCY if len(layout) else _NO_PODS
    return Redundancy(
        count=checks.redundancy,
        while_s=WHILE_S,
        speed_m_s=WHILE_SPEED_M_S,
        sensors={
            name: CheckedSensor(
                kind=layout.kind[index],
                redundancy_number=float(np.clip(checks.reliability.redundancy[index], 0.0, 1.0)),
                detectable=bool(checks.detectable[index]),
                least=_amount(layout, index, float(checks.least[index]), None) if checks.detectable[index] else None,
            )
            for index, name in enumerate(layout.name)
        },
        why=why,
    )


def _amount(layout: SensorLayout, sensor: int, value: float, std: float | None) -> Estimated:
    return Estimated(value=value, std=std, unit="rad" if layout.turns[sensor] else "m")


def another_layout(checks: Checkable, false_alarm: float) -> str | None:
    """Return in a sentence which further pods would check what goes unchecked; None where there are none."""
    layout = checks.layout
    said = []
    for index, name in enumerate(layout.name):
        wanted = layout.kind[index] is SensorKind.POD and not checks.detectable[index]
        if wanted and helpful_pod(checks, index, false_alarm):
            said.append(f"a second pod that rolls as {name} does, 100 mm beside it, would show a slip of {name}")
    for group in checks.sets:
        parted = parting_pod(checks, group, false_alarm) if len(group) > 1 else None
        if parted is not None:
            first, second = (layout.name[one] for one in parted)
            others = _listed([layout.name[one] for one in group])
            said.append(f"a further pod midway between {first} and {second} would tell {others} apart")
    if not said:
        return None
    text = "; ".join(said)
    return f"{text[0].upper()}{text[1:]}."


def _listed(names: Sequence[str]) -> str:
    return names[0] if len(names) == 1 else f"{', '.join(names[:-1])} and {names[-1]}"


def event_record(event: Event, studied: StudiedStretch, session: Session, name: str) -> SlipEvent:
    """Return what is written of an event of a session that is called `name`."""
    layout = studied.sensors.layout
    before = studied.before(event)
    cost = partial(cost_of, studied.log, session.robot, layout, before=before)
    details = []
    for index, one in enumerate(event.candidates):
        span_s = event.span_of(index)
        sense = _sense(studied, one, span_s)
        details.append(_candidate(one, layout, cost(one.sensor, one.lacks, span_s=span_s), sense, session.field))
    likeliest = details[0]
    did = circumstances(studied.motion, event.first_s, event.last_s)
    turns = layout.turns[event.candidates[0].sensor]
    return SlipEvent(
        session=name,
        start_s=event.first_s,
        end_s=event.last_s,
        found_s=event.found_s,
        fault=event.fault,
        channel=event.channel,
        decided_by=event.decided_by,
        candidates=[one.sensor for one in details],
        alone=event.alone,
        slip_m=None if turns else likeliest.lost.value,
        slip_std_m=None if turns else likeliest.lost.std,
        position_error_m=likeliest.position_error_m,
        heading_error_rad=likeliest.heading_error_rad,
        confidence=event.confidence,
        details=details,
        circumstances=SlipCircumstances(
            speed_m_s=did.speed_m_s,
            turn_rate_rad_s=did.turn_rate_rad_s,
            acceleration_m_s2=did.acceleration_m_s2,
            kinds=list(did.doing),
        ),
        x_m=float(before[0]),
        y_m=float(before[1]),
    )


def _sense(studied: StudiedStretch, one: Candidate, span_s: tuple[float, float]) -> float:
    """Return 1 if a sensor would have counted up meanwhile, -1 if down: travel lost is less of either.

    A wheel that stood still, or was turned round, is judged by what it lacks.
    """
    times = studied.sensors.time_s
    first, last = np.searchsorted(times, span_s)
    last = min(int(last), len(times) - 1)
    read = float(studied.sensors.reading[last, one.sensor] - studied.sensors.reading[first, one.sensor])
    return 1.0 if read + one.lacks >= 0.0 else -1.0


def _candidate(one: Candidate, layout: SensorLayout, cost: Cost, sense: float, field: FieldConfig) -> EventCandidate:
    # all costs are in proportion to the travel missed, to first order
    share = one.std / abs(one.lacks) if one.lacks else 0.0
    goals = [(goal.name, np.array([goal.x, goal.y])) for goal in field.goals]
    return EventCandidate(
        sensor=layout.name[one.sensor],
        kind=layout.kind[one.sensor],
        lost=_amount(layout, one.sensor, sense * one.lacks, one.std),
        probability=one.probability,
        position_error_m=cost.position_m,
        position_error_std_m=share * cost.position_m,
        heading_error_rad=cost.heading_rad,
        heading_error_std_rad=share * abs(cost.heading_rad),
        misses=[
            MissCaused(
                goal=name,
                range_m=float(np.linalg.norm(place - cost.true[:2])),
                miss_m=cost.miss_m(place),
                std_m=share * cost.miss_m(place),
            )
            for name, place in goals
        ],
    )


def parity_series(stretches: Iterable[StudiedStretch], per_minute: float) -> list[ParitySeries]:
    """Return the contradictions over time, over the limit: of all sensors, and along each set where there are several.

    At each time the greatest of all window lengths counts; thinned to the greatest of each while.
    """
    parts: dict[tuple[str, ...], list[tuple[FloatArray, FloatArray]]] = {}
    for studied in stretches:
        if studied.steps is None:
            continue
        checks = studied.steps.checks
        limit = limits(per_minute, checks.redundancy, len(checks.sets)).squared
        everything = tuple(checks.layout.name[one] for one in np.flatnonzero(checks.detectable))
        parts.setdefault(everything, []).append(_contradiction(studied.steps, None, limit))
        for group in checks.sets if len(checks.sets) > 1 else ():
            names = tuple(checks.layout.name[one] for one in group)
            parts.setdefault(names, []).append(_contradiction(studied.steps, group[0], limit))
    series = []
    for names, pieces in parts.items():
        time_s = np.concatenate([piece[0] for piece in pieces])
        ratio = np.concatenate([piece[1] for piece in pieces])
        rows = _greatest_of_whiles(ratio, _SERIES_POINTS)
        points = [ParityPoint(time_s=float(time_s[row]), ratio=round(float(ratio[row]), 5)) for row in rows]
        series.append(ParitySeries(sensors=list(names), points=points))
    return series


def _contradiction(steps: Steps, sensor: int | None, limit: float) -> tuple[FloatArray, FloatArray]:
    """Return the ends of steps (M,) and the greatest chi-square of the windows that end there, over the limit."""
    greatest = np.zeros(len(steps))
    for length in WINDOWS:
        windows = steps.windows(length)
        size = windows.squared
        if sensor is not None:
            size = projected(windows.residual, windows.covariance, steps.directions[:, sensor]) ** 2
        np.maximum.at(greatest, windows.end, size)
    return steps.time_s[1:], greatest / limit


def _greatest_of_whiles(values: FloatArray, most: int) -> IntArray:
    """Return the rows of the greatest value of each of at most that many equal parts."""
    bounds = np.linspace(0, len(values), min(most, len(values)) + 1).round().astype(np.int64)
    return np.array([first + int(np.argmax(values[first:last])) for first, last in pairwise(bounds)], dtype=np.int64)


def slip_map(stretches: Sequence[StudiedStretch], field: FieldConfig) -> SlipMap:
    """Return the floor and the path that was believed, its stretches apart."""
    path: list[MapPoint] = []
    for studied in stretches:
        if path:
            path.append(MapPoint(x_m=None, y_m=None))
        motion = studied.motion
        count = max(2, min(_MAP_POINTS // len(stretches), len(motion.time_s)))
        poses = studied.believed.believed(np.linspace(float(motion.time_s[0]), float(motion.time_s[-1]), count))
        path += [MapPoint(x_m=round(float(x), 4), y_m=round(float(y), 4)) for x, y in poses[:, :2]]
    return SlipMap(field=draw_field(field), path=path)
