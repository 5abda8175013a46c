"""What a pose error does to a shot: where it lands, whether it goes in, and from which distances."""

from locbench.shots.bands import ShotNumbers, Shots, aim_from, clean_share, joined_shots, shot_numbers
from locbench.shots.kicks import AimKicks, aim_kicks
from locbench.shots.landing import can_aim, landing_offset
from locbench.shots.on_target import time_on_target
from locbench.shots.opening import clean_entry, clean_outline, opening_outline

__all__ = [
    "AimKicks",
    "ShotNumbers",
    "Shots",
    "aim_from",
    "aim_kicks",
    "can_aim",
    "clean_entry",
    "clean_outline",
    "clean_share",
    "joined_shots",
    "landing_offset",
    "opening_outline",
    "shot_numbers",
    "time_on_target",
]
