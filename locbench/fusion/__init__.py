"""Estimators: dead reckoning, tags alone, the robot's own pose, and filters that fuse odometry with tags."""

from locbench.fusion.compiled import SweepResult, make_ready, sweep_candidates
from locbench.fusion.corrections import Corrections, Rule
from locbench.fusion.estimators import UNCORRECTED, Estimate, dead_reckoning, onboard, tags_only
from locbench.fusion.fusing import fuse
from locbench.fusion.redraws import redrawn_errors
from locbench.fusion.steps import CorrectionSteps
from locbench.fusion.track import Between, Sampled, Track, sample_track

__all__ = [
    "UNCORRECTED",
    "Between",
    "CorrectionSteps",
    "Corrections",
    "Estimate",
    "Rule",
    "Sampled",
    "SweepResult",
    "Track",
    "dead_reckoning",
    "fuse",
    "make_ready",
    "onboard",
    "redrawn_errors",
    "sample_track",
    "sweep_candidates",
    "tags_only",
]
