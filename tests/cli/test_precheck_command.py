"""`locbench precheck` on the command line: baseline, verdicts as exit status, a history that only grows."""

import json
import re
import tomllib
from pathlib import Path

import numpy as np
import pytest
from changed_sessions import copied, without_tables

from locbench.cli import main as cli
from locbench.results import HistoryEntry, history_with, read_history

ROOT = Path(__file__).parents[2]
HEALTHY, WORN = ROOT / "logs_demo" / "orchard_healthy", ROOT / "logs_demo" / "orchard_worn"


def _run(*arguments):
    return cli.run(lambda: cli.app([str(a) for a in arguments], standalone_mode=True))


@pytest.fixture(scope="module")
def baseline(tmp_path_factory):
    path = tmp_path_factory.mktemp("precheck") / "good.toml"
    assert _run("precheck", HEALTHY, "--save", path) == 0
    return path


@pytest.fixture(scope="module")
def no_tags(tmp_path_factory):
    """The worn demo without truth and tags: a check of it takes a fifth of the time."""
    folder = tmp_path_factory.mktemp("worn") / "session"
    return without_tables(copied(WORN, folder), "truth", "tags")


@pytest.fixture(scope="module")
def quick(tmp_path_factory):
    """The healthy demo without truth and tags."""
    folder = tmp_path_factory.mktemp("healthy") / "session"
    return without_tables(copied(HEALTHY, folder), "truth", "tags")


def _narrowed(baseline, tmp_path, name, change):
    """Copy the baseline with one figure's limits set to plus and minus `change`, the other figures left out."""
    saved = tomllib.loads(baseline.read_text())
    (figure,) = [one for one in saved["figures"] if one["name"] == name]
    path = tmp_path / "narrow.toml"
    path.write_text(
        f'name = "narrow"\nsaved = "2026-11-01T10:00"\n[[figures]]\nname = "{name}"\nkind = "{figure["kind"]}"\n'
        f'unit = "{figure["unit"]}"\n'
        f"value = {figure['value']}\nstd = {figure['std']}\nleast_change = {-change}\nmost_change = {change}\n"
    )
    return path


def _measured(date):
    """Return the left wheel at one earlier check."""
    return HistoryEntry(
        date=date,
        session="before",
        name="pods.left.wheel_diameter",
        unit="mm",
        value=49.84,
        std=0.031,
        low=49.69,
        high=49.99,
        verdict="pass",
    )


def test_pass_fail_and_undecided_are_exit_statuses(baseline, quick, no_tags, tmp_path, capsys):
    wheel = "pods.left.wheel_diameter"
    history = tmp_path / "history.csv"
    wide = _narrowed(baseline, tmp_path, wheel, 0.15)
    assert _run("precheck", quick, "--baseline", wide, "--history", history) == 0
    assert capsys.readouterr().out.startswith('PASS against "narrow"')
    assert _run("precheck", no_tags, "--baseline", wide, "--history", history) == 1
    shown = capsys.readouterr().out
    assert shown.startswith('FAIL against "narrow"')
    assert "Likely: the wheel is worn" in " ".join(shown.split())
    assert "one person at the stop button" in " ".join(shown.split())
    narrow = _narrowed(baseline, tmp_path, wheel, 0.02)
    assert _run("precheck", quick, "--baseline", narrow, "--history", history) == 3
    shown = capsys.readouterr().out
    assert shown.startswith("UNDECIDED")
    assert "one more lap of kind straight" in " ".join(shown.split())
    # nothing is ever taken out of the history
    judged = [entry.verdict for entry in read_history(history) if entry.name == wheel]
    assert judged == ["pass", "fail", "undecided"]


def test_a_figure_that_today_lacks_leaves_the_check_open(baseline, no_tags, tmp_path, capsys):
    path = _narrowed(baseline, tmp_path, "pods.left.wheel_diameter", 0.15)
    path.write_text(path.read_text().replace("pods.left.wheel_diameter", "cameras.front.latency"))
    path.write_text(path.read_text().replace("wheel diameter", "latency").replace('"mm"', '"ms"'))
    assert _run("precheck", no_tags, "--baseline", path, "--json", "--date", "2026-11-26T10:30") == 3
    check = json.loads(capsys.readouterr().out)
    assert "this log has no tags: nothing is said of the camera" in check["remarks"]
    line = next(one for one in check["lines"] if one["name"] == "cameras.front.latency")
    assert line["verdict"] == "undecided"
    assert line["why"] == "not determined by today's drive"
    assert line["next_run"] == "camera"
    assert check["date"] == "2026-11-26T10:30"


