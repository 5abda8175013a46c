"""`locbench slip`: which sensor slipped, when, by how much, and what that cost."""

from collections.abc import Callable, Sequence
from pathlib import Path

import numpy as np

from locbench import __version__
from locbench.config import FusionConfig, load_config
from locbench.jobs.evaluate import DEFAULT_FUSION
from locbench.jobs.sessions import examined_session, refuse_different_robots, refuse_repeated_sessions
from locbench.jobs.slip_records import another_layout, event_record, parity_series, redundancy_record, slip_map
from locbench.jobs.slip_stretches import StudiedStretch, checks_of, layout_of, studied_stretches
from locbench.jobs.slip_sums import doubted_factor, gyro_drift, pod_records, steady_contradictions
from locbench.odometry import measure_motion
from locbench.results import SlipEvent, SlipRecord, SlipSession
from locbench.session import Examination, PodTravel, Session
from locbench.slip.alarms import FALSE_ALARMS_PER_MINUTE, false_alarm_of_a_while
from locbench.slip.kinds import SlipChannel

__all__ = ["slip"]

_MINUTE_S = 60.0


def slip(
    locations: Sequence[Path],
    false_alarms_per_minute: float = FALSE_ALARMS_PER_MINUTE,
    progress: Callable[[str, float], None] | None = None,
) -> SlipRecord:
    """Return what slipped in some sessions of one robot.

    Parameters
    ----------
    locations
        Session folders, or their session.toml files. Neither marks nor tags are needed.
    false_alarms_per_minute
        How many events a minute without any slip may show.
    progress
        Called with the name of each session before it is studied, and the share of the work that is done.

    Raises
    ------
    ConfigError
        If a session or a file it names is missing, malformed or impossible; if the sessions are of different robots, or
        one is named twice.
    SessionError
        If a table cannot be used.
    """
    examined = [examined_session(location) for location in locations]
    refuse_repeated_sessions(examined)
    refuse_different_robots(examined)
    sessions = [_session_of(one) for one in examined]
    layout = layout_of(sessions)
    checks = checks_of(layout, false_alarms_per_minute)
    studied: list[list[StudiedStretch]] = []
    for one, session in zip(examined, sessions, strict=True):
        if progress is not None:
            progress(session.name, len(studied) / len(sessions))
        studied.append(studied_stretches(session, _fusion(one), false_alarms_per_minute))
    called = _names_of_their_own(sessions)
    events = [
        [event_record(event, stretch, session, name) for stretch in stretches for event in stretch.events]
        for session, stretches, name in zip(sessions, studied, called, strict=True)
    ]
    flat = [event for mine in events for event in mine]
    everything = [stretch for stretches in studied for stretch in stretches]
    names = layout.name
    return SlipRecord(
        locbench=__version__,
        robot=sessions[0].robot.name,
        false_alarms_per_minute=false_alarms_per_minute,
        sessions=[
            _session_record(session, name, stretches, mine, false_alarms_per_minute)
            for session, name, stretches, mine in zip(sessions, called, studied, events, strict=True)
        ],
        redundancy=redundancy_record(checks),
        detectable=[names[one] for one in np.flatnonzero(checks.detectable)],
        undetectable=[names[one] for one in np.flatnonzero(~checks.detectable)],
        isolable_sets=[[names[one] for one in group] for group in checks.sets],
        events=flat,
        pods=pod_records(checks, everything, flat),
        doubted_factor=doubted_factor(sessions[0].robot, everything),
        another_layout=another_layout(checks, false_alarm_of_a_while(false_alarms_per_minute)),
        remarks=steady_contradictions(studied, called),
    )


def _session_of(examined: Examination) -> Session:
    assert examined.session is not None
    return examined.session


def _names_of_their_own(sessions: Sequence[Session]) -> list[str]:
    """Return the sessions' names, a number behind those that an earlier one has too: events know theirs by its name."""
    called: list[str] = []
    for session in sessions:
        name, number = session.name, 1
        while name in called:
            number += 1
            name = f"{session.name} ({number})"
        called.append(name)
    return called


def _fusion(examined: Examination) -> FusionConfig:
    """Return the filter that says how sure detections are: the session's first, else the default."""
    files = examined.files.fusion
    return load_config(files[0], FusionConfig) if files else DEFAULT_FUSION


def _session_record(
    session: Session,
    name: str,
    stretches: Sequence[StudiedStretch],
    events: Sequence[SlipEvent],
    per_minute: float,
) -> SlipSession:
    times = session.odometry.time_s
    # logs that hold no single pods have no stretches to study, but were driven all the same
    motions = [one.motion for one in stretches] or [measure_motion(session.odometry, session.robot)]
    duration = sum(float(one.time_s[-1] - one.time_s[0]) for one in motions)
    channels = [channel for channel in SlipChannel if any(channel in one.channels for one in stretches)]
    return SlipSession(
        name=name,
        evidence=session.evidence.value,
        start_s=float(times[0]),
        duration_s=duration,
        path_length_m=sum(float(one.path_length_m[-1]) for one in motions),
        turns_absolute=sum(float(one.turning_rad[-1]) for one in motions) / (2.0 * np.pi),
        events=len(events),
        alarms_expected=per_minute * duration / _MINUTE_S if channels else 0.0,
        channels=channels,
        why=_why_not(session, stretches, channels),
        gyro_drift=gyro_drift(stretches),
        parity=parity_series(stretches, per_minute),
        map=slip_map(stretches, session.field),
    )


def _why_not(
    session: Session, stretches: Sequence[StudiedStretch], channels: Sequence[SlipChannel]
) -> dict[SlipChannel, str]:
    if not isinstance(session.odometry, PodTravel):
        reason = "the log does not hold the counters of single pods"
        return dict.fromkeys(SlipChannel, reason)
    why = {}
    if SlipChannel.PARITY not in channels:
        redundant = any(one.sensors.layout.redundancy > 0 for one in stretches)
        why[SlipChannel.PARITY] = "the log is too short" if redundant else "no sensor measures what others measure too"
    if SlipChannel.TAGS not in channels:
        seen = session.detections is not None and len(session.detections) > 0
        why[SlipChannel.TAGS] = "too few fixes agree with each other" if seen else "the log has no tag detections"
    if SlipChannel.MARKS not in channels:
        why[SlipChannel.MARKS] = "the robot visited no mark"
    return why
