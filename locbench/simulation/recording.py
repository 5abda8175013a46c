"""A whole run: from the scenario to what a robot's log would hold."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass

import numpy as np

from locbench.arrays import FloatArray
from locbench.config.field import FieldConfig
from locbench.config.robot import RobotConfig
from locbench.config.scenario import NoiseModel, ScenarioConfig
from locbench.errors import ConfigError
from locbench.geometry import wrap_angle
from locbench.session.writer import (
    DetectionRecord,
    IncrementRecord,
    OdometryRecord,
    SessionRecord,
    SourceFiles,
    TruthRecord,
    VisitRecord,
)
from locbench.simulation.body import body_increments
from locbench.simulation.camera import SimulatedDetections, detect_tags
from locbench.simulation.checking import check_names
from locbench.simulation.gyro import gyro_heading
from locbench.simulation.losses import gyro_losses
from locbench.simulation.pods import count_pods, true_drive_wheels, true_pods
from locbench.simulation.streams import RandomStreams, random_streams
from locbench.simulation.visibility import true_tags
from locbench.simulation.world import World, build_world

__all__ = ["Recording", "record_run"]


@dataclass(frozen=True)
class Recording:
    """The log of a run, the world it was taken in, and how often what happened."""

    record: SessionRecord
    world: World
    events: Mapping[str, int]


def record_run(
    scenario: ScenarioConfig,
    robot: RobotConfig,
    field: FieldConfig,
    files: SourceFiles,
    seed: int,
    source: str,
    progress: Callable[[float], None] | None = None,
) -> Recording:
    """Return what the robot logs on this run.

    Parameters
    ----------
    files
        Named in the session.
    seed
        All chance comes from it: the same seed gives the same log.
    source
        The scenario file, for error messages.
    progress
        Called with the share of the work that is done.

    Raises
    ------
    ConfigError
        If the three files do not fit together or the run is impossible.
    """
    report = progress or _ignore
    check_names(scenario, robot, field, source)
    streams = random_streams(seed, robot.pods, robot.drive_wheels)
    world = build_world(scenario, field, streams.placing, source)
    report(0.1)
    odometry = _odometry(scenario, robot, world, streams)
    report(0.7)
    detections = _detections(scenario, robot, field, world, streams)
    report(0.8)
    record = SessionRecord(
        name=scenario.name,
        start_mark=scenario.start.mark,
        files=files,
        odometry=odometry,
        detections=_detection_record(scenario, detections),
        visits=_visits(world, float(odometry.time_s[-1])),
        truth=_truth(scenario, world),
        requests_s=_requests(scenario, float(odometry.time_s[-1]), source),
    )
    return Recording(record, world, _events(scenario, detections))


def _ignore(share: float) -> None:
    del share


def _row_times(duration_s: float, period_s: float) -> FloatArray:
    # the small allowance keeps the last row of a run that lasts a whole number of periods
    return np.asarray(np.arange(int(np.floor(duration_s / period_s + 1e-9)) + 1) * period_s)


def _odometry(
    scenario: ScenarioConfig, robot: RobotConfig, world: World, streams: RandomStreams
) -> OdometryRecord | IncrementRecord:
    time_s = _row_times(world.duration_s, scenario.logging.odometry_period)
    if scenario.noise is NoiseModel.BODY:
        return IncrementRecord(time_s, body_increments(world, robot.motion_noise, time_s, streams.body))
    pods, wheels = true_pods(scenario, robot), true_drive_wheels(scenario, robot)
    # all at once, so that the robot is followed through the world once
    counts = count_pods(world, {**pods, **wheels}, time_s, {**streams.pods, **streams.drive_wheels})
    heading = None
    if robot.gyro is not None:
        heading = gyro_heading(world, scenario.gyro, gyro_losses(scenario), time_s, streams.gyro)
    of_pods, of_wheels = ({name: counts[name] for name in names} for names in (pods, wheels))
    return OdometryRecord(time_s, of_pods, heading, of_wheels)


def _detections(
    scenario: ScenarioConfig, robot: RobotConfig, field: FieldConfig, world: World, streams: RandomStreams
) -> SimulatedDetections | None:
    if scenario.camera is None:
        return None
    real = true_tags(field.tags, scenario.truth.tags)
    mount = robot.cameras[scenario.camera.mount]
    aim = np.array([field.goals[0].x, field.goals[0].y]) if mount.turns else None
    return detect_tags(world, world.duration_s, mount, field.tags, real, scenario.camera, streams.camera, aim)


def _detection_record(scenario: ScenarioConfig, detections: SimulatedDetections | None) -> DetectionRecord | None:
    if scenario.camera is None or detections is None or len(detections.captured_s) == 0:
        return None
    return DetectionRecord(
        captured_s=detections.captured_s,
        arrived_s=detections.arrived_s,
        tag=detections.tag,
        readings=detections.readings,
        mount=scenario.camera.mount,
        turret_yaw_rad=detections.turret_yaw_rad,
    )


def _visits(world: World, log_end_s: float) -> VisitRecord | None:
    # the stand at the start is the session's start, not a visit to compare with
    visits = [stand for stand in world.stands[1:] if stand.mark is not None and stand.end_s > stand.begin_s]
    if not visits:
        return None
    return VisitRecord(
        name=tuple(str(stand.mark) for stand in visits),
        begin_s=np.array([stand.begin_s for stand in visits]),
        end_s=np.array([min(stand.end_s, log_end_s) for stand in visits]),
    )


def _requests(scenario: ScenarioConfig, log_end_s: float, source: str) -> FloatArray | None:
    for number, pressed_s in enumerate(scenario.requests, start=1):
        if pressed_s > log_end_s:
            raise ConfigError(
                f"the run is over after {log_end_s:.1f} s",
                where=f"{source}: requests[{number}]",
                received=f"{pressed_s:.6g} s",
                remedy="Choose an earlier time",
            )
    return np.sort(scenario.requests) if scenario.requests else None


def _truth(scenario: ScenarioConfig, world: World) -> TruthRecord:
    time_s = _row_times(world.duration_s, scenario.logging.truth_period)
    pose = world.pose_at(time_s)
    pose[:, 2] = wrap_angle(pose[:, 2])
    return TruthRecord(time_s, pose)


def _events(scenario: ScenarioConfig, detections: SimulatedDetections | None) -> dict[str, int]:
    events = {"slips": len(scenario.slips), "shoves": len(scenario.shoves)}
    if detections is not None:
        events["flipped detections"] = int(np.sum(detections.flipped))
        events["false tag ids"] = int(np.sum(detections.false_id))
        events["dropped detections"] = detections.dropped
    return events
