"""How sure a drive will make what it determines: standard deviations from the numbers on the sheet."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from locbench.config import RobotConfig
from locbench.config.fusion import TagNoise
from locbench.config.robot import Pod
from locbench.drive_kinds import DriveKind
from locbench.runsheet.camera import FAST_RAD_S, PASSES_EACH_WAY, SLOW_RAD_S, SWEEP_RAD, VISITS
from locbench.runsheet.lines import NEEDED, line_std, placing_over_passes_m, pods_along
from locbench.runsheet.moves import Part, PartName
from locbench.runsheet.plan import Plan
from locbench.runsheet.spin import TURNS_PER_SPIN
from locbench.runsheet.square import LAPS_EACH_WAY
from locbench.runsheet.survey import Survey, Tape
from locbench.units import Dimension

__all__ = ["PICTURES_PER_S", "Expected", "expected"]

PICTURES_PER_S = 20.0
# of a turn past a tag, the share in which the picture holds the tag
_SEEN_SHARE = 0.5


@dataclass(frozen=True)
class Expected:
    """What a drive determines, with which standard deviation (SI), and from what that follows.

    Attributes
    ----------
    what
        In words.
    std
        Standard deviation; relative ones are plain ratios.
    dimension
        What it measures.
    because
        What it is computed from, in words and counts.
    """

    what: str
    std: float
    dimension: Dimension
    because: str


def expected(plan: Plan, surveys: Mapping[str, Survey], tape: Tape, robot: RobotConfig | None) -> tuple[Expected, ...]:
    """Return what the drive determines and how surely.

    Parameters
    ----------
    plan
        What is driven.
    surveys
        Of the plan's marks, by name.
    tape
        How exactly is measured and placed.
    robot
        Whose pods are told one by one; without it figures are relative.
    """
    match plan.kind:
        case DriveKind.TOUR:
            found = _of_tour(plan, surveys)
        case DriveKind.STRAIGHT:
            found = _of_lines(plan, surveys, tape, robot)
        case DriveKind.SPIN:
            found = _of_spins(plan, tape, robot)
        case DriveKind.SQUARE:
            found = _of_square(plan, tape, robot)
        case DriveKind.CAMERA:
            found = _of_camera(plan, surveys, tape)
    return tuple(found)


def _of_tour(plan: Plan, surveys: Mapping[str, Survey]) -> list[Expected]:
    legs = plan.presses - 1
    position = _root_mean_square([survey.used_position_m for survey in surveys.values()])
    heading = _root_mean_square([h for survey in surveys.values() if (h := survey.used_heading_rad) is not None])
    seen = np.sqrt(2.0)
    return [
        Expected("drift per leg", 1.0 / np.sqrt(2.0 * legs), Dimension.RATIO, f"{legs} legs, error 1/√(2n) of an RMS"),
        Expected("least drift of a leg that shows", seen * position, Dimension.LENGTH, "√2 x position_std"),
        Expected("least turn error of a leg that shows", seen * heading, Dimension.ANGLE, "√2 x heading_std"),
    ]


def _of_lines(plan: Plan, surveys: Mapping[str, Survey], tape: Tape, robot: RobotConfig | None) -> list[Expected]:
    lines = [part for part in plan.parts if part.name is PartName.LINE]
    passes = [part.presses for part in lines]
    relative = _combined([line_std(abs(part.moves[0].length_m), part.presses, tape, robot) for part in lines])
    direction = _combined([_direction_std(part, surveys, tape) for part in lines])
    enough = "" if relative <= NEEDED else "; a check before an event needs 0.06 %: longer lines, or a better tape"
    basis = f"lines measured end to end, {passes[0]} + {passes[1]} passes{enough}"
    found = [Expected("wheel diameter", relative, Dimension.RATIO, basis)]
    for name, pod in pods_along(robot).items():
        std = pod.wheel_diameter * relative
        found.append(Expected(f"wheel diameter of pod {name}", std, Dimension.LENGTH, "the same, times its diameter"))
    found.append(Expected("direction in which pods roll", direction, Dimension.ANGLE, "ends over length, headings"))
    return found


def _direction_std(line: Part, surveys: Mapping[str, Survey], tape: Tape) -> float:
    """Return the standard deviation of the direction of a line against the robot's headings on its ends, in radians."""
    ends = [surveys[line.moves[0].start], surveys[line.moves[0].end]]
    sideways = np.linalg.norm([end.survey_position_m for end in ends])
    way = np.hypot(sideways, placing_over_passes_m(line.presses, tape)) / abs(line.moves[0].length_m)
    headings = np.linalg.norm([end.survey_heading_rad or 0.0 for end in ends]) / 2.0
    placing = tape.placing_heading_rad / np.sqrt(line.presses + 1.0)
    return float(np.linalg.norm([way, headings, placing]))


