"""How surely failing counters are found and named: drives of layout A in which one counter fails for a while.

`python tests/slip/failing_counters.py [DRIVES]` makes that many drives of a minute (default 60) with one failure of
each kind, of any pod, and prints how many were found and named.
"""

import sys
from collections.abc import Callable
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, replace

import numpy as np
from detection import AS_CALIBRATED, LAYOUTS, analysed, drive, recorded, robot_of

from locbench.odometry import logged_sensors, measure_motion
from locbench.session import PodTravel
from locbench.slip.alarms import FALSE_ALARMS_PER_MINUTE
from locbench.slip.counters import counter_faults
from locbench.slip.kinds import SlipFault
from locbench.slip.study import events_of

ROBOT = robot_of(next(iter(LAYOUTS.values())))
ROLLING_M_PER_S, LASTING_S, LEAP_M = 0.35, (0.2, 0.8), (0.02, 0.10)


@dataclass
class Score:
    """Failures of one kind, how many were found, named with their kind and pod, and further events in those drives."""

    failures: int = 0
    found: int = 0
    named: int = 0
    others: int = 0


def _stuck(step: np.ndarray, first: int, last: int, _: np.random.Generator) -> None:
    step[first:last] = 0.0


def _reversed(step: np.ndarray, first: int, last: int, _: np.random.Generator) -> None:
    step[first:last] *= -1.0


def _jump(step: np.ndarray, first: int, _: int, generator: np.random.Generator) -> None:
    step[first] += generator.uniform(*LEAP_M) * generator.choice([-1.0, 1.0])


CHANGES: dict[SlipFault, Callable[[np.ndarray, int, int, np.random.Generator], None]] = {
    SlipFault.STUCK: _stuck,
    SlipFault.REVERSED: _reversed,
    SlipFault.JUMP: _jump,
}


def _while_rolling(speed: np.ndarray, generator: np.random.Generator) -> tuple[int, int]:
    """Return the rows of a while that begins and ends while the pod rolls fast."""
    while True:
        first = int(generator.integers(300, len(speed) - 200))
        last = first + round(generator.uniform(*LASTING_S) / 0.01)
        if min(abs(speed[first - 4]), abs(speed[first]), abs(speed[last]), abs(speed[last + 4])) > ROLLING_M_PER_S:
            return first, last


def run(number: int, kind: SlipFault) -> Score:
    """Return the score of one drive."""
    generator = np.random.default_rng([number, list(CHANGES).index(kind)])
    log, _ = recorded(drive(1.0, generator), ROBOT, AS_CALIBRATED, generator, None)
    name = str(generator.choice(list(ROBOT.pods)))
    step = np.diff(log.travel_m[name], prepend=log.travel_m[name][0])
    first, last = _while_rolling(step / 0.01, generator)
    CHANGES[kind](step, first, last, generator)
    spoilt: PodTravel = replace(log, travel_m={**log.travel_m, name: log.travel_m[name][0] + np.cumsum(step)})
    motion = measure_motion(spoilt, ROBOT)
    sensors = logged_sensors(motion, spoilt, ROBOT)
    events = events_of(analysed(spoilt, ROBOT)[1], counter_faults(motion, sensors), [], FALSE_ALARMS_PER_MINUTE)
    begin_s, end_s = log.time_s[first] - 0.1, log.time_s[last if kind is not SlipFault.JUMP else first] + 0.1
    mine = [event for event in events if event.first_s < end_s and event.last_s > begin_s]
    named = [
        event
        for event in mine
        if event.fault is kind and [sensors.layout.name[one.sensor] for one in event.candidates] == [name]
    ]
    return Score(1, int(bool(mine)), int(bool(named)), len(events) - len(mine))


def main() -> None:
    """Print the table."""
    drives = int(sys.argv[1]) if len(sys.argv) > 1 else 60
    print("| failure | drives | found | pod and kind named | further events |")
    print("|---|---|---|---|---|")
    with ProcessPoolExecutor() as pool:
        for kind in CHANGES:
            scores = list(pool.map(run, range(drives), [kind] * drives))
            found, named = (sum(getattr(one, key) for one in scores) for key in ("found", "named"))
            print(f"| {kind} | {drives} | {found} | {named} | {sum(one.others for one in scores)} |", flush=True)


if __name__ == "__main__":
    main()
