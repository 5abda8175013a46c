"""The world of a scenario: the driven path, the shoves on top of it, and checks that both are possible."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np

from locbench.arrays import FloatArray
from locbench.config.field import FieldConfig
from locbench.config.scenario import Driving, NoiseModel, ScenarioConfig, Shove, WaypointConfig
from locbench.errors import ConfigError
from locbench.geometry import between
from locbench.simulation.motion import smooth_step
from locbench.simulation.path import DrivenPath, DrivingLimits, Stand, Waypoint, plan_path

__all__ = ["World", "build_world"]

# two hours are the longest log the package is made for
_LONGEST_RUN_S = 7200.0
_CHECK_STEP_S = 0.010
# less than this between two waypoints is no drive
_SHORTEST_MOVE_M = 0.001
_SMALLEST_TURN_RAD = 0.002


@dataclass(frozen=True)
class World:
    """Where the robot truly is: the driver's path, displaced by every shove until the driver has recovered."""

    path: DrivenPath
    shoves: tuple[Shove, ...] = ()

    @property
    def duration_s(self) -> float:
        """From the start of the log to its end."""
        return self.path.duration_s

    @property
    def stands(self) -> tuple[Stand, ...]:
        """The whiles at rest, the one at the start first."""
        return self.path.stands

    def pose_at(self, time_s: FloatArray) -> FloatArray:
        """Return true poses (..., 3) at times (...); headings are continuous, not wrapped."""
        poses = self.path.pose_at(time_s)
        for shove in self.shoves:
            since = np.asarray(time_s, dtype=float) - shove.start
            pushed = smooth_step(since / shove.contact)
            recovered = smooth_step((since - shove.contact) / shove.recovery)
            poses = poses + (pushed - recovered)[..., np.newaxis] * np.array([shove.dx, shove.dy, shove.turn])
        return poses

    @property
    def path_length_m(self) -> float:
        """Length of the reference point's true way."""
        steps = np.diff(self.pose_at(_check_times(self.duration_s)), axis=0)
        return float(np.sum(np.hypot(steps[:, 0], steps[:, 1])))


def build_world(scenario: ScenarioConfig, field: FieldConfig, generator: np.random.Generator, source: str) -> World:
    """Return the world of a scenario whose names have been checked.

    Parameters
    ----------
    generator
        Draws how far off each mark the robot is put.
    source
        The scenario file, for error messages.

    Raises
    ------
    ConfigError
        If the run is too long, leaves the floor, or a shove has no room before the next stand.
    """
    start = replace(_nominal(WaypointConfig(mark=scenario.start.mark), field), dwell_s=scenario.start.standstill)
    nominal = [start, *(_nominal(place, field) for place in scenario.waypoints)]
    _refuse_repeats(nominal, source)
    waypoints = [_placed(waypoint, _placing_spread(waypoint, scenario, field), generator) for waypoint in nominal]
    world = World(plan_path(waypoints, _limits(scenario.driving)), tuple(scenario.shoves))
    if world.duration_s > _LONGEST_RUN_S:
        raise ConfigError(
            f"the run would last {world.duration_s:.0f} s, more than {_LONGEST_RUN_S:.0f} s",
            where=f"{source}: waypoints",
            remedy="Shorten the dwells, or split the run",
        )
    for number, shove in enumerate(scenario.shoves, start=1):
        _refuse_shove_without_room(shove, world, f"{source}: shoves[{number}].start")
    _refuse_leaving_the_floor(world, field, source)
    return world


def _limits(driving: Driving) -> DrivingLimits:
    return DrivingLimits(
        speed_m_s=driving.speed,
        acceleration_m_s2=driving.speed / driving.time_to_speed,
        turn_rate_rad_s=driving.turn_rate,
        turn_acceleration_rad_s2=driving.turn_rate / driving.time_to_turn_rate,
    )


def _nominal(place: WaypointConfig, field: FieldConfig) -> Waypoint:
    mark = field.mark(place.mark) if place.mark is not None else None
    x, y, heading = (place.x, place.y, place.heading) if mark is None else (mark.x, mark.y, mark.heading)
    if place.heading is not None:
        heading = place.heading
    return Waypoint(np.array([x, y, heading], dtype=float), place.dwell, place.mark)


def _refuse_repeats(waypoints: Sequence[Waypoint], source: str) -> None:
    for number, (before, after) in enumerate(pairwise(waypoints), start=1):
        step = between(before.pose, after.pose)
        if np.hypot(step[0], step[1]) < _SHORTEST_MOVE_M and abs(step[2]) < _SMALLEST_TURN_RAD:
            raise ConfigError(
                "the robot is there already",
                where=f"{source}: waypoints[{number}]",
                remedy="Remove this waypoint and lengthen the dwell before it",
            )


def _placing_spread(waypoint: Waypoint, scenario: ScenarioConfig, field: FieldConfig) -> FloatArray:
    """Return the standard deviations (3,) with which the robot is put there."""
    position_std, heading_std = scenario.placing.position_std, scenario.placing.heading_std
    mark = field.mark(waypoint.mark) if waypoint.mark is not None else None
    if scenario.noise is NoiseModel.BODY and mark is not None:
        position_std, heading_std = mark.position_std or 0.0, mark.heading_std or 0.0
    return np.array([position_std, position_std, heading_std])


def _placed(waypoint: Waypoint, spread: FloatArray, generator: np.random.Generator) -> Waypoint:
    if waypoint.mark is None or waypoint.dwell_s == 0.0:
        return waypoint
    return replace(waypoint, pose=waypoint.pose + spread * generator.standard_normal(3))


def _check_times(duration_s: float) -> FloatArray:
    return np.linspace(0.0, duration_s, int(np.ceil(duration_s / _CHECK_STEP_S)) + 1)


def _refuse_shove_without_room(shove: Shove, world: World, where: str) -> None:
    begin, end = shove.start, shove.start + shove.contact + shove.recovery
    drives = [(before.end_s, after.begin_s) for before, after in pairwise(world.stands)]
    if any(drive_begin <= begin and end <= drive_end for drive_begin, drive_end in drives):
        return
    raise ConfigError(
        f"a shove from {begin:.1f} s with recovery until {end:.1f} s does not fit into one drive between two stands",
        where=where,
        remedy=f"The drives: {_in_words(drives)}",
    )


def _in_words(drives: Iterable[tuple[float, float]]) -> str:
    return ", ".join(f"{begin:.1f}-{end:.1f} s" for begin, end in drives)


def _refuse_leaving_the_floor(world: World, field: FieldConfig, source: str) -> None:
    times = _check_times(world.duration_s)
    x, y, _ = world.pose_at(times).T
    floor = field.floor
    outside = (x < floor.x_from) | (x > floor.x_to) | (y < floor.y_from) | (y > floor.y_to)
    if np.any(outside):
        first = int(np.argmax(outside))
        raise ConfigError(
            f"the robot leaves the floor after {times[first]:.1f} s, at x = {x[first]:.2f} m, y = {y[first]:.2f} m",
            where=f"{source}: waypoints",
            remedy="Move the waypoints inwards, or add one that bends the path, or weaken the shove",
        )
