"""What detections are measured by: a log's own spreads are along its own axes, residuals along the line of sight."""

from dataclasses import replace

import numpy as np
import pytest
from builders import START, detections, motion

from locbench.calibration.drive import Seen
from locbench.calibration.sightings import spreads
from locbench.config.fusion import TagNoise
from locbench.odometry import dead_reckon

X_STD, Y_STD, HEADING_STD = 0.01, 0.05, 0.02


def _seen(own):
    drive = motion()
    found = detections(drive, dead_reckon(drive, START.pose), count=4)
    return Seen(
        detections=replace(found, own_covariance=own),
        camera="cameras.front",
        tags=np.array(
            [[5.0, 0.0, 0.3, np.pi], [0.0, 5.0, 0.3, -np.pi / 2.0], [3.0, 3.0, 0.3, 0.0], [5.0, 0.0, 0.3, 3.0]]
        ),
        mounts=np.zeros((4, 6)),
        mount=np.zeros(3),
        noise=TagNoise(),
        own_covariance=own,
        knot=np.zeros(4, dtype=np.int64),
        leg=np.zeros(4, dtype=np.int64),
    )


def test_own_spreads_are_turned_into_the_line_of_sight():
    own = np.tile(np.diag([X_STD, Y_STD, HEADING_STD]) ** 2, (4, 1, 1))
    # one does not report its heading's, one nothing at all
    own[2, 2, 2] = np.nan
    own[3] = np.nan
    poses = np.zeros((4, 3))
    std = spreads(_seen(own), poses).std
    modelled = spreads(_seen(np.full_like(own, np.nan)), poses).std
    assert std[0] == pytest.approx([X_STD, Y_STD, HEADING_STD])
    assert std[1] == pytest.approx([Y_STD, X_STD, HEADING_STD])
    halfway = np.sqrt((X_STD**2 + Y_STD**2) / 2.0)
    assert std[2] == pytest.approx([halfway, halfway, modelled[2, 2]])
    assert std[3] == pytest.approx(modelled[3])