def _of_spins(plan: Plan, tape: Tape, robot: RobotConfig | None) -> list[Expected]:
    spins = sum(abs(move.turn_before_rad) > np.pi for part in plan.parts for move in part.moves)
    turned = TURNS_PER_SPIN * 2.0 * np.pi
    # begins and ends on the same mark: its survey cancels
    relative = np.sqrt(2.0 / spins) * tape.placing_heading_rad / turned
    basis = f"{spins} spins of {TURNS_PER_SPIN} turns, each begins and ends against the same line"
    found = [Expected("gyro scale", relative, Dimension.RATIO, basis)]
    pods = _pods(robot)
    for name, pod in pods.items():
        std = abs(float(pod.row[2])) * relative
        found.append(
            Expected(
                f"lever arm of pod {name}", std, Dimension.LENGTH, "the same, times it; its diameter taken as known"
            )
        )
    if not pods:
        found.append(Expected("lever arm of a pod", relative, Dimension.RATIO, "the same"))
    return found


def _of_square(plan: Plan, tape: Tape, robot: RobotConfig | None) -> list[Expected]:
    """Source: Borenstein & Feng 1996: return errors x of both senses give alpha, beta = (x_cw +- x_ccw) / 4L."""
    side = abs(plan.parts[0].moves[0].length_m)
    # begins and ends on the same mark, so its survey cancels; so does the placing between two laps
    centre = np.sqrt(2.0) * tape.placing_m / LAPS_EACH_WAY
    angle = np.sqrt(2.0) * centre / (4.0 * side)
    found = [
        Expected("mean return error of one sense", centre, Dimension.LENGTH, f"√2 x placing / {LAPS_EACH_WAY} laps"),
        Expected("turn error per corner, and bend per side", angle, Dimension.ANGLE, "√2 x that / (4 x side)"),
        Expected(
            "effective distance of the wheels", angle / (np.pi / 2.0), Dimension.RATIO, "turn error / quarter turn"
        ),
    ]
    base = _base_m(robot)
    if base > 0.0:
        found.append(
            Expected(
                "ratio of left to right wheel", base * angle / side, Dimension.RATIO, "bend x their distance / side"
            )
        )
    return found


def _of_camera(plan: Plan, surveys: Mapping[str, Survey], tape: Tape) -> list[Expected]:
    places = () if plan.view is None else plan.view.places
    pictures = VISITS * plan.pace.dwell_s * PICTURES_PER_S
    position, yaw = [], []
    for place in places:
        survey = surveys[place.mark]
        at = np.hypot(survey.survey_position_m, tape.placing_m / np.sqrt(VISITS))
        turned = np.hypot(survey.survey_heading_rad or 0.0, tape.placing_heading_rad / np.sqrt(VISITS))
        position.append(float(at))
        yaw.append(float(np.hypot(turned, at / place.range_m)))
    noise = TagNoise().bearing_floor
    per_pass = _SEEN_SHARE * SWEEP_RAD * PICTURES_PER_S
    # pictures in a pass at rate w: per_pass / w; each tells the lag as noise / w
    weight = 2.0 * PASSES_EACH_WAY * per_pass * (SLOW_RAD_S + FAST_RAD_S)
    return [
        Expected(
            "noise at one place",
            1.0 / np.sqrt(2.0 * (pictures - 1.0)),
            Dimension.RATIO,
            f"{pictures:.0f} pictures, 1/√(2(n-1))",
        ),
        Expected("offset at one place", _root_mean_square(position), Dimension.LENGTH, "mark, placing / √visits"),
        Expected("yaw of the camera", _combined(yaw), Dimension.ANGLE, f"{len(places)} places, heading and place"),
        Expected(
            "latency",
            noise / np.sqrt(weight),
            Dimension.TIME,
            "bearings as sure as a fusion file assumes if it says nothing, tag in view for half of each turn",
        ),
    ]


def _pods(robot: RobotConfig | None) -> Mapping[str, Pod]:
    return {} if robot is None else robot.pods


def _base_m(robot: RobotConfig | None) -> float:
    """Return how far apart the outermost pods are that roll forward; 0 if there are not two."""
    places = [pod.y for pod in pods_along(robot).values()]
    return max(places) - min(places) if places else 0.0


def _root_mean_square(values: Sequence[float]) -> float:
    return float(np.sqrt(np.mean(np.square(values))))


def _combined(stds: Sequence[float]) -> float:
    """Return the standard deviation of the weighted mean of independent values with these."""
    return float(1.0 / np.sqrt(np.sum(1.0 / np.square(stds))))
