"""Estimators: dead reckoning, tags alone, the robot's own pose, and filters that fuse odometry with tags."""

from locbench.fusion.corrections import Corrections, Rule
from locbench.fusion.estimators import Estimate, dead_reckoning, onboard, tags_only
from locbench.fusion.textbook import fuse
from locbench.fusion.track import Between, Sampled, Track, sample_track

__all__ = [
    "Between",
    "Corrections",
    "Estimate",
    "Rule",
    "Sampled",
    "Track",
    "dead_reckoning",
    "fuse",
    "onboard",
    "sample_track",
    "tags_only",
]
