"""What a drive is said to tell, against drives simulated stand by stand."""

import numpy as np
import pytest
from floors import ROBOT, floor_field

from locbench.drive_kinds import DriveKind
from locbench.runsheet.expected import PICTURES_PER_S
from locbench.runsheet.moves import PartName
from locbench.runsheet.sheet import run_sheet
from locbench.units import Dimension

RUNS = 20_000


def _sheet(kind, robot=ROBOT):
    return run_sheet(floor_field(), robot, kind, "field.toml", 0.05)


def _std(sheet, what):
    (found,) = [entry for entry in sheet.expected if entry.what == what]
    return found.std


def test_wheel_diameter_from_lines_measured_end_to_end():
    rng = np.random.default_rng(1)
    sheet = _sheet(DriveKind.STRAIGHT)
    scales = []
    for line in (part for part in sheet.plan.parts if part.name is PartName.LINE):
        length, passes = line.moves[0].length_m, line.presses
        stands = rng.normal(scale=sheet.tape.placing_m, size=(RUNS, passes + 1))
        # the robot stands at start, end, start, ...; a pass is the distance between two stands
        ways = length + (stands[:, 1:] - stands[:, :-1]) * np.where(np.arange(passes) % 2, -1.0, 1.0)
        # what the pods themselves scatter on every pass
        along = sheet.ground.robot.pods["left"].along_per_metre
        ways = ways + along * np.sqrt(length) * rng.standard_normal(ways.shape)
        taped = length + rng.normal(scale=sheet.tape.reading_std_m(length), size=RUNS)
        scales.append(taped / ways.mean(axis=1))
    assert _std(sheet, "wheel diameter") == pytest.approx(np.std(np.mean(scales, axis=0)), rel=0.03)
    assert _std(sheet, "wheel diameter of pod left") == pytest.approx(0.05 * _std(sheet, "wheel diameter"))
    assert not [entry for entry in sheet.expected if "cross" in entry.what], "it rolls across the lines"


def test_gyro_scale_from_spins():
    rng = np.random.default_rng(2)
    sheet = _sheet(DriveKind.SPIN)
    turned = 5 * 2.0 * np.pi
    gaps = rng.normal(scale=sheet.tape.gap_m, size=(RUNS, 8, 2, 2))
    placed = (gaps[..., 0] - gaps[..., 1]) / sheet.tape.edge_m
    scale = np.mean((turned + placed[..., 1] - placed[..., 0]) / turned, axis=1)
    assert _std(sheet, "gyro scale") == pytest.approx(np.std(scale), rel=0.03)
    assert _std(sheet, "lever arm of pod cross") == pytest.approx(0.1 * _std(sheet, "gyro scale"))


def test_the_square_tells_turn_and_bend():
    """Borenstein & Feng 1996: alpha = (x_cw + x_ccw) / -4L, beta = (x_cw - x_ccw) / -4L."""
    rng = np.random.default_rng(3)
    sheet = _sheet(DriveKind.SQUARE)
    side = sheet.plan.parts[0].moves[0].length_m
    stands = rng.normal(scale=sheet.tape.placing_m, size=(RUNS, 2, 6))
    mean = np.diff(stands, axis=2).mean(axis=2)
    alpha, beta = mean.sum(axis=1) / (-4.0 * side), np.diff(mean, axis=1)[:, 0] / (-4.0 * side)
    assert _std(sheet, "mean return error of one sense") == pytest.approx(np.std(mean), rel=0.03)
    assert _std(sheet, "turn error per corner, and bend per side") == pytest.approx(np.std(alpha), rel=0.03)
    base = 0.24
    left_over_right = (side / beta + base / 2.0) / (side / beta - base / 2.0)
    assert _std(sheet, "ratio of left to right wheel") == pytest.approx(np.std(left_over_right), rel=0.03)
    assert _std(sheet, "effective distance of the wheels") == pytest.approx(
        np.std((np.pi / 2.0) / (np.pi / 2.0 - alpha)), rel=0.03
    )


def test_camera_noise_and_latency():
    rng = np.random.default_rng(4)
    sheet = _sheet(DriveKind.CAMERA)
    pictures = round(3 * sheet.plan.pace.dwell_s * PICTURES_PER_S)
    found = np.std(rng.normal(size=(RUNS, pictures)), axis=1, ddof=1)
    assert _std(sheet, "noise at one place") == pytest.approx(np.std(found), rel=0.03)
    # bearings of noise 0.5 deg, shifted by rate x latency; weighted least squares over slow and fast turns
    passes = [part for part in sheet.plan.parts if part.turn_rate_rad_s is not None]
    rates = np.concatenate(
        [
            np.full(
                round(2 * part.times * 0.5 * np.radians(80.0) / part.turn_rate_rad_s * PICTURES_PER_S),
                part.turn_rate_rad_s,
            )
            for part in passes
        ]
    )
    noise = rng.normal(scale=np.radians(0.5), size=(2_000, len(rates)))
    assert _std(sheet, "latency") == pytest.approx(np.std(noise @ rates / (rates @ rates)), rel=0.06)


@pytest.mark.parametrize("kind", DriveKind)
def test_without_a_robot_file_nothing_is_said_of_its_parts(kind):
    for entry in _sheet(kind, None).expected:
        assert "left" not in entry.what or entry.what.startswith("ratio")
        assert entry.std > 0.0
        assert entry.dimension in Dimension


def test_more_legs_make_drift_surer():
    sheet = _sheet(DriveKind.TOUR)
    assert _std(sheet, "drift per leg") == pytest.approx(1.0 / np.sqrt(2.0 * (sheet.plan.presses - 1)))
