"""Whether a scenario, its robot and its field speak of the same things."""

from collections.abc import Iterable

from locbench.config.field import FieldConfig
from locbench.config.robot import RobotConfig
from locbench.config.scenario import NoiseModel, ScenarioConfig
from locbench.errors import ConfigError, nearest_choice

__all__ = ["check_names"]

_WHEEL = "pod or driven wheel in the robot file"


def check_names(scenario: ScenarioConfig, robot: RobotConfig, field: FieldConfig, source: str) -> None:
    """Refuse a scenario that names what does not exist, or a start that a session could not be read from.

    Parameters
    ----------
    source
        The scenario file, for error messages.

    Raises
    ------
    ConfigError
        Naming the first key that is wrong.
    """
    if scenario.noise is NoiseModel.PODS and not robot.pods:
        raise ConfigError("the robot has no pods to simulate", where=f"{source}: robot", remedy="Add [pods] to it")
    _check_marks(scenario, field, source)
    _check_pods(scenario, robot, source)
    if robot.gyro is None and "gyro" in scenario.model_fields_set:
        raise ConfigError("the robot has no gyro", where=f"{source}: gyro", remedy="Remove it, or add [gyro] there")
    _check_camera(scenario, robot, field, source)


def _known(name: str, choices: Iterable[str], what: str, where: str) -> None:
    listed = list(choices)
    if name not in listed:
        remedy = nearest_choice(name, listed) if listed else "That file has none: add one there"
        raise ConfigError(f"no such {what}", where=where, received=name, remedy=remedy)


def _check_marks(scenario: ScenarioConfig, field: FieldConfig, source: str) -> None:
    names = [mark.name for mark in field.marks]
    _known(scenario.start.mark, names, "mark in the field file", f"{source}: start.mark")
    start = field.mark(scenario.start.mark)
    if start is not None and None in (start.heading, start.position_std, start.heading_std):
        raise ConfigError(
            "a run starts on a mark with heading, position_std and heading_std",
            where=f"{source}: start.mark",
            received=start.name,
            remedy="Add them to the field file, or start on another mark",
        )
    for number, place in enumerate(scenario.waypoints, start=1):
        if place.mark is None:
            continue
        where = f"{source}: waypoints[{number}]"
        _known(place.mark, names, "mark in the field file", f"{where}.mark")
        mark = field.mark(place.mark)
        if mark is None:
            continue
        if mark.heading is None and place.heading is None:
            raise ConfigError("this mark has no heading", where=where, received=mark.name, remedy="Add heading here")
        if mark.heading is not None and place.heading is not None and place.dwell > 0.0:
            raise ConfigError(
                "the field file gives this mark's heading, so a stand on it cannot have another",
                where=f"{where}.heading",
                remedy="Remove it",
            )


def _check_pods(scenario: ScenarioConfig, robot: RobotConfig, source: str) -> None:
    wheels = [*robot.pods, *robot.drive_wheels]
    for number, slip in enumerate(scenario.slips, start=1):
        _known(slip.pod, wheels, _WHEEL, f"{source}: slips[{number}].pod")
    for number, shove in enumerate(scenario.shoves, start=1):
        for name in shove.pods_lose:
            _known(name, wheels, _WHEEL, f"{source}: shoves[{number}].pods_lose")
    for name in scenario.truth.pods:
        _known(name, wheels, _WHEEL, f"{source}: truth.pods")
    if not robot.drive_wheels and "drive_wheels" in scenario.model_fields_set:
        raise ConfigError(
            "the robot has no driven wheels",
            where=f"{source}: drive_wheels",
            remedy="Remove it, or add [drive_wheels.NAME] there",
        )


def _check_camera(scenario: ScenarioConfig, robot: RobotConfig, field: FieldConfig, source: str) -> None:
    tags = [str(tag.id) for tag in field.tags]
    for number, offset in enumerate(scenario.truth.tags, start=1):
        _known(str(offset.id), tags, "tag in the field file", f"{source}: truth.tags[{number}].id")
    if scenario.camera is None:
        return
    _known(scenario.camera.mount, robot.cameras, "camera in the robot file", f"{source}: camera.mount")
    if robot.cameras[scenario.camera.mount].turns and not field.goals:
        raise ConfigError(
            "a camera carried by the turret is kept on the field's first goal, and the field has none",
            where=f"{source}: camera.mount",
            received=scenario.camera.mount,
            remedy="Add [[goals]] to the field, or name a camera that is fixed on the robot",
        )
    if not tags:
        raise ConfigError("the field has no tags to see", where=f"{source}: camera", remedy="Add [[tags]] to the field")
    if scenario.camera.false_ids > 0.0 and len(tags) < 2:
        raise ConfigError(
            "a false id needs a second tag in the field file",
            where=f"{source}: camera.false_ids",
            remedy="Set it to 0 %",
        )
