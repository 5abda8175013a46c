"""Every fault of the set-up is named by its code and no other, and healthy sessions by none: the README's matrix."""

from pathlib import Path

import pytest
from setup_faults import FAULTS, HEALTHY, SEEDS, as_healthy, error_codes, healthy_session, with_fault
from smaller_faults import SCALES, row

from locbench.inspection.diagnosis import SetupFault
from locbench.jobs.inspect import inspect

README = Path(__file__).parents[2] / "README.md"


def test_every_code_of_a_single_fault_is_in_the_matrix():
    without = {SetupFault.PATH_TOO_STRAIGHT, SetupFault.UNEXPLAINED}
    assert {fault.code for fault in FAULTS} == set(SetupFault) - without


def test_the_readme_holds_every_row_of_the_matrix():
    text = README.read_text()
    missing = [one.name for one in (*FAULTS, *HEALTHY) if f"| {one.name} |" not in text]
    assert missing == []


def test_the_readme_holds_every_row_of_how_small_a_fault_may_be():
    text = README.read_text()
    assert [scale.name for scale in SCALES if f"| {scale.name} |" not in text] == []


def test_a_fault_below_its_limit_is_not_named_and_one_well_above_it_is(tmp_path):
    scale = next(scale for scale in SCALES if scale.code is SetupFault.RANGE_SCALE)
    assert row(tmp_path, scale, SEEDS[:2]) == ["1 %: 0 of 2", "3 %: 2 of 2", "5 %: 2 of 2, 2 as error"]


@pytest.fixture(scope="module")
def runs(tmp_path_factory):
    folder = tmp_path_factory.mktemp("mended")
    reports = {fault.report for fault in FAULTS}
    return {report: healthy_session(folder / report.value, SEEDS[0], report) for report in reports}


@pytest.mark.parametrize("healthy", HEALTHY, ids=lambda healthy: healthy.name)
def test_a_healthy_run_is_not_named_at_all(healthy, runs, tmp_path):
    folder = as_healthy(runs[healthy.report], tmp_path / "session", healthy)
    assert error_codes(inspect(folder).inspection) == []


# the script tries ten runs, of which 95 % have to be named exactly
@pytest.mark.parametrize("fault", FAULTS, ids=lambda fault: fault.name)
def test_a_fault_is_named_exactly_and_healthy_with_the_proposed_lines_written(fault, runs, tmp_path):
    folder = with_fault(runs[fault.report], tmp_path / "session", fault)
    found = inspect(folder)
    assert error_codes(found.inspection) == [fault.code.value]
    changed = found.changed_files
    if not changed:
        # what the camera's program or the gyro does cannot be mended in these files
        assert fault.code in (SetupFault.TAGS_EXCHANGED, SetupFault.GYRO_DRIFT)
        return
    for file in changed:
        (folder / file.name).write_text(file.changed_text)
    left = [found for found in inspect(folder).inspection.diagnoses if found.severity != "note"]
    assert left == []
