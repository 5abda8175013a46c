"""The run sheet printed by a real browser."""

import base64
import re
from pathlib import Path

import pytest

from locbench.drive_kinds import DriveKind
from locbench.jobs.runsheet import lay_out
from locbench.report.runsheet_page import write_runsheet
from locbench.units import UnitSystem

CONFIGS = Path(__file__).parents[2] / "configs"
EMPTY = """name = "Empty hall"
[floor]
x_from = "-8 m"
x_to = "8 m"
y_from = "-4 m"
y_to = "4 m"
[[tags]]
id = 4
x = "0 m"
y = "4 m"
facing = "-90 deg"
"""
A4, LETTER = (8.27, 11.69), (8.5, 11.0)


@pytest.mark.browser
@pytest.mark.parametrize("kind", DriveKind)
def test_it_prints_on_one_page(browser, tmp_path, kind):
    hall = tmp_path / "hall.toml"
    hall.write_text(EMPTY)
    for field, system in ((CONFIGS / "field_orchard.toml", UnitSystem.METRIC), (hall, UnitSystem.IMPERIAL)):
        out = tmp_path / "sheet.html"
        write_runsheet(lay_out(field, kind, CONFIGS / "robot_three_pods.toml", system), out, system)
        browser.get(out.as_uri())
        for width, height in (A4, LETTER):
            settings = {"paperWidth": width, "paperHeight": height, "preferCSSPageSize": False}
            printed = base64.b64decode(browser.execute_cdp_cmd("Page.printToPDF", settings)["data"])
            assert len(re.findall(rb"/Type\s*/Page\b", printed)) == 1, (field.name, width)
        assert [entry for entry in browser.get_log("browser") if entry["level"] == "SEVERE"] == []
