"""`locbench slip` on the demo logs, whose slips and shoves are known from their scenarios."""

import numpy as np
import pandas as pd
import pytest
from changed_sessions import ROOT, copied, without_tables
from logs import SmallLog

from locbench.errors import ConfigError
from locbench.jobs.simulate import simulate
from locbench.jobs.slip import slip
from locbench.results import read_slip, slip_json
from locbench.slip.kinds import SlipChannel, SlipFault

SHOVED, HEALTHY = ROOT / "logs_demo" / "orchard_shoved", ROOT / "logs_demo" / "orchard_healthy"
# scenario_shoved.toml
SHOVES = ((20.0, 20.4), (27.2, 27.6), (37.0, 37.4), (52.0, 52.4), (65.5, 65.9))
CROSS_SLIP, LEFT_SLIP = (42.8, 43.8), (57.0, 58.2)


@pytest.fixture(scope="module")
def shoved():
    return slip([SHOVED])


def _near(record, span, within=0.3):
    return [one for one in record.events if one.start_s < span[1] + within and one.end_s > span[0] - within]


def test_every_shove_and_slip_is_met_and_nothing_else(shoved):
    spans = (*SHOVES, CROSS_SLIP, LEFT_SLIP)
    assert all(_near(shoved, span) for span in spans)
    met = [event for span in spans for event in _near(shoved, span)]
    assert len(met) == len(shoved.events)


def test_shoves_are_of_several_sensors_at_once(shoved):
    assert all(not event.alone for span in SHOVES for event in _near(shoved, span))


def test_the_slip_of_the_cross_pod_is_told_by_tags_alone(shoved):
    (event,) = _near(shoved, CROSS_SLIP)
    assert event.channel is SlipChannel.TAGS
    assert event.candidates == ["cross"]
    # the scenario's truth: odometry and dense truth differ by 67 to 76 mm sideways over it
    assert abs(event.slip_m - 0.072) < 3.0 * event.slip_std_m
    assert event.position_error_m == pytest.approx(event.slip_m, rel=0.01)


def test_tags_decide_that_it_was_the_left_pod(shoved):
    event = _near(shoved, LEFT_SLIP)[0]
    assert (event.channel, event.decided_by) == (SlipChannel.PARITY, SlipChannel.TAGS)
    assert event.candidates == ["left"]
    # 20 % of what the pod rolled, which is known from its own count
    odometry = pd.read_csv(SHOVED / "odometry.csv")
    assert event.slip_m == pytest.approx(0.057, abs=0.012)
    assert len(odometry) > 0
    # dense truth: 40 mm forward over the slip
    assert event.position_error_m == pytest.approx(0.040, abs=0.006)


def test_what_the_layout_can_tell(shoved):
    assert shoved.redundancy.count == 1
    assert shoved.detectable == ["left", "right", "gyro"]
    assert shoved.undetectable == ["cross"]
    assert shoved.isolable_sets == [["left", "right", "gyro"]]
    assert "cross" in shoved.another_layout
    assert shoved.redundancy.sensors["cross"].least is None


def test_sums_agree_with_the_events(shoved):
    left = shoved.pods["left"]
    mine = [event for event in shoved.events if event.candidates == ["left"] and event.alone]
    assert left.events == len(mine)
    assert left.lost.value == pytest.approx(sum(abs(event.slip_m) for event in mine))
    assert left.per_metre.value == pytest.approx(left.lost.value / left.travel.value)
    assert left.possible_events == sum("left" in event.candidates for event in shoved.events)
    assert left.share_of_time < left.possible_share_of_time < 0.1


def test_the_doubted_factor_says_how_wrong_odometry_was(shoved):
    told = shoved.doubted_factor
    assert told.events == len(shoved.events)
    assert 1.0 < told.factor < 100.0
    assert told.met <= told.events
    assert told.doubted_s > 0.0


def test_the_timeline_is_above_its_limit_just_where_sensors_told(shoved):
    (series,) = shoved.sessions[0].parity
    above = [point.time_s for point in series.points if point.ratio > 1.0]
    spans = [(event.start_s, event.end_s) for event in shoved.events if event.candidates != ["cross"]]
    assert above
    # a window of 0.8 s still ends after the slip
    assert all(any(begin - 0.1 < time < end + 0.9 for begin, end in spans) for time in above)


def test_the_file_reads_back(shoved, tmp_path):
    path = tmp_path / "slip.json"
    path.write_text(slip_json(shoved))
    assert read_slip(path) == shoved


def test_a_healthy_log_shows_nothing():
    record = slip([HEALTHY])
    assert record.events == []
    assert record.doubted_factor.factor is None
    assert record.doubted_factor.why
    assert record.pods["cross"].lost is None
    assert record.pods["cross"].why


