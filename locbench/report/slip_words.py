"""Slips in words: the answer, what can be told at all, and what an event was."""

from collections.abc import Sequence

from locbench.config.robot import SensorKind
from locbench.report.fitted_numbers import fitted_text
from locbench.report.numbers import plain_text
from locbench.results import EventCandidate, MissCaused, SlipCircumstances, SlipEvent, SlipRecord, SlipSession
from locbench.slip.kinds import SlipChannel, SlipFault

__all__ = [
    "candidate_words",
    "checkable_words",
    "clock_origin",
    "doing_words",
    "event_words",
    "greatest_first",
    "nearest_miss",
    "session_words",
    "slip_headline",
    "what_happened",
]

# less turn than this is rounding; a clock beyond this counts from an epoch of its own
_SHOWN_RAD, _LONGEST_CLOCK_S = 1e-4, 1e5
_TOLD_BY = {
    SlipChannel.PARITY: "told by the other sensors",
    SlipChannel.TAGS: "told by tags",
    SlipChannel.MARKS: "told by marks",
    SlipChannel.COUNTER: "told by its counter",
}
_CHANNEL = {
    SlipChannel.PARITY: "sensors that contradict each other",
    SlipChannel.TAGS: "tags",
    SlipChannel.MARKS: "marks",
    SlipChannel.COUNTER: "the counters themselves",
}
_FAULT = {
    SlipFault.STUCK: "counter stuck",
    SlipFault.JUMP: "counter jumped",
    SlipFault.REVERSED: "counted backwards",
}


def listed(names: Sequence[str], last: str = "and") -> str:
    """Return names as a list in words."""
    shown = [plain_text(name) for name in names]
    return shown[0] if len(shown) == 1 else f"{', '.join(shown[:-1])} {last} {shown[-1]}"


def nearest_miss(candidate: EventCandidate) -> MissCaused | None:
    """Return the miss at the goal nearest to where the robot stood; None where the field has no goal."""
    return min(candidate.misses, key=lambda miss: miss.range_m, default=None)


def greatest_first(events: Sequence[SlipEvent]) -> list[SlipEvent]:
    """Return events, those first that cost most: by the worst miss, or pose error, of the likeliest candidate."""

    def cost(event: SlipEvent) -> float:
        return max([event.position_error_m, *(miss.miss_m for miss in event.details[0].misses)])

    return sorted(events, key=cost, reverse=True)


def candidate_words(candidate: EventCandidate) -> str:
    """Return a sensor and what it lost, such as "left lost 57.3 ± 2.9 mm"."""
    lost = candidate.lost
    amount = fitted_text(abs(lost.value), lost.std, lost.unit)
    name = plain_text(candidate.sensor)
    if candidate.kind is SensorKind.GYRO:
        return f"{name} missed a turn of {amount}" if lost.value >= 0.0 else f"{name} turned {amount} too far"
    return f"{name} lost {amount}" if lost.value >= 0.0 else f"{name} counted {amount} too much"


def what_happened(event: SlipEvent) -> str:
    """Return which sensors an event was of, and what failed if it was no slip."""
    names = [plain_text(name) for name in event.candidates]
    who = " or ".join(names) if event.alone else f"at once: {', '.join(names)}"
    return who if event.fault is SlipFault.SLIP else f"{who}: {_FAULT[event.fault]}"


def event_words(event: SlipEvent, origin_s: float = 0.0) -> str:
    """Return an event as a piece of a sentence: who, how much, when after `origin_s`, and what it cost."""
    likeliest = event.details[0]
    did = candidate_words(likeliest)
    if event.fault is not SlipFault.SLIP:
        did += f", {_FAULT[event.fault]}"
    when = f"at {event.start_s - origin_s:.1f} s"
    told = f", {_TOLD_BY[event.channel]}"
    if len(event.details) > 1 and event.alone:
        return f"{when} {listed(event.candidates, 'or')}{told}; if {did}, {_cost_words(likeliest)}"
    if len(event.details) > 1:
        did += f" with {listed(event.candidates[1:], 'or')} at the same time"
    return f"{when} {did}{told}: {_cost_words(likeliest)}"


def _cost_words(one: EventCandidate) -> str:
    off = fitted_text(one.position_error_m, one.position_error_std_m or None, "m")
    if abs(one.heading_error_rad) > _SHOWN_RAD:
        off += f" and {fitted_text(abs(one.heading_error_rad), one.heading_error_std_rad or None, 'rad')}"
    miss = nearest_miss(one)
    beside = (
        ""
        if miss is None
        else f", a shot at {plain_text(miss.goal)} by {fitted_text(miss.miss_m, miss.std_m or None, 'm')}"
    )
    return f"the pose was then off by {off}{beside}"


