import pytest
from hand_built import Evaluation, evaluation, two_evaluations

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


@pytest.fixture
def evaluation_a() -> Evaluation:
    return evaluation("A")


@pytest.fixture
def evaluation_b() -> Evaluation:
    return evaluation("B")


@pytest.fixture
def evaluation_c() -> Evaluation:
    return evaluation("C")


@pytest.fixture
def evaluation_d() -> Evaluation:
    return evaluation("D")


@pytest.fixture
def evaluation_of_two() -> Evaluation:
    return two_evaluations()
