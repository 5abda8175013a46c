"""What tags and marks add to contradicting sensors: simulated runs of the healthy scenario with slips put in.

`python tests/slip/by_tags.py [RUNS] [FIRST_SEED]` prints, for logs with tags and marks, with tags alone and with marks
alone, how many slips of the pod that nothing contradicts were found and named, how many of the others were decided and
rightly so, and how many events runs without slips show.
"""

import sys
import tempfile
from collections.abc import Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from changed_sessions import ROOT, without_tables

from locbench.config import FieldConfig, RobotConfig, ScenarioConfig, load_config
from locbench.config.scenario import Slip
from locbench.jobs.slip import slip
from locbench.results import SlipEvent
from locbench.session.writer import SourceFiles, write_session
from locbench.simulation import record_run
from locbench.simulation.pods import roll_pods, true_pods
from locbench.simulation.streams import random_streams
from locbench.simulation.world import build_world

CONFIGS = ROOT / "configs"
SIZES_M, LONGEST_S, EVERY_S = (0.03, 0.10), 1.2, 9.0
LARGE_M = 0.070
KNOWN = {"tags and marks": (), "tags": ("marks",), "marks": ("tags",)}


@dataclass(frozen=True)
class TrueSlip:
    """A pod lost that travel between two times."""

    pod: str
    begin_s: float
    end_s: float
    lost_m: float


@dataclass
class Score:
    """What became of slips: of `cross`, which nothing contradicts, and of the others."""

    unseen: int = 0
    unseen_found: int = 0
    unseen_named: int = 0
    large: int = 0
    large_named: int = 0
    seen: int = 0
    seen_found: int = 0
    decided: int = 0
    decided_right: int = 0
    events_without_slips: int = 0
    minutes: float = 0.0

    def add(self, other: "Score") -> None:
        """Add the counts of another score."""
        for name, value in vars(other).items():
            setattr(self, name, getattr(self, name) + value)


def slips_for(
    scenario: ScenarioConfig, robot: RobotConfig, field: FieldConfig, seed: int
) -> tuple[tuple[TrueSlip, float], ...]:
    """Return slips of all three pods in turn, each while its pod rolls far enough, with the share lost."""
    streams = random_streams(seed, robot.pods)
    world = build_world(scenario, field, streams.placing, "scenario")
    time_s = np.arange(0.0, world.duration_s, 0.01)
    rolling = roll_pods(world, true_pods(scenario, robot), time_s)
    generator = np.random.default_rng([seed, 5])
    planned, at, names = [], 5.0, list(generator.permutation(list(robot.pods)))
    while at < world.duration_s - 6.0:
        pod = names[len(planned) % 3]
        travel = rolling[pod].travel_m
        share, size = generator.uniform(0.3, 1.0), generator.uniform(*SIZES_M)
        first, last = np.searchsorted(time_s, [at, at + LONGEST_S])
        lost = share * np.abs(travel[first : last + 1] - travel[first])
        reached = np.flatnonzero(lost >= size)
        if not len(reached):
            at += 0.2
            continue
        planned.append((TrueSlip(pod, at, float(time_s[first + reached[0]]), float(lost[reached[0]])), share))
        at = planned[-1][0].end_s + EVERY_S
    return tuple(planned)


def run(seed: int, tables: Sequence[str], *, with_slips: bool) -> Score:
    """Return the score of one run whose log lacks some tables; the dense truth is left out always."""
    path = CONFIGS / "scenario_healthy.toml"
    scenario = load_config(path, ScenarioConfig)
    robot, field = (
        load_config(CONFIGS / scenario.robot, RobotConfig),
        load_config(CONFIGS / scenario.field, FieldConfig),
    )
    planned = slips_for(scenario, robot, field, seed) if with_slips else ()
    slips = [
        Slip.model_construct(pod=one.pod, start=one.begin_s, duration=one.end_s - one.begin_s, lost=share)
        for one, share in planned
    ]
    files = SourceFiles(CONFIGS / scenario.robot, CONFIGS / scenario.field, (CONFIGS / scenario.fusion[0],), None)
    recording = record_run(scenario.model_copy(update={"slips": tuple(slips)}), robot, field, files, seed, "scenario")
    with tempfile.TemporaryDirectory() as folder:
        write_session(Path(folder), recording.record)
        record = slip([without_tables(Path(folder), "truth", *tables)])
    return scored([one for one, _ in planned], record.events, record.sessions[0].duration_s / 60.0)


def scored(planned: Sequence[TrueSlip], events: Sequence[SlipEvent], minutes: float) -> Score:
    """Return the score of one run."""
    score = Score()
    if not planned:
        score.events_without_slips, score.minutes = len(events), minutes
        return score
    for true in planned:
        mine = [event for event in events if event.start_s < true.end_s + 1.0 and event.end_s > true.begin_s - 1.0]
        named = [event for event in mine if event.candidates == [true.pod]]
        if true.pod == "cross":
            score.unseen += 1
            score.unseen_found += any("cross" in event.candidates for event in mine)
            score.unseen_named += bool(named)
            score.large += true.lost_m >= LARGE_M
            score.large_named += bool(named) and true.lost_m >= LARGE_M
        else:
            score.seen += 1
            told = [event for event in mine if true.pod in event.candidates]
            score.seen_found += bool(told)
            alone = [event for event in mine if len(event.candidates) == 1 and event.candidates != ["cross"]]
            score.decided += bool(alone)
            score.decided_right += bool(named)
    return score


def main() -> None:
    """Print the table."""
    runs, first = (int(value) for value in (*sys.argv[1:3], *("20", "300")[len(sys.argv[1:3]) :]))
    columns = (
        "log has",
        "cross: found",
        "cross: named",
        "of 70 mm or more",
        "left, right: found",
        "decided",
        "rightly",
    )
    print("| " + " | ".join((*columns, "events without slips")) + " |")
    print("|---|---|---|---|---|---|---|---|")
    with ProcessPoolExecutor() as pool:
        for known, tables in KNOWN.items():
            total = Score()
            jobs = [
                pool.submit(run, seed, tables, with_slips=with_slips)
                for seed in range(first, first + runs)
                for with_slips in (True, False)
            ]
            for job in jobs:
                total.add(job.result())
            cells = (
                known,
                f"{total.unseen_found} of {total.unseen}",
                str(total.unseen_named),
                f"{total.large_named} of {total.large}",
                f"{total.seen_found} of {total.seen}",
                str(total.decided),
                str(total.decided_right),
                f"{total.events_without_slips} in {total.minutes:.0f} min",
            )
            print("| " + " | ".join(cells) + " |", flush=True)


if __name__ == "__main__":
    main()
