"""What a tag detection measures, how uncertain it is, and how it depends on the robot's pose."""

from locbench.vision.measurement import Measurement, fix_measurement, measurement, pose_measurement
from locbench.vision.prediction import mount_error, predicted_values
from locbench.vision.sightings import (
    Sightings,
    as_robot_poses,
    fixes,
    lines_of_sight,
    prepare_sightings,
    tag_places,
)

__all__ = [
    "Measurement",
    "Sightings",
    "as_robot_poses",
    "fix_measurement",
    "fixes",
    "lines_of_sight",
    "measurement",
    "mount_error",
    "pose_measurement",
    "predicted_values",
    "prepare_sightings",
    "tag_places",
]
