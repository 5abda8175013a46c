from collections.abc import Callable
from pathlib import Path

import pandas as pd
import pytest
from logs import SmallLog

from locbench.jobs.inspect import inspect
from locbench.results import DiagnosisRecord

Spoil = Callable[[SmallLog], None]


class Inspector:
    """Writes a small log with everything in it, spoilt, and says what an inspection finds."""

    def __init__(self, folder: Path) -> None:
        self.log = SmallLog(folder / "log").with_tags().with_truth()
        truth = self.log.tables["truth.csv"]
        # an instrument of its own: it does not repeat the odometry to the micrometre
        wave = 3.0 * pd.Series(range(len(truth))).mod(7).sub(3)
        truth["x"] += wave / 1000.0
        truth["h"] += wave / 10.0

    def found(self, head: str | None = None) -> dict[str, DiagnosisRecord]:
        folder = self.log.write() if head is None else self.log.write(head=head)
        return {one.code: one for one in inspect(folder).inspection.diagnoses}


@pytest.fixture
def inspector(tmp_path: Path) -> Inspector:
    return Inspector(tmp_path)
