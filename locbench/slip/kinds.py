"""What can happen to a sensor of the odometry, and what tells of it."""

from enum import StrEnum

__all__ = ["SlipChannel", "SlipFault"]


class SlipChannel(StrEnum):
    """What told of an event: contradicting sensors, corrections at tags or marks, or a counter's own readings."""

    PARITY = "parity"
    TAGS = "tags"
    MARKS = "marks"
    COUNTER = "counter"


class SlipFault(StrEnum):
    """What happened: travel was lost, or a counter failed."""

    SLIP = "slip"
    STUCK = "stuck"
    JUMP = "jump"
    REVERSED = "reversed"
