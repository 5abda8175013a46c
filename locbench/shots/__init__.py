"""What a pose error does to a shot: where it lands, whether it goes in, and from which distances."""

from locbench.shots.bands import Shots, aim_from, joined_shots
from locbench.shots.figures import Basis, ShotFigures, ShotNumbers, Substitute, clean_share, shot_numbers
from locbench.shots.kicks import AimKicks, aim_kicks
from locbench.shots.landing import can_aim, landing_offset
from locbench.shots.on_target import time_on_target
from locbench.shots.opening import clean_entry, clean_outline, opening_outline
from locbench.shots.predicting import hit_probability, landing_covariance

__all__ = [
    "AimKicks",
    "Basis",
    "ShotFigures",
    "ShotNumbers",
    "Shots",
    "Substitute",
    "aim_from",
    "aim_kicks",
    "can_aim",
    "clean_entry",
    "clean_outline",
    "clean_share",
    "hit_probability",
    "joined_shots",
    "landing_covariance",
    "landing_offset",
    "opening_outline",
    "shot_numbers",
    "time_on_target",
]