@pytest.mark.parametrize("pods", ["narrow", "wide"])
def test_a_heading_from_two_pods_wanders_and_is_no_slip(tmp_path, pods):
    """The robot files admit a tenth of a degree per metre; pods 120 mm apart make more than one of it."""
    configs = ROOT / "configs"
    simulate(configs / "scenario_healthy.toml", tmp_path / "log", 77, configs / f"robot_{pods}_pods.toml")
    assert slip([tmp_path / "log"]).events == []


def test_a_match_log_without_marks_tags_and_truth_still_tells(tmp_path):
    bare = without_tables(copied(SHOVED, tmp_path / "match"), "tags", "marks", "truth")
    record = slip([bare])
    session = record.sessions[0]
    assert session.channels == [SlipChannel.PARITY, SlipChannel.COUNTER]
    assert set(session.why) == {SlipChannel.TAGS, SlipChannel.MARKS}
    assert _near(record, LEFT_SLIP)[0].candidates == ["left", "right", "gyro"]
    assert not _near(record, CROSS_SLIP)


def test_marks_alone_decide_too(tmp_path):
    record = slip([without_tables(copied(SHOVED, tmp_path / "marks"), "tags", "truth")])
    event = _near(record, LEFT_SLIP)[0]
    assert event.candidates == ["left"]
    assert event.decided_by is SlipChannel.MARKS


def _spoilt_counter(folder, column, change):
    path = folder / "odometry.csv"
    table = pd.read_csv(path)
    step = np.diff(table[column], prepend=table[column].iloc[0])
    change(step)
    table[column] = (table[column].iloc[0] + np.cumsum(step)).astype(int)
    table.to_csv(path, index=False)


def test_a_stuck_counter_is_named_in_the_midst_of_the_sensors_that_contradict(tmp_path):
    folder = without_tables(copied(HEALTHY, tmp_path / "stuck"), "tags", "marks", "truth")
    columns = list(pd.read_csv(folder / "odometry.csv", nrows=1).columns)
    column = next(name for name in columns if "left" in name)

    def stop(step):
        speed = np.abs(pd.Series(step).rolling(5).mean())
        first = int(np.flatnonzero(speed > 0.7 * speed.max())[0])
        step[first : first + 40] = 0

    _spoilt_counter(folder, column, stop)
    (event,) = slip([folder]).events
    assert event.fault is SlipFault.STUCK
    assert event.channel is SlipChannel.COUNTER
    assert event.candidates == ["left"]


def test_several_sessions_are_summed_up(tmp_path):
    other = without_tables(copied(SHOVED, tmp_path / "again"), "tags", "truth")
    text = (other / "session.toml").read_text().replace("Orchard, shoved", "Orchard, once more")
    (other / "session.toml").write_text(text)
    record = slip([SHOVED, other])
    assert [session.name for session in record.sessions] == ["Orchard, shoved", "Orchard, once more"]
    assert {event.session for event in record.events} == {"Orchard, shoved", "Orchard, once more"}
    assert record.pods["left"].travel.value == pytest.approx(2.0 * slip([SHOVED]).pods["left"].travel.value)


def test_sessions_of_one_name_keep_their_own_events(tmp_path):
    other = without_tables(copied(HEALTHY, tmp_path / "again"), "tags", "marks", "truth")
    text = (other / "session.toml").read_text().replace("Orchard, healthy", "Orchard, shoved")
    (other / "session.toml").write_text(text)
    record = slip([SHOVED, other])
    assert [session.name for session in record.sessions] == ["Orchard, shoved", "Orchard, shoved (2)"]
    assert {event.session for event in record.events} == {"Orchard, shoved"}
    assert record.sessions[1].events == 0


def test_events_are_found_after_they_began(shoved):
    assert all(event.start_s <= event.found_s for event in shoved.events)


def test_a_log_without_single_pods_says_that_it_cannot_tell(tmp_path):
    record = slip([SmallLog(tmp_path / "velocities", "velocities").write()])
    assert record.events == []
    assert record.redundancy.count == 0
    assert record.sessions[0].path_length_m > 3.0
    assert "single pods" in record.redundancy.why


def test_one_session_twice_and_two_robots_are_refused(tmp_path):
    with pytest.raises(ConfigError, match="twice"):
        slip([HEALTHY, HEALTHY])
    other = copied(SHOVED, tmp_path / "other")
    robot = (ROOT / "configs" / "robot_three_pods.toml").read_text().replace('"120 mm"', '"121 mm"', 1)
    (tmp_path / "robot.toml").write_text(robot)
    text = (other / "session.toml").read_text()
    text = text.replace(f"{ROOT / 'configs' / 'robot_three_pods.toml'}", str(tmp_path / "robot.toml"))
    (other / "session.toml").write_text(text)
    with pytest.raises(ConfigError, match="different robots"):
        slip([HEALTHY, other])


def test_a_rarer_alarm_shows_fewer_events():
    often, seldom = slip([SHOVED], 5.0), slip([SHOVED], 0.001)
    assert len(seldom.events) <= len(often.events)
    assert often.redundancy.sensors["left"].least.value < seldom.redundancy.sensors["left"].least.value
