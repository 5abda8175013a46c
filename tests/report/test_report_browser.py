"""The page in a real browser, narrow and wide."""

import pytest
from hand_built import two_evaluations

from locbench.report import write_evaluation
from locbench.units import UnitSystem

FLAGS = (
    "--headless",
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
)


@pytest.fixture
def browser(tmp_path):
    from selenium import webdriver
    from selenium.webdriver.chrome.service import Service

    options = webdriver.ChromeOptions()
    options.binary_location = "/usr/bin/chromium"
    for flag in (*FLAGS, f"--user-data-dir={tmp_path / 'profile'}"):
        options.add_argument(flag)
    options.set_capability("goog:loggingPrefs", {"browser": "ALL"})
    driver = webdriver.Chrome(options=options, service=Service("/usr/bin/chromedriver"))
    yield driver
    driver.quit()


@pytest.mark.browser
@pytest.mark.parametrize("width", [400, 1400])
def test_the_page_reads_at_this_width(browser, tmp_path, width):
    found = two_evaluations()
    write_evaluation(found.results, found.tracks, tmp_path / "out", UnitSystem.METRIC)
    # a window cannot be made narrower than some 500 pixels, a page can
    browser.execute_cdp_cmd(
        "Emulation.setDeviceMetricsOverride",
        {"width": width, "height": 800, "deviceScaleFactor": 1, "mobile": False},
    )
    browser.get((tmp_path / "out" / "report.html").as_uri())
    assert browser.execute_script("return window.innerWidth") == width
    sizes = browser.execute_script("return [...document.images].map(image => image.naturalWidth)")
    assert len(sizes) == 8
    assert min(sizes) > 0
    assert browser.execute_script("return document.documentElement.scrollWidth") <= width
    answer = browser.execute_script("return document.querySelector('.answer').getBoundingClientRect().toJSON()")
    assert answer["top"] >= 0
    assert answer["bottom"] <= 800
    assert [entry for entry in browser.get_log("browser") if entry["level"] == "SEVERE"] == []
