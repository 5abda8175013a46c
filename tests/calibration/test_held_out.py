"""What a fit gains at references it did not use, and what it had to weigh down."""

from dataclasses import replace

import numpy as np
import pytest
from calibration.recovery import RUNS, made_session

from locbench.calibration.determining import calibrated
from locbench.calibration.held_out import held_out_errors
from locbench.calibration.outlying import outlying
from locbench.calibration.reading import Logged, gathered
from locbench.config import FusionConfig
from locbench.session import examine_session


@pytest.fixture(scope="module")
def logged(tmp_path_factory):
    """A run with marks and tags of a robot with 0.5 % of a wheel, 2 mm of a lever arm, 35 ms of latency off."""
    examined = examine_session(made_session(RUNS[0], 501, tmp_path_factory.mktemp("run")))
    assert examined.session is not None
    session = replace(examined.session, truth=None)
    return Logged(session, examined.config, examined.files.field, FusionConfig(name="calibration"))


@pytest.fixture(scope="module")
def fitted(logged):
    return gathered([logged])


@pytest.fixture(scope="module")
def clean(fitted):
    return held_out_errors(fitted)


def test_dead_reckoning_gains_where_the_fit_did_not_look(fitted, clean):
    # every visit once, whichever half it was left out with
    assert len(clean.before_m) == len(clean.after_m) == len(fitted.drives[0].marks.knot)
    assert np.sqrt(np.mean(clean.after_m**2)) < 0.5 * np.sqrt(np.mean(clean.before_m**2))


def test_what_was_left_out_takes_no_part(fitted, clean):
    """A visit moved by a metre costs its own fold the metre and changes nothing of the other fold's constants."""
    (drive,) = fitted.drives
    last = len(drive.marks.knot) - 1
    pose = drive.marks.pose.copy()
    pose[last, 0] += 1.0
    moved = replace(fitted, drives=(replace(drive, marks=replace(drive.marks, pose=pose)),))
    errors = held_out_errors(moved)
    alone = np.flatnonzero(np.abs(errors.before_m - clean.before_m) > 1e-9)
    # one reference differs by the nominal constants, and the half that it stands in is fitted without it
    assert len(alone) == 1
    other = np.flatnonzero(np.abs(errors.after_m - clean.after_m) < 1e-9)
    assert len(other) >= len(clean.after_m) // 2 - 1


def test_without_references_nothing_is_claimed(logged):
    session = replace(logged.session, marks=None)
    assert held_out_errors(gathered([replace(logged, session=session)])) is None


def test_a_mark_read_as_another_is_named_by_its_time(fitted):
    (drive,) = fitted.drives
    assert len(outlying(calibrated(fitted).fit)[0].visit_s) <= 1
    pose = drive.marks.pose.copy()
    pose[4, :2] += [0.3, -0.2]
    moved = replace(fitted, drives=(replace(drive, marks=replace(drive.marks, pose=pose)),))
    (found,) = outlying(calibrated(moved).fit)
    assert drive.wheels.time_s[drive.knot_row[drive.marks.knot[4]]] in found.visit_s
    assert found.session.startswith("calibration run")
    assert 0 < found.detections < 0.2 * found.offered
