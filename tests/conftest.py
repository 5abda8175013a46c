import os

from hypothesis import HealthCheck, settings

# derandomised: the same examples on every machine, so that a red run can be repeated
settings.register_profile(
    "repeatable", derandomize=True, deadline=None, suppress_health_check=[HealthCheck.too_slow], max_examples=60
)
settings.load_profile("repeatable")

os.environ.setdefault("COLUMNS", "120")
