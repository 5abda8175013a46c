"""The page in a real browser, narrow and wide."""

import pytest
from hand_built import two_evaluations

from locbench.fusion import Rule
from locbench.report import write_evaluation
from locbench.units import UnitSystem


def with_every_rule(results):
    """Return the results with fixes refused by every rule there is, and counts as of a long log."""
    sessions = []
    for session in results.sessions:
        estimators = {}
        for name, result in session.estimators.items():
            counts = {"offered": 12345, "accepted": 11111, "rejected": {str(rule): 1234 for rule in Rule}}
            counts |= {"helped": 1234, "hurt": 1234, "neutral": 1234, "undecided": 1234}
            fixes = None if result.corrections is None else result.corrections.model_copy(update=counts)
            estimators[name] = result.model_copy(update={"corrections": fixes})
        sessions.append(session.model_copy(update={"estimators": estimators}))
    return results.model_copy(update={"sessions": sessions})


@pytest.mark.browser
@pytest.mark.parametrize(("width", "fits"), [(400, False), (1300, True)])
def test_tables_fit_a_laptop_and_scroll_on_a_phone(browser, tmp_path, width, fits):
    found = two_evaluations()
    write_evaluation(with_every_rule(found.results), found.tracks, tmp_path / "out", UnitSystem.METRIC)
    browser.execute_cdp_cmd(
        "Emulation.setDeviceMetricsOverride",
        {"width": width, "height": 800, "deviceScaleFactor": 1, "mobile": False},
    )
    browser.get((tmp_path / "out" / "report.html").as_uri())
    cut = browser.execute_script(
        "return [...document.querySelectorAll('.box')].filter(box => box.querySelector('table')"
        " && box.scrollWidth > box.clientWidth).map(box => box.getAttribute('aria-label'))"
    )
    assert (cut == []) == fits, cut
    assert browser.execute_script("return document.documentElement.scrollWidth") <= width


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
