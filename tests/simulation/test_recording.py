import numpy as np
import pytest

from locbench.errors import ConfigError

CAMERA = """
[camera]
mount = "front"
dropped = "10 %"
flips = "2 %"
false_ids = "1 %"
latency = "50 ms"
latency_jitter = "5 ms"
[camera.noise]
along_floor = "10 mm"
"""
PODS = '[pods]\nalong_per_metre = "2 mm"\n'
GYRO = '[gyro]\nheading_per_minute = "1 deg"\n'
PLACING = '[placing]\nposition_std = "2 mm"\n'


def _assert_same(first, second):
    for name, counts in first.record.odometry.counts.items():
        np.testing.assert_array_equal(counts, second.record.odometry.counts[name])
    np.testing.assert_array_equal(first.record.odometry.heading_rad, second.record.odometry.heading_rad)
    np.testing.assert_array_equal(first.record.truth.pose, second.record.truth.pose)


def test_the_same_seed_gives_the_same_run_and_another_seed_another(bench, round_trip):
    text = PODS + GYRO + PLACING + CAMERA + round_trip
    first, again, other = bench.record(text), bench.record(text), bench.record(text, seed=2)
    _assert_same(first, again)
    np.testing.assert_array_equal(first.record.detections.readings.pose, again.record.detections.readings.pose)
    assert first.events == again.events
    assert np.any(first.record.truth.pose[0] != other.record.truth.pose[0])


def test_silencing_one_sensor_leaves_the_others_as_they_were(bench, round_trip):
    full = bench.record(PODS + GYRO + PLACING + CAMERA + round_trip).record
    blind = bench.record(PODS + GYRO + PLACING + round_trip)
    assert blind.record.detections is None
    _assert_same(bench.record(PODS + GYRO + PLACING + CAMERA + round_trip), blind)

    silent_gyro = bench.record(PODS + PLACING + CAMERA + round_trip).record
    np.testing.assert_array_equal(full.odometry.counts["cross"], silent_gyro.odometry.counts["cross"])
    np.testing.assert_array_equal(full.detections.readings.pose, silent_gyro.detections.readings.pose)
    silent_pods = bench.record(GYRO + PLACING + CAMERA + round_trip).record
    np.testing.assert_array_equal(full.odometry.heading_rad, silent_pods.odometry.heading_rad)
    np.testing.assert_array_equal(full.detections.arrived_s, silent_pods.detections.arrived_s)


def test_visits_are_the_dwells_on_marks_after_the_start(bench):
    run = bench.record("""
[[waypoints]]
mark = "B"
dwell = "1 s"
[[waypoints]]
x = "3 m"
y = "2 m"
heading = "0 deg"
dwell = "1 s"
[[waypoints]]
mark = "C"
[[waypoints]]
mark = "A"
dwell = "1.5 s"
""").record
    assert run.visits.name == ("B", "A")
    np.testing.assert_allclose(run.visits.end_s - run.visits.begin_s, [1.0, 1.5], atol=0.011)
    assert run.visits.end_s[-1] <= run.odometry.time_s[-1]
    for name, begin, end in zip(run.visits.name, run.visits.begin_s, run.visits.end_s, strict=True):
        mark = bench.field.mark(name)
        standing = (run.truth.time_s >= begin) & (run.truth.time_s <= end)
        poses = run.truth.pose[standing]
        assert len(poses) >= 49
        np.testing.assert_allclose(poses, np.broadcast_to([mark.x, mark.y, mark.heading], poses.shape), atol=1e-12)


def test_rows_keep_the_stated_periods_and_begin_at_rest(bench, round_trip):
    text = '[logging]\nodometry_period = "5 ms"\ntruth_period = "40 ms"\n' + round_trip
    run = bench.record(text)
    odometry, truth = run.record.odometry, run.record.truth
    np.testing.assert_allclose(np.diff(odometry.time_s), 0.005, atol=1e-9)
    np.testing.assert_allclose(np.diff(truth.time_s), 0.040, atol=1e-9)
    assert odometry.time_s[0] == 0.0
    assert run.world.duration_s - 0.005 < odometry.time_s[-1] <= run.world.duration_s
    for counts in odometry.counts.values():
        assert not np.any(counts[odometry.time_s <= 2.0])
        assert counts.dtype == np.int64


