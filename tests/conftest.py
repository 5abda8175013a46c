import os

# before numpy is imported: workers that each keep every core busy with small matrices wait for each other
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import pytest
from hypothesis import HealthCheck, settings

# derandomised: the same examples on every machine, so that a red run can be repeated
settings.register_profile(
    "repeatable", derandomize=True, deadline=None, suppress_health_check=[HealthCheck.too_slow], max_examples=30
)
settings.load_profile("repeatable")

os.environ.setdefault("COLUMNS", "120")


@pytest.hookimpl(trylast=True)
def pytest_sessionfinish(session: pytest.Session) -> None:
    """A skipped test proves nothing: in CI it is a failure."""
    reporter = session.config.pluginmanager.get_plugin("terminalreporter")
    if os.environ.get("CI") and reporter is not None and reporter.stats.get("skipped"):
        session.exitstatus = pytest.ExitCode.TESTS_FAILED
