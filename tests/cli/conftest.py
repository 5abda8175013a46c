import pytest


@pytest.fixture
def without_pictures(monkeypatch):
    """Drawing takes longer than all the rest of an evaluation; other tests go through it."""
    monkeypatch.setattr("locbench.report.html.session_pictures", lambda *_: ())