def test_units_of_the_baseline_are_those_of_the_numbers_shown(baseline, quick, tmp_path, capsys):
    path = _narrowed(baseline, tmp_path, "pods.left.wheel_diameter", 0.15)
    saved = tomllib.loads(path.read_text())["figures"][0]
    path.write_text(
        'name = "in inches"\nsaved = "2026-11-01T10:00"\n[[figures]]\nname = "pods.left.wheel_diameter"\n'
        'kind = "wheel diameter"\nunit = "in"\n'
        f"value = {saved['value'] / 25.4}\nstd = {saved['std'] / 25.4}\nleast_change = -0.006\nmost_change = 0.006\n"
    )
    assert _run("precheck", quick, "--baseline", path, "--json") == 0
    line = json.loads(capsys.readouterr().out)["lines"][0]
    assert line["unit"] == "in"
    assert line["value"] == pytest.approx(49.84 / 25.4, abs=0.005)
    assert abs(line["change"]) < 0.001


def test_the_trend_over_three_dates(baseline, no_tags, tmp_path, capsys):
    path = _narrowed(baseline, tmp_path, "pods.left.wheel_diameter", 0.15)
    earlier = [_measured(f"2026-11-{day}T10:00") for day in ("01", "11")]
    # in another unit it is another column of numbers
    earlier.append(earlier[0].model_copy(update={"unit": "in", "value": 1.96}))
    (tmp_path / "narrow_history.csv").write_text(history_with(tmp_path / "narrow_history.csv", earlier))
    _run("precheck", no_tags, "--baseline", path, "--date", "2026-11-21T10:00", "--out", tmp_path / "out")
    capsys.readouterr()
    check = json.loads((tmp_path / "out" / "precheck.json").read_text())
    (trend,) = [one for one in check["trends"] if one["name"] == "pods.left.wheel_diameter"]
    assert trend["checks"] == 3
    assert trend["days"] == pytest.approx(20.0)
    today = next(one for one in check["lines"] if one["name"] == "pods.left.wheel_diameter")
    weights = 1.0 / np.array([0.031, 0.031, today["std"]])
    slope, _ = np.polyfit([0.0, 10.0, 20.0], [49.84, 49.84, today["value"]], 1, w=weights)
    assert trend["slope_per_30_days"] == pytest.approx(30.0 * slope, rel=1e-6)
    assert (tmp_path / "out" / "trends.svg").read_text().startswith("<?xml")


def test_a_foreign_file_is_neither_replaced_nor_added_to(baseline, tmp_path, capsys):
    foreign = tmp_path / "notes.csv"
    foreign.write_text("day,what\n1,rain\n")
    assert _run("precheck", HEALTHY, "--baseline", baseline, "--history", foreign) == 2
    assert "this is no history of checks" in capsys.readouterr().err
    assert foreign.read_text() == "day,what\n1,rain\n"
    assert _run("precheck", HEALTHY, "--save", foreign) == 2
    assert "there is a file already" in capsys.readouterr().err
    assert foreign.read_text() == "day,what\n1,rain\n"


@pytest.mark.parametrize(
    ("options", "words"),
    [
        ([], "name one of --baseline and --save"),
        (["--baseline", "x.toml", "--save", "y.toml"], "name one of --baseline and --save"),
        (["--baseline", "nowhere.toml"], "nowhere.toml"),
        (["--baseline", "x.toml", "--date", "yesterday"], "this is no date"),
        (["--baseline", "x.toml", "--date", "2026-11-26T10:30Z"], "dates of checks have no time zone"),
        (["--save", "new.toml", "--json"], "--save goes without --json"),
    ],
)
def test_bad_usage_is_one_line(options, words, capsys):
    assert _run("precheck", HEALTHY, *options) == 2
    error = capsys.readouterr().err
    assert words in error
    assert len(error.splitlines()) == 1


def test_a_misspelt_figure_is_named(baseline, no_tags, tmp_path, capsys):
    path = _narrowed(baseline, tmp_path, "pods.left.wheel_diameter", 0.15)
    path.write_text(path.read_text().replace("pods.left.wheel_diameter", "pods.left.wheel_diametre"))
    assert _run("precheck", no_tags, "--baseline", path) == 2
    error = capsys.readouterr().err
    assert f"{path}: figures[1].name: no check of this robot has such a figure" in error
    assert 'Did you mean "pods.left.wheel_diameter"?' in error
    assert not (tmp_path / "narrow_history.csv").exists()


