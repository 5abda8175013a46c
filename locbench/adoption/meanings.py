"""What a column may stand for, as its name says."""

from enum import StrEnum

from locbench.adoption.headers import HeaderReading
from locbench.units import Dimension

__all__ = [
    "AXIS_WORDS",
    "DIMENSION",
    "GYRO_WORDS",
    "ONBOARD_WORDS",
    "POD_SIDES",
    "REQUEST_WORDS",
    "SIDEWAYS_WORDS",
    "STEP_WORDS",
    "TRUTH_WORDS",
    "Meaning",
    "named_meaning",
]


class Meaning(StrEnum):
    """What a column stands for, in the words shown to the user."""

    TIME = "time"
    CAPTURED = "time of capture"
    ARRIVED = "time of arrival"
    LATENCY = "latency"
    BEGIN = "begin of a visit"
    END = "end of a visit"
    MARK = "name of the mark"
    TAG = "tag id"
    TAG_COUNT = "number of tags"
    X = "x"
    Y = "y"
    Z = "z"
    HEADING = "heading"
    FORWARD_SPEED = "forward speed"
    LEFT_SPEED = "speed to the left"
    TURN_RATE = "turn rate"
    FORWARD_STEP = "forward step"
    LEFT_STEP = "step to the left"
    TURN_STEP = "turn since the row before"
    POD = "pod counts"
    RANGE = "range"
    BEARING = "bearing"
    VIEW_ANGLE = "view angle"
    REPROJECTION_RATIO = "reprojection ratio"
    TURRET_YAW = "turret yaw"
    X_STD = "spread of x"
    Y_STD = "spread of y"
    Z_STD = "spread of z"
    HEADING_STD = "spread of the heading"
    RANGE_STD = "spread of the range"
    BEARING_STD = "spread of the bearing"


_OF_DIMENSION = {
    Dimension.TIME: (Meaning.TIME, Meaning.CAPTURED, Meaning.ARRIVED, Meaning.LATENCY, Meaning.BEGIN, Meaning.END),
    Dimension.LENGTH: (
        *(Meaning.X, Meaning.Y, Meaning.Z, Meaning.FORWARD_STEP, Meaning.LEFT_STEP, Meaning.RANGE),
        *(Meaning.X_STD, Meaning.Y_STD, Meaning.Z_STD, Meaning.RANGE_STD),
    ),
    Dimension.ANGLE: (
        *(Meaning.HEADING, Meaning.TURN_STEP, Meaning.BEARING, Meaning.VIEW_ANGLE, Meaning.TURRET_YAW),
        *(Meaning.HEADING_STD, Meaning.BEARING_STD),
    ),
    Dimension.SPEED: (Meaning.FORWARD_SPEED, Meaning.LEFT_SPEED),
    Dimension.TURN_RATE: (Meaning.TURN_RATE,),
}
DIMENSION = {meaning: dimension for dimension, meanings in _OF_DIMENSION.items() for meaning in meanings}

TRUTH_WORDS = frozenset({"true", "truth", "gt", "ground", "mocap", "reference", "ref"})
ONBOARD_WORDS = frozenset({"onboard", "believed", "est", "estimate", "estimated", "fused", "own"})
REQUEST_WORDS = frozenset({"request", "requests", "press", "presses", "pressed", "button"})
# Words for a pod's place, each with its usual abbreviations.
POD_SIDES = {
    "left": ("left", "l"),
    "right": ("right", "r"),
    "cross": ("cross", "c", "center", "centre", "back", "rear", "perp", "perpendicular", "strafe", "lateral", "side"),
}

_ALONE = frozenset({"shutter", "capture", "captured", "exposure", "arrived", "arrival", "received", "pressed"})
_TIME = frozenset({"t", "time", "timestamp", "stamp", "ts", "clock", "epoch"})
_BEGIN = frozenset({"begin", "from", "start", "enter", "begins"})
_END = frozenset({"end", "to", "until", "stop", "leave", "exit", "ends"})
_CAPTURED = frozenset({"shutter", "capture", "captured", "exposure", "taken", "image", "frame", "picture"})
_ARRIVED = frozenset({"rx", "arrived", "arrival", "received", "receive", "recv", "got"})
_LATENCY = frozenset({"latency", "delay", "lag", "age"})
_STD = frozenset({"std", "sigma", "sd", "stdev", "stddev"})
_TURRET = frozenset({"turret", "tur"})
_RATIO = frozenset({"ratio", "ambiguity", "reprojection"})
_VIEW = frozenset({"view", "incidence", "obliquity"})
_MARK = frozenset({"mark", "marks", "station", "spot", "place", "point"})
_TAG = frozenset({"tag", "tags", "id", "ids", "fiducial", "marker", "beacon", "anchor"})
_COUNTING = frozenset({"n", "num", "number", "count"})
_POD = frozenset({"enc", "encoder", "pod", "odo", "tick", "ticks", "count", "counts", "cnt"})
_RATE = frozenset({"omega", "w", "wz", "gz", "rate", "yawrate", "turnrate"})
_SPEED = frozenset({"v", "vel", "velocity", "speed", "vx", "vy"})
_STEP = frozenset({"d", "delta", "inc", "increment", "step", "dx", "dy", "dh", "dtheta", "dyaw"})
# A rate with one of these is one of rows or pictures.
_REPEATING = frozenset({"loop", "frame", "sample", "update", "fps", "hz"})
_TURN_STEP = frozenset({"dh", "dtheta", "dyaw", "turn"})
_BEARING = frozenset({"bearing", "azimuth"})
_RANGE = frozenset({"range", "dist", "distance"})
_HEADING = frozenset(
    {"heading", "hdg", "h", "theta", "th", "yaw", "gyro", "imu", "orientation", "rot", "rotation", "angle", "facing"}
)
_X = frozenset({"x", "px", "posx", "east"})
_Y = frozenset({"y", "py", "posy", "north"})
_Z = frozenset({"z", "pz", "up", "height"})
_FORWARD = frozenset({"forward", "fwd", "ahead", "long"})
# Sideways motion grows to the left in some programs, to the right in others.
SIDEWAYS_WORDS = frozenset({"lateral", "sideways", "strafe"})
_LEFT = SIDEWAYS_WORDS | {"left", "leftward"}
# Words that say which of the robot's own axes a motion is along.
AXIS_WORDS = _FORWARD | frozenset({"left", "leftward"})
# Words of a gyro, whose columns hold angles or rates.
GYRO_WORDS = frozenset({"gyro", "imu", "rot", "rotation"})
# Words that say that a motion is one from a row to the next.
STEP_WORDS = _STEP
_RIGHT = frozenset({"right", "rightward"})
# What was wanted, or is left, is not what was measured; a variance is no standard deviation.
_NOT_MEASURED = frozenset(
    {"goal", "setpoint", "desired", "wanted", "cmd", "command", "commanded", "error", "err", "var", "variance", "cov"}
)
_SPREADS = {
    Meaning.X: Meaning.X_STD,
    Meaning.Y: Meaning.Y_STD,
    Meaning.Z: Meaning.Z_STD,
    Meaning.HEADING: Meaning.HEADING_STD,
    Meaning.RANGE: Meaning.RANGE_STD,
    Meaning.BEARING: Meaning.BEARING_STD,
}


