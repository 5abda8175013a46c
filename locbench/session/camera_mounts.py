"""Where the camera sat on the robot when each picture was taken."""

import numpy as np

from locbench.arrays import FloatArray
from locbench.config import RobotConfig
from locbench.config.robot import CameraMount
from locbench.config.tag_sources import CameraTable, RangeSource, TagSource
from locbench.errors import nearest_choice
from locbench.session.findings import FindingCode, FindingList
from locbench.session.tables import Table, number_column

__all__ = ["believed_camera", "read_mounts"]


def believed_camera(source: TagSource | None, robot: RobotConfig) -> tuple[str | None, FloatArray]:
    """Return which camera of the robot file took the pictures, and x, y, yaw (3,) of its mount on what carries it.

    Robot poses were made by the robot's own program with the mount of its camera: the only one of the robot file. None
    and zeros where the robot file does not tell, and for ranges from the reference point.
    """
    named = source.mount if isinstance(source, CameraTable) else None
    from_reference_point = isinstance(source, RangeSource) and named is None
    if named is None and len(robot.cameras) == 1 and not from_reference_point:
        named = next(iter(robot.cameras))
    if named is None:
        return None, np.zeros(3)
    camera = robot.cameras[named]
    return named, np.array([camera.x, camera.y, camera.yaw])


def read_mounts(table: Table, source: TagSource, robot: RobotConfig, findings: FindingList) -> FloatArray | None:
    """Return (M, 6) x, y, z, yaw, pitch, roll on the robot, or None after an error finding.

    Robot poses need no mount. A range without one is measured from the robot's reference point; the other kinds take
    the robot's only camera.
    """
    at_the_reference_point = np.zeros((len(table), 6))
    if not isinstance(source, CameraTable):
        return at_the_reference_point
    if isinstance(source, RangeSource) and source.mount is None:
        return at_the_reference_point if _no_needless_yaw(source, "no mount is named", findings) else None
    named = _camera(source, robot, findings)
    if named is None:
        return None
    name, camera = named
    if not camera.turns:
        fixed = _no_needless_yaw(source, f'camera "{name}" is fixed on the robot', findings)
        return camera.placed(np.zeros(len(table))) if fixed else None
    if source.turret_yaw is None:
        _refuse(
            FindingCode.TURRET_YAW,
            f'camera "{name}" is carried by the turret, so the yaw of the turret at capture is needed',
            "Name its column: turret_yaw = { column = ..., unit = ... }",
            "turret_yaw",
            findings,
        )
        return None
    yaw = number_column(table, source.turret_yaw, findings)
    return None if yaw is None else camera.placed(source.turret_yaw.sign * yaw)


def _camera(source: CameraTable, robot: RobotConfig, findings: FindingList) -> tuple[str, CameraMount] | None:
    names = list(robot.cameras)
    if source.mount is None and len(names) == 1:
        return names[0], robot.cameras[names[0]]
    if source.mount is None:
        several = f"the robot file has several cameras ({', '.join(names)})"
        problem = several if names else "the robot file has no camera, and this kind needs to know where it sits"
        remedy = "Say which one: mount = ..." if names else "Add [cameras.NAME] to the robot file"
        _refuse(FindingCode.UNKNOWN_MOUNT, problem, remedy, "mount", findings)
        return None
    camera = robot.cameras.get(source.mount)
    if camera is None:
        remedy = nearest_choice(source.mount, names) if names else "Add [cameras.NAME] to the robot file"
        problem = f'the robot file has no camera "{source.mount}"'
        _refuse(FindingCode.UNKNOWN_MOUNT, problem, remedy, "mount", findings)
        return None
    return source.mount, camera


def _no_needless_yaw(source: CameraTable, why: str, findings: FindingList) -> bool:
    """Refuse a turret's yaw that would be read and not used: it shows that the robot file is not as meant."""
    if source.turret_yaw is None:
        return True
    _refuse(
        FindingCode.TURRET_YAW,
        f"{why}, so the yaw of the turret has no use",
        'Remove turret_yaw, or set carried_by = "turret" for a camera of the robot file and name it in mount',
        "turret_yaw",
        findings,
    )
    return False


def _refuse(code: FindingCode, problem: str, remedy: str, key: str, findings: FindingList) -> None:
    findings.error(code, problem, remedy, file="session.toml", column=f"tags.{key}")
