"""Sets the benchmarks of one run beside each other: a ratio holds on other machines, a time does not."""

import os

import pytest


@pytest.hookimpl(trylast=True)
def pytest_terminal_summary(terminalreporter: pytest.TerminalReporter, config: pytest.Config) -> None:
    """Print how much faster the compiled replay is than the frozen loop."""
    session = getattr(config, "_benchmarksession", None)
    benches = session.benchmarks if session is not None else []
    best = {bench.name: bench.stats.min for bench in benches}
    if not {"test_frozen_loop", "test_one_replay", "test_sweep"} <= set(best):
        return
    loop, replay, sweep = (best[name] for name in ("test_frozen_loop", "test_one_replay", "test_sweep"))
    cores = len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1
    sizes = benches[0].extra_info
    each = sweep / sizes["candidates"]
    terminalreporter.section("compiled replay against the frozen loop")
    terminalreporter.write_line(
        f"frozen loop {loop:.2f} s, one replay {replay * 1e3:.3f} ms: {loop / replay:,.0f} times"
    )
    terminalreporter.write_line(
        f"sweep {sweep:.2f} s, {each * 1e3:.3f} ms a candidate on {cores} cores: {loop / each:,.0f} times (bar 5,000)"
    )
    terminalreporter.write_line(
        f"{replay / sizes['detections'] * 1e9:.0f} ns per detection alone, "
        f"{each / sizes['detections'] * cores * 1e9:.0f} ns per detection and core in the sweep (bar 150)"
    )
