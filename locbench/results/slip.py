"""slip.json: which sensors of the odometry contradict each other, when, by how much, and what that cost."""

from typing import Annotated, Literal

from pydantic import Field

from locbench.config.robot import SensorKind
from locbench.results.camera import Estimated
from locbench.results.models import Record
from locbench.results.tracks import FieldDrawing
from locbench.slip.kinds import SlipChannel, SlipFault

__all__ = [
    "CheckedSensor",
    "EventCandidate",
    "FactorRecord",
    "MapPoint",
    "MissCaused",
    "ParityPoint",
    "ParitySeries",
    "PodSlip",
    "Redundancy",
    "SlipCircumstances",
    "SlipEvent",
    "SlipMap",
    "SlipRecord",
    "SlipSession",
]


class CheckedSensor(Record):
    """What the other sensors can tell of one.

    `redundancy_number` is the share of its error that shows in the parity (Baarda 1968), from 0 (nothing contradicts
    it) to 1. `least` is the smallest slip (or turn) that is found in four of five cases, None where it is not
    `detectable`.
    """

    kind: SensorKind
    redundancy_number: float
    detectable: bool
    least: Estimated | None


class Redundancy(Record):
    """How many measurements are more than three motions need, and what that checks.

    `while_s` and `speed_m_s` say over which while and at which speed. `why` says why nothing can be checked.
    """

    count: int
    while_s: float
    speed_m_s: float
    sensors: dict[str, CheckedSensor]
    why: str | None


class MissCaused(Record):
    """How far beside a goal a shot lands for an event alone, fired right after it from where the robot stood."""

    goal: str
    range_m: float
    miss_m: float
    std_m: float


class EventCandidate(Record):
    """One sensor that may have caused an event, and what the event is if it did.

    `lost` is the travel (of a gyro the turn) that it did not count: negative, if it counted too much. `probability` is
    the share of belief that it was this one, all candidates equally likely beforehand; where several slipped at once,
    that it took part. `position_error_m` and `heading_error_rad` are by how much the dead-reckoned pose was wrong after
    the event for this alone.
    """

    sensor: str
    kind: SensorKind
    lost: Estimated
    probability: float
    position_error_m: float
    position_error_std_m: float
    heading_error_rad: float
    heading_error_std_rad: float
    misses: list[MissCaused]


class SlipCircumstances(Record):
    """What the robot did around an event: means over it, and the greatest change of velocity within.

    `spinning` turns on the spot, `jerk` speeds up or brakes hard, `contact` changes its velocity more than the floor
    could make it.
    """

    speed_m_s: float
    turn_rate_rad_s: float
    acceleration_m_s2: float
    kinds: list[Literal["standing", "driving", "spinning", "jerk", "contact"]]


class SlipEvent(Record):
    """One event; errors and `slip_m` are those of the likeliest candidate, a gyro's `slip_m` is None.

    `found_s` is when a program that watched would have known. `candidates` cannot be told apart, the likeliest first.
    `alone` is whether one of them alone explains it; if not, several slipped at once, as in a shove. `confidence` that
    it is no noise. `decided_by` says which channel narrowed the candidates down, None if none did.
    Position (x, y) is where the robot believed it was, on the field where it knew.
    """

    session: str
    start_s: float
    end_s: float
    found_s: float
    fault: SlipFault
    channel: SlipChannel
    decided_by: SlipChannel | None
    candidates: list[str]
    alone: bool
    slip_m: float | None
    slip_std_m: float | None
    position_error_m: float
    heading_error_rad: float
    confidence: float
    details: list[EventCandidate]
    circumstances: SlipCircumstances
    x_m: float
    y_m: float


class PodSlip(Record):
    """One pod over all sessions: what it surely lost, and what it may have lost.

    `per_metre` is lost travel over travel of events whose only candidate it is; `possible_per_metre` counts every
    event in which it is one of several. `share_of_time` is that of the logs inside such events. None, with a reason in
    `why`, where nothing checks the pod.
    """

    kind: SensorKind
    travel: Estimated
    events: int
    possible_events: int
    lost: Estimated | None
    per_metre: Estimated | None
    possible_per_metre: Estimated | None
    share_of_time: float | None
    possible_share_of_time: float | None
    why: str | None


class FactorRecord(Record):
    """By how much more than its `[motion_noise]` odometry errs while it is doubted.

    `factor` is the RMS of the pose errors of the events found over what the motion noise says of the same stretches,
    rounded to what a fusion file takes (never below 1). `doubted_s` is how long the logs were doubted, `met` how many
    of the events lie inside. None, with a reason in `why`, where there were no events.
    """

    factor: float | None
    events: int
    met: int
    doubted_s: float
    why: str | None


class ParityPoint(Record):
    """The parity chi-square over its limit, at one time: the greatest of the while around it."""

    time_s: float
    ratio: float


class ParitySeries(Record):
    """One line of the parity timeline: a set of sensors that look alike, and how far each while is off, over its limit.

    Above 1 is an alarm.
    """

    sensors: list[str]
    points: list[ParityPoint]


class MapPoint(Record):
    """A place of the path as dead reckoning (or the filter) believed it; a path's break is a point of NaN (null)."""

    x_m: float | None
    y_m: float | None


class SlipMap(Record):
    """The floor and the believed path of a session, thinned, under the events."""

    field: FieldDrawing
    path: list[MapPoint]


class SlipSession(Record):
    """What one session was judged by; `alarms_expected` is how many the false-alarm rate lets through by chance.

    `channels` are those that could say anything; `why` says of the others why not. `gyro_drift` is the turn that
    the gyro drifts by in a minute, as the pods tell it, kept apart from slips.
    """

    name: str
    evidence: Literal["A", "B", "C", "D"]
    start_s: float
    duration_s: float
    path_length_m: float
    turns_absolute: float
    events: int
    alarms_expected: float
    channels: list[SlipChannel]
    why: dict[SlipChannel, str]
    gyro_drift: Estimated | None
    parity: list[ParitySeries]
    map: SlipMap


class SlipRecord(Record):
    """The whole of slip.json.

    `isolable_sets` are the sensors whose faults look alike, those told apart from all others alone. `undetectable` are
    the sensors that nothing contradicts. `remarks` are for the reader.
    """

    schema_: Annotated[Literal[1], Field(alias="schema")] = 1
    locbench: str
    command: Literal["slip"] = "slip"
    units: Literal["SI"] = "SI"
    robot: str
    false_alarms_per_minute: float
    sessions: list[SlipSession]
    redundancy: Redundancy
    detectable: list[str]
    undetectable: list[str]
    isolable_sets: list[list[str]]
    events: list[SlipEvent]
    pods: dict[str, PodSlip]
    doubted_factor: FactorRecord
    another_layout: str | None
    remarks: list[str]
