"""A healthy and a worn robot on the run sheet's drive; tests/precheck/healthy_and_worn.py tries 200 of each."""

import pytest
from changed_sessions import without_tables
from precheck.healthy_and_worn import HEALTHY_MM, WORN_MM, made_check

from locbench.jobs.precheck import baseline_of_session, precheck
from locbench.precheck.judging import Overall
from locbench.statistics import Conformity


@pytest.fixture(scope="module")
def baseline(tmp_path_factory):
    folder = tmp_path_factory.mktemp("good")
    path = folder / "good.toml"
    path.write_text(
        baseline_of_session(without_tables(made_check(folder, 90_000, HEALTHY_MM), "tags"), "2026-11-01T10:00").text
    )
    return path


@pytest.mark.parametrize(("seed", "left_mm", "worn"), [(1, HEALTHY_MM, False), (50_001, WORN_MM, True)])
def test_a_wheel_worn_by_0_6_percent_fails_and_a_healthy_one_does_not(seed, left_mm, worn, baseline, tmp_path):
    session = without_tables(made_check(tmp_path, seed, left_mm), "tags")
    check = precheck(session, baseline, tmp_path / "history.csv", "2026-11-26T10:00").precheck
    failed = [one.name for one in check.lines if one.verdict is Conformity.FAIL]
    assert failed == (["pods.left.wheel_diameter"] if worn else [])
    assert (check.verdict is Overall.FAIL) == worn
    wheel = next(one for one in check.lines if one.name == "pods.left.wheel_diameter")
    # what the run sheet is laid out for
    assert wheel.std <= 0.0006 * wheel.value