def named_meaning(reading: HeaderReading) -> Meaning | None:
    """Return what the words and the unit of a name stand for, or None where they say nothing known."""
    words, dimension = frozenset(reading.words), reading.dimension
    if words & _NOT_MEASURED:
        return None
    if words & _STD:
        measured = _placed(words - _STD, dimension)
        return None if measured is None else _SPREADS.get(measured)
    if words & _TURRET:
        return Meaning.TURRET_YAW
    if words & _RATIO:
        return Meaning.REPROJECTION_RATIO
    if words & _VIEW:
        return Meaning.VIEW_ANGLE
    return (
        _timed(words, dimension)
        or _identified(words, dimension)
        or _moving(words, dimension)
        or _placed(words, dimension)
        or _stepped(words, dimension)
    )


def _timed(words: frozenset[str], dimension: Dimension | None) -> Meaning | None:
    if dimension not in (None, Dimension.TIME):
        # a unit of something else in its name may stand for a word: "time_in"
        if not words & _TIME:
            return None
    elif dimension is None and not words & (_TIME | _LATENCY) and not _is_a_time_alone(words):
        return None
    for meaning, known in (
        (Meaning.LATENCY, _LATENCY),
        (Meaning.BEGIN, _BEGIN),
        (Meaning.END, _END),
        (Meaning.CAPTURED, _CAPTURED),
        (Meaning.ARRIVED, _ARRIVED),
    ):
        if words & known:
            return meaning
    return Meaning.TIME


def _is_a_time_alone(words: frozenset[str]) -> bool:
    """Return whether a single word without a unit is the name of a moment."""
    return len(words) == 1 and bool(words & (_BEGIN | _END | _ALONE))


def _identified(words: frozenset[str], dimension: Dimension | None) -> Meaning | None:
    measured = words & (_X | _Y | _Z | _HEADING | _RANGE | _BEARING)
    if dimension is not None or measured:
        return None
    if words & _MARK:
        return Meaning.MARK
    if words & _TAG:
        return Meaning.TAG_COUNT if words & _COUNTING else Meaning.TAG
    return Meaning.POD if words & _POD else None


def _moving(words: frozenset[str], dimension: Dimension | None) -> Meaning | None:
    if dimension is Dimension.TURN_RATE or (dimension is None and words & _RATE and not words & _REPEATING):
        return Meaning.TURN_RATE
    if dimension is Dimension.SPEED or (dimension is None and words & _SPEED):
        if words & _RIGHT:
            return None
        if words & (_HEADING | {"turn"}):
            return Meaning.TURN_RATE if dimension is None else None
        return Meaning.LEFT_SPEED if words & (_LEFT | _Y | {"vy"}) else Meaning.FORWARD_SPEED
    if words & _STEP:
        if words & (_HEADING | _TURN_STEP) or dimension is Dimension.ANGLE:
            return Meaning.TURN_STEP
        return Meaning.LEFT_STEP if words & (_LEFT | _Y | {"dy"}) else Meaning.FORWARD_STEP
    return None


def _placed(words: frozenset[str], dimension: Dimension | None) -> Meaning | None:
    if dimension in (None, Dimension.LENGTH):
        for meaning, known in ((Meaning.RANGE, _RANGE), (Meaning.X, _X), (Meaning.Y, _Y), (Meaning.Z, _Z)):
            if words & known:
                return meaning
    if dimension in (None, Dimension.ANGLE):
        for meaning, known in ((Meaning.BEARING, _BEARING), (Meaning.HEADING, _HEADING)):
            if words & known:
                return meaning
    return None


def _stepped(words: frozenset[str], dimension: Dimension | None) -> Meaning | None:
    if words & _RIGHT:
        return None
    if dimension in (None, Dimension.LENGTH):
        if words & _FORWARD:
            return Meaning.FORWARD_STEP
        if words & _LEFT:
            return Meaning.LEFT_STEP
    if dimension in (None, Dimension.ANGLE) and "turn" in words:
        return Meaning.TURN_STEP
    return None