def test_a_robot_without_gyro_logs_no_heading(make_bench, round_trip):
    robot = """
name = "no gyro"
heading_from = "pods"
[pods]
left = { x = "0 m", y = "0.1 m", wheel_diameter = "50 mm", counts_per_revolution = 1000 }
right = { x = "0 m", y = "-0.1 m", wheel_diameter = "50 mm", counts_per_revolution = 1000 }
cross = { x = "0 m", y = "0 m", rolling_direction = "90 deg", wheel_diameter = "50 mm", counts_per_revolution = 1000 }
"""
    bench = make_bench(robot=robot)
    assert bench.record(round_trip).record.odometry.heading_rad is None
    with pytest.raises(ConfigError, match="gyro: the robot has no gyro"):
        bench.record('[gyro]\nbias = "1 deg/s"\n' + round_trip)


def test_a_camera_that_sees_no_tag_leaves_no_table(bench):
    run = bench.record('[camera]\nmount = "front"\nmaximum_range = "300 mm"\n[[waypoints]]\nmark = "B"\n')
    assert run.record.detections is None
    assert run.record.visits is None


def test_slips_are_counted_among_the_events(bench, round_trip):
    slip = '[[slips]]\npod = "left"\nstart = "2 s"\nduration = "1 s"\nlost = "20 %"\n'
    assert bench.record(slip + round_trip).events["slips"] == 1


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ('[[waypoints]]\nmark = "D"\n', r"waypoints\[1\]\.mark: no such mark in the field file \(got \'D\'\)"),
        ('[[waypoints]]\nmark = "bare"\n', r"waypoints\[1\]: this mark has no heading"),
        ('[[waypoints]]\nmark = "B"\nheading = "9 deg"\ndwell = "1 s"\n', r"waypoints\[1\]\.heading: .* another"),
        (
            '[[slips]]\npod = "lefd"\nstart = "1 s"\nduration = "1 s"\nlost = "20 %"\n',
            r'slips\[1\]\.pod: no such pod .* Did you mean "left"\?',
        ),
        (
            '[[shoves]]\nstart = "2.2 s"\ncontact = "1 s"\nrecovery = "1 s"\npods_lose = { up = "1 %" }\n',
            r"shoves\[1\]\.pods_lose: no such pod",
        ),
        ('[truth.pods.middle]\nx = "1 mm"\n', r"truth\.pods: no such pod"),
        ('[[truth.tags]]\nid = 3\ndx = "1 mm"\n', r"truth\.tags\[1\]\.id: no such tag"),
        ('[camera]\nmount = "rear"\n', r"camera\.mount: no such camera"),
    ],
)
def test_a_name_that_does_not_exist_is_refused_with_its_key(bench, round_trip, text, message):
    with pytest.raises(ConfigError, match=message) as caught:
        bench.record(text if "waypoints" in text else text + round_trip)
    assert str(caught.value).startswith("scenario.toml: ")
    assert "\n" not in str(caught.value)


def test_a_start_without_uncertainties_is_refused(make_bench, round_trip):
    bench = make_bench()
    field = (bench.folder / "field.toml").read_text().replace(', position_std = "2 mm", heading_std = "0.3 deg"', "")
    with pytest.raises(ConfigError, match=r"start\.mark: a run starts on a mark with heading, position_std"):
        make_bench(field=field).record(round_trip)


def test_false_ids_need_a_second_tag(make_bench, round_trip):
    bench = make_bench()
    lines = (bench.folder / "field.toml").read_text().splitlines()
    field = "\n".join(line for line in lines if "{ id = 2" not in line and "{ id = 5" not in line)
    with pytest.raises(ConfigError, match=r"camera\.false_ids: a false id needs a second tag"):
        make_bench(field=field).record('[camera]\nmount = "front"\nfalse_ids = "1 %"\n' + round_trip)


def test_presses_are_logged_in_order_and_lie_inside_the_run(bench, round_trip):
    np.testing.assert_allclose(bench.record('requests = ["4 s", "2.5 s"]\n' + round_trip).record.requests_s, [2.5, 4.0])
    assert bench.record(round_trip).record.requests_s is None
    with pytest.raises(ConfigError, match=r"requests\[2\]: .*the run is over after .*4000 s"):
        bench.record('requests = ["4 s", "4000 s"]\n' + round_trip)
