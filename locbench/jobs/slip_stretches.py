"""What slipped in each stretch of a session, and what is needed to say what it cost."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from locbench.arrays import FloatArray
from locbench.config import FusionConfig
from locbench.odometry import (
    Motion,
    MotionSensors,
    SensorLayout,
    layout_sensors,
    logged_sensors,
    measure_motion,
    sensor_response,
)
from locbench.session import PodTravel, Session, Stretch
from locbench.slip.alarms import false_alarm_of_a_while
from locbench.slip.by_corrections import MARK_REACH, TAG_REACH, PoseChecks
from locbench.slip.checkable import Checkable, checkable
from locbench.slip.corrections import Checked, checked, noise_by_sensors
from locbench.slip.counters import counter_faults
from locbench.slip.kinds import SlipChannel
from locbench.slip.pose_fixes import PoseFix, mark_fixes, tag_fixes
from locbench.slip.steps import Steps, parity_steps
from locbench.slip.study import Event, events_of
from locbench.vision import prepare_sightings

__all__ = ["StudiedStretch", "checks_of", "layout_of", "studied_stretches"]

# fixes that have to tell of a slip; of marks one
_FEWEST_TAG_FIXES, _FEWEST_MARKS = 3, 1


@dataclass(frozen=True)
class StudiedStretch:
    """One stretch: its motion, what contradicts in it, what happened, and the pose believed all along."""

    log: PodTravel
    motion: Motion
    sensors: MotionSensors
    steps: Steps | None
    events: tuple[Event, ...]
    believed: Checked
    channels: tuple[SlipChannel, ...]

    def before(self, event: Event) -> FloatArray:
        """Return (3,) the pose believed when an event began."""
        begin = max(event.first_s, float(self.motion.time_s[0]))
        return np.asarray(self.believed.believed(np.array([begin]))[0])


def layout_of(sessions: Sequence[Session]) -> SensorLayout:
    """Return the sensors that the logs of one robot have in common."""
    logs = [session.odometry for session in sessions]
    pods = [log for log in logs if isinstance(log, PodTravel)]
    robot = sessions[0].robot
    if len(pods) < len(logs):
        return layout_sensors(robot.model_copy(update={"pods": {}}), gyro=False, drive_wheels=False)
    return layout_sensors(
        robot,
        gyro=all(log.heading_rad is not None for log in pods),
        drive_wheels=all(len(log.drive_travel_m) > 0 for log in pods),
    )


def checks_of(layout: SensorLayout, per_minute: float) -> Checkable:
    """Return what the sensors of a layout check at a rate of false alarms."""
    return checkable(layout, false_alarm_of_a_while(per_minute))


def studied_stretches(session: Session, fusion: FusionConfig | None, per_minute: float) -> list[StudiedStretch]:
    """Return what happened in each stretch of a log of pods.

    Parameters
    ----------
    session
        A log; one of another kind than pods has no stretches to study.
    fusion
        How sure its detections are; None leaves tags and marks out, and takes a tenth of the time.
    per_minute
        False alarms allowed.
    """
    log = session.odometry
    if not isinstance(log, PodTravel):
        return []
    whole = measure_motion(log, session.robot)
    studied = []
    for stretch in session.stretches:
        motion = whole.within(stretch.start_s, stretch.end_s)
        sensors = logged_sensors(motion, log, session.robot)
        steps = parity_steps(motion, sensors, checks_of(sensors.layout, per_minute))
        noise_factor = 1.0 if steps is None else steps.noise_factor
        checks = [] if fusion is None else _pose_checks(session, stretch, motion, sensors, fusion, noise_factor)
        events = events_of(steps, counter_faults(motion, sensors), checks, per_minute)
        believed = checks[0][1].checks if checks else checked(motion, stretch.start, [], session.robot.motion_noise)
        channels = [SlipChannel.PARITY] if steps is not None else []
        channels += [channel for channel, _ in checks] + [SlipChannel.COUNTER]
        studied.append(StudiedStretch(log, motion, sensors, steps, tuple(events), believed, tuple(channels)))
    return studied


def _pose_checks(
    session: Session,
    stretch: Stretch,
    motion: Motion,
    sensors: MotionSensors,
    fusion: FusionConfig,
    noise_factor: float,
) -> list[tuple[SlipChannel, PoseChecks]]:
    response = sensor_response(session.robot, sensors.layout)
    noise = noise_by_sensors(session.robot.motion_noise, sensors.layout, response, noise_factor)
    found: list[tuple[SlipChannel, PoseChecks]] = []
    tags: list[PoseFix] = []
    if session.detections is not None and len(session.detections):
        tags = tag_fixes(prepare_sightings(session.detections, session.field, fusion), motion)
    marks: list[PoseFix] = []
    if session.marks is not None:
        marks = mark_fixes(session.marks, float(motion.time_s[0]), float(motion.time_s[-1]))
    for channel, fixes, reach, fewest in (
        (SlipChannel.TAGS, tags, TAG_REACH, _FEWEST_TAG_FIXES),
        (SlipChannel.MARKS, marks, MARK_REACH, _FEWEST_MARKS),
    ):
        if len(fixes) >= fewest:
            filtered = checked(motion, stretch.start, fixes, noise)
            found.append((channel, PoseChecks.of(filtered, reach, fewest, sensors, response)))
    return found