def clock_origin(session: SlipSession) -> float:
    """Return the time that is shown as 0: the clock's own zero, or the log's start where that was long ago."""
    return session.start_s if abs(session.start_s) + session.duration_s > _LONGEST_CLOCK_S else 0.0


def slip_headline(record: SlipRecord) -> str:
    """Return the answer in one or two sentences."""
    where = _sessions(record.sessions)
    if not any(session.channels for session in record.sessions):
        return (
            f"Nothing can tell of a slip in {where}: {plain_text(record.redundancy.why or 'no channel could judge')}."
        )
    if not record.events:
        return f"No slip found in {where}.{_unchecked(record)}"
    count = f"{len(record.events)} event{'' if len(record.events) == 1 else 's'} in {where}"
    worst = greatest_first(record.events)[0]
    which = "" if len(record.events) == 1 else "; the one that cost most"
    session = f" of {plain_text(worst.session)}" if len(record.sessions) > 1 else ""
    origin_s = next(clock_origin(one) for one in record.sessions if one.name == worst.session)
    return f"{count}{which}{session}: {event_words(worst, origin_s)}.{_unchecked(record)}"


def _sessions(sessions: Sequence[SlipSession]) -> str:
    return plain_text(sessions[0].name) if len(sessions) == 1 else f"{len(sessions)} sessions"


def _unchecked(record: SlipRecord) -> str:
    """Return what of it cannot be known: the sensors that neither others nor tags nor marks check."""
    checked = any({SlipChannel.TAGS, SlipChannel.MARKS} & set(one.channels) for one in record.sessions)
    if record.redundancy.why is not None and not checked:
        return f" Nothing checks the odometry: {plain_text(record.redundancy.why)}."
    if not record.undetectable or record.redundancy.why is not None:
        return ""
    slips = f"a slip of {listed(record.undetectable, 'or')}"
    if checked:
        return f" Only tags and marks check {listed(record.undetectable)}, and see {slips} only where it is large."
    return f" Not known: {slips}, which contradicts no other sensor."


def checkable_words(record: SlipRecord) -> list[str]:
    """Return in plain sentences what these sensors can tell, and which further one would tell more."""
    redundancy = record.redundancy
    if redundancy.why is not None:
        said = [f"Nothing by the sensors: {plain_text(redundancy.why)}"]
    else:
        more = f"{redundancy.count} more than three motions need"
        said = [f"With {listed(list(redundancy.sensors))} there are {len(redundancy.sensors)} measurements, {more}"]
    gyros = {name for name, one in redundancy.sensors.items() if one.kind is SensorKind.GYRO}
    for group in record.isolable_sets:
        said.append(_set_words([name for name in group if name not in gyros], [one for one in group if one in gyros]))
    if record.undetectable and redundancy.why is None:
        name = listed(record.undetectable, "or")
        said.append(f"A slip of {name} is invisible without tags or marks: nothing else measures that motion")
    if record.another_layout is not None:
        said.append(plain_text(record.another_layout).rstrip("."))
    return said


def _set_words(pods: Sequence[str], gyros: Sequence[str]) -> str:
    parts = [f"a slip of {listed(pods, 'or')}"] if pods else []
    parts += [f"a jump of the {plain_text(name)}" for name in gyros]
    text = " and ".join(parts)
    if len(pods) + len(gyros) == 1:
        return f"{text[0].upper()}{text[1:]} is told apart from all others"
    return f"{text[0].upper()}{text[1:]} look alike"


def session_words(session: SlipSession) -> list[str]:
    """Return what a session was judged by, and what could not judge it."""
    told = ", ".join(_CHANNEL[channel] for channel in session.channels)
    # a rate is not a result: two digits of it are enough
    chance = f"; chance alone shows {session.alarms_expected:.2g} events" if told else ""
    driven = f"{session.duration_s:.0f} s, {session.path_length_m:.0f} m"
    said = [f"{plain_text(session.name)}: {driven}; judged by {told or 'nothing'}{chance}"]
    reasons: dict[str, list[str]] = {}
    for channel, why in session.why.items():
        reasons.setdefault(why, []).append(_CHANNEL[channel])
    said += [f"Not judged by {listed(names, 'or')}: {plain_text(why)}" for why, names in reasons.items()]
    if session.gyro_drift is not None:
        drift = fitted_text(session.gyro_drift.value, session.gyro_drift.std, "rad")
        said.append(f"Gyro drift, kept apart from slips: {drift} per minute, as the pods tell it")
    return said


def doing_words(circumstances: SlipCircumstances) -> str:
    """Return what the robot did meanwhile, beside plain driving."""
    return ", ".join(kind for kind in circumstances.kinds if kind != "driving")