def test_a_figure_without_limits_is_not_judged(baseline, no_tags, tmp_path, capsys):
    path = _narrowed(baseline, tmp_path, "pods.left.wheel_diameter", 0.15)
    path.write_text(re.sub(r"(least|most)_change = .*\n", "", path.read_text()))
    # and what judges nothing passes nothing
    assert _run("precheck", no_tags, "--baseline", path) == 3
    shown = " ".join(capsys.readouterr().out.split())
    assert re.match(r'UNDECIDED against "narrow" of \S+: none of the figures of "\S.*" could be judged', shown)
    assert "Not judged, for the baseline sets no limit: pods.left.wheel_diameter" in shown


def test_what_failed_on_purpose_gets_a_new_baseline(baseline, no_tags, tmp_path, capsys):
    wide = _narrowed(baseline, tmp_path, "pods.left.wheel_diameter", 0.15)
    assert _run("precheck", no_tags, "--baseline", wide) == 1
    shown = " ".join(capsys.readouterr().out.split())
    assert "1 fails, 0 are undecided, 0 pass" in shown
    assert f"save a new baseline, locbench precheck {no_tags} --save NEW.toml" in shown


def test_a_camera_that_sees_nothing_any_more_fails(baseline, tmp_path, capsys):
    """The table is there, and empty but for what came before the drive."""
    folder = tmp_path / "blind"
    without_tables(copied(HEALTHY, folder), "truth")
    table = folder / "tags.csv"
    table.write_text("".join(table.read_text().splitlines(keepends=True)[:2]))
    assert _run("precheck", folder, "--baseline", _seen(baseline, tmp_path)) == 1
    assert "camera.tags_per_minute changed by -" in " ".join(capsys.readouterr().out.split())


def _seen(baseline, tmp_path):
    """Return the baseline of tags per minute alone."""
    saved = tomllib.loads(baseline.read_text())
    (figure,) = [one for one in saved["figures"] if one["name"] == "camera.tags_per_minute"]
    path = tmp_path / "seen.toml"
    path.write_text(
        'name = "seen"\nsaved = "2026-11-01T10:00"\n[[figures]]\n'
        + "".join(f"{key} = {json.dumps(value)}\n" for key, value in figure.items())
    )
    return path


def test_a_limit_in_a_mistaken_unit_is_refused(baseline, no_tags, tmp_path, capsys):
    """In inches 0.15 mm would be 3.8 mm, which the worn wheel keeps."""
    path = _narrowed(baseline, tmp_path, "pods.left.wheel_diameter", 0.15)
    path.write_text(path.read_text().replace('unit = "mm"', 'unit = "in"'))
    assert _run("precheck", no_tags, "--baseline", path) == 2
    error = capsys.readouterr().err
    assert f"{path}: figures[1].least_change: the limit of pods.left.wheel_diameter is more than 20 times" in error
    assert "(got '-0.15 in')" in error


def test_a_figure_of_another_kind_is_named_by_its_place(baseline, no_tags, tmp_path, capsys):
    path = _narrowed(baseline, tmp_path, "pods.left.wheel_diameter", 0.15)
    path.write_text(path.read_text().replace("wheel diameter", "lever arm"))
    assert _run("precheck", no_tags, "--baseline", path) == 2
    assert f"{path}: figures[1].kind" in capsys.readouterr().err


def test_seconds_of_a_date_are_kept_and_checks_of_one_day_are_no_trend(baseline, no_tags, tmp_path, capsys):
    path, history = _narrowed(baseline, tmp_path, "pods.left.wheel_diameter", 2.0), tmp_path / "narrow_history.csv"
    history.write_text(history_with(history, [_measured(f"2026-11-26T10:30:{second}") for second in ("05", "15")]))
    _run("precheck", no_tags, "--baseline", path, "--date", "2026-11-26T10:30:25", "--json")
    check = json.loads(capsys.readouterr().out)
    assert check["date"] == "2026-11-26T10:30:25"
    assert check["trends"] == []
    dates = dict.fromkeys(one.date for one in read_history(history))
    assert list(dates) == [f"2026-11-26T10:30:{second}" for second in ("05", "15", "25")]
