"""What `camera` says of a real robot's ranges: the open Plaza data sets (see tests/plaza.py for the source).

Their ranges are 7 % too long, scale 1.070 in both runs; scaled, the noise is white, 0.51 to 0.52 m, without outliers:
computed from the files, apart from this program.
"""

import pytest
from plaza import write_plaza

from locbench.jobs.calibrate import calibrate
from locbench.jobs.camera import camera


@pytest.fixture(scope="module")
def folders(tmp_path_factory):
    return {number: write_plaza(tmp_path_factory.mktemp(f"ranges{number}"), number, "poses", 1.0) for number in (1, 2)}


@pytest.fixture(scope="module")
def records(folders):
    return {number: camera([plaza.folder]).record for number, plaza in folders.items()}


def test_each_run_has_the_range_scale(records):
    for record in records.values():
        assert record.range_scale.value == pytest.approx(1.070, abs=0.001)


def test_the_two_agree_within_their_stated_uncertainty(records):
    first, second = records[1].range_scale, records[2].range_scale
    both = (first.std**2 + second.std**2) ** 0.5
    assert abs(first.value - second.value) < 3.0 * both
    assert both < 0.001


def test_the_noise_is_white_half_a_metre_and_without_outliers(records):
    for record in records.values():
        assert record.noise["range_floor"].value == pytest.approx(0.51, abs=0.025)
        assert record.outlier_share.value < 0.005
        assert record.slow["range"].ci95[0] == 0.0


def test_no_beacon_stands_aside(records):
    for record in records.values():
        assert not any(tag.hangs_wrong for tag in record.tags.values())


def test_the_scale_goes_into_the_session(folders):
    (changed,) = camera([folders[2].folder]).changed_files
    assert "range_scale = 1.07" in changed.lines


def test_the_odometry_of_the_second_run_is_to_scale(folders):
    """Its path is that of a survey-grade truth to within a part in a thousand."""
    found = calibrate([folders[2].folder]).calibration
    forward = found.parameters["odometry.forward.travel_scale"]
    assert forward.determined
    assert forward.estimate == pytest.approx(1.0, abs=0.004)
