"""What to see to before a robot moves: the same words wherever a command tells somebody to drive."""

__all__ = ["BEFORE_THE_ROBOT_MOVES"]

BEFORE_THE_ROBOT_MOVES = (
    "Before the robot moves: eye protection on, floor clear of people, wheels off the ground on blocks for the first "
    "try, one person at the stop button; the event's rules and the responsible adult decide"
)
