"""Files on disk: all or none, readable back, nothing private in them."""

import getpass

import pytest

from locbench.errors import OutputError
from locbench.report import write_evaluation, writing
from locbench.results import read_results, read_tracks
from locbench.units import UnitSystem

NAMES = [
    "results.json",
    "tracks.json",
    "summary.csv",
    "corrections.csv",
    "aim.csv",
    "reference.csv",
    "shots.csv",
    "drift.csv",
    "at_marks.csv",
    "comparisons.csv",
    "landings.csv",
    "report.html",
]


def test_all_files_are_written_and_can_be_read_back(evaluation_a, tmp_path):
    drawn = []
    out = tmp_path / "out"
    names = write_evaluation(evaluation_a.results, evaluation_a.tracks, out, UnitSystem.METRIC, drawn.append)
    assert names == NAMES
    assert sorted(path.name for path in out.iterdir()) == sorted(NAMES)
    assert read_results(out / "results.json") == evaluation_a.results
    assert read_tracks(out / "tracks.json") == evaluation_a.tracks
    assert drawn == [evaluation_a.results.sessions[0].name]


def test_twice_gives_the_same_bytes(evaluation_b, tmp_path):
    for name in ("one", "two"):
        write_evaluation(evaluation_b.results, evaluation_b.tracks, tmp_path / name, UnitSystem.IMPERIAL)
    for name in NAMES:
        assert (tmp_path / "one" / name).read_bytes() == (tmp_path / "two" / name).read_bytes()


def test_no_path_and_no_user_in_any_file(evaluation_a, tmp_path):
    write_evaluation(evaluation_a.results, evaluation_a.tracks, tmp_path, UnitSystem.METRIC)
    for name in NAMES:
        text = (tmp_path / name).read_text(encoding="utf-8")
        assert str(tmp_path) not in text
        assert f"/{getpass.getuser()}/" not in text


def test_an_error_while_drawing_leaves_nothing(evaluation_a, tmp_path, monkeypatch):
    def fail(*_):
        raise RuntimeError("no picture")

    monkeypatch.setattr(writing, "report_html", fail)
    out = tmp_path / "out"
    with pytest.raises(RuntimeError):
        write_evaluation(evaluation_a.results, evaluation_a.tracks, out, UnitSystem.METRIC)
    assert not out.exists()


def test_an_unwritable_place_is_an_output_error(evaluation_d, tmp_path):
    blocked = tmp_path / "file"
    blocked.write_text("")
    with pytest.raises(OutputError):
        write_evaluation(evaluation_d.results, evaluation_d.tracks, blocked, UnitSystem.METRIC)
