"""Slow twins, written from the definitions and not from the code they check."""

import math

import numpy as np
from scipy import stats
from scipy.linalg import expm, null_space
from scipy.spatial.transform import Rotation

__all__ = [
    "naive_contradictions",
    "naive_cusum",
    "naive_dead_reckoning",
    "naive_distance_to_ellipse",
    "naive_error_weights",
    "naive_fuse",
    "naive_hit_probability",
    "naive_jumps",
    "naive_misfit",
    "naive_rates",
    "naive_sign_flip",
    "naive_twists",
]


def _matrix(pose):
    c, s = math.cos(pose[2]), math.sin(pose[2])
    return np.array([[c, -s, pose[0]], [s, c, pose[1]], [0.0, 0.0, 1.0]])


def naive_dead_reckoning(motion, start):
    """Matrix exponentials, one after the other."""
    poses, here, heading = [np.array(start, dtype=float)], _matrix(start), start[2]
    for twist in motion.twist[1:]:
        here = here @ expm(np.array([[0, -twist[2], twist[0]], [twist[2], 0, twist[1]], [0, 0, 0]]))
        heading += twist[2]
        poses.append(np.array([here[0, 2], here[1, 2], heading]))
    return np.array(poses)


def naive_rates(motion, time):
    """Turn rate and speed over the 100 ms up to a time: the pieces of rows inside it, one after the other."""
    times = [float(t) for t in motion.time_s]
    begin = max(time - 0.1, times[0])
    if not times[0] < time <= times[-1]:
        return math.nan, math.nan
    turn = way = 0.0
    for k in range(1, len(times)):
        share = max(0.0, min(time, times[k]) - max(begin, times[k - 1])) / (times[k] - times[k - 1])
        turn += share * motion.twist[k][2]
        way += share * math.hypot(*motion.twist[k][:2])
    return abs(turn) / (time - begin), way / (time - begin)


def naive_hit_probability(centre, covariance, enters):
    """Density times area over a fine grid of landing points out to five standard deviations."""
    steps = np.linspace(-5.0, 5.0, 401)
    root = np.linalg.cholesky(covariance)
    total = 0.0
    for x in steps:
        points = centre + np.column_stack([np.full(len(steps), x), steps]) @ root.T
        density = np.exp(-(x**2 + steps**2) / 2.0) / (2.0 * math.pi) * (steps[1] - steps[0]) ** 2
        total += float(np.sum(density[enters(points)]))
    return total


def naive_sign_flip(differences):
    """Every pattern of signs, one after the other."""
    seen, patterns = abs(sum(differences)), 2 ** len(differences)
    as_large = 0
    for pattern in range(patterns):
        total = sum(d if pattern >> i & 1 else -d for i, d in enumerate(differences))
        as_large += abs(total) >= seen - 1e-9 * sum(abs(d) for d in differences)
    return as_large / patterns


def naive_twists(rows, travel, variance):
    """One ordinary least-squares solution per sample, on rows divided by their standard deviation."""
    solutions = []
    for values, variances in zip(travel, variance, strict=True):
        weight = 1.0 / np.sqrt(variances)
        solutions.append(np.linalg.lstsq(rows * weight[:, None], values * weight, rcond=None)[0])
    return np.array(solutions)


def naive_distance_to_ellipse(point, semi_x, semi_y):
    """Nearest of 20,000 points of the ellipse, refined once."""
    angle = np.linspace(0, 2 * np.pi, 20_001)
    for _ in range(2):
        distance = np.hypot(semi_x * np.cos(angle) - point[0], semi_y * np.sin(angle) - point[1])
        best = angle[np.argmin(distance)]
        step = angle[1] - angle[0]
        angle = np.linspace(best - step, best + step, 20_001)
    return float(distance.min())


def _noise(twist, duration, noise, pieces=200):
    """Sum of many short straight pieces: the white-noise integral by brute force, start frame."""
    share = 1.0 / pieces
    length, turn = math.hypot(twist[0], twist[1]), abs(twist[2])
    along, across = noise.along_per_metre**2 * length * share, noise.across_per_metre**2 * length * share
    heading = share * (
        noise.heading_per_metre**2 * length
        + noise.heading_per_turn**2 * turn / (2 * math.pi)
        + noise.heading_per_minute**2 * duration / 60
    )
    algebra = np.array([[0, -twist[2], twist[0]], [twist[2], 0, twist[1]], [0, 0, 0]])
    end = expm(algebra)[:2, 2]
    direction, total = math.atan2(twist[1], twist[0]), np.zeros((3, 3))
    for i in range(pieces):
        middle = expm((i + 0.5) * share * algebra)[:2, 2]
        angle = direction + (i + 0.5) * share * twist[2]
        forward = np.array([math.cos(angle), math.sin(angle), 0.0])
        sideways = np.array([-math.sin(angle), math.cos(angle), 0.0])
        lever = np.array([-(end - middle)[1], (end - middle)[0], 1.0])
        total += along * np.outer(forward, forward) + across * np.outer(sideways, sideways)
        total += heading * np.outer(lever, lever)
    return total


def _inside(ends, rows, count):
    """The intervals of windows that end there, and their neighbours."""
    found = np.zeros(count, dtype=bool)
    for end in ends:
        for interval in range(end - rows, end + 2):
            if 0 < interval < count:
                found[interval] = True
    return found


def naive_jumps(motion):
    """Window by window: no robot changes its velocity faster than friction coefficient 1.2 and its roughness allow."""
    place, times = naive_dead_reckoning(motion, [0.0, 0.0, 0.0])[:, :2], motion.time_s
    period = float(np.median(np.diff(times)))

    def change(end, rows):
        spans = [max(times[end - i * rows] - times[end - (i + 1) * rows], rows * period) for i in (0, 1)]
        speeds = [(place[end - i * rows] - place[end - (i + 1) * rows]) / spans[i] for i in (0, 1)]
        return float(np.linalg.norm(speeds[0] - speeds[1])), sum(spans) / 2

    def whole(rows):
        return [k for k in range(2 * rows, len(times)) if not any(motion.flagged[k - 2 * rows + 1 : k + 1])]

    rough = np.median([c for k in whole(1) if (c := change(k, 1)[0]) > 0] or [0.0]) / stats.norm.ppf(0.75)
    rows = max(1, round(0.04 / period))
    seen = {k: change(k, rows) for k in whole(rows)}
    limit = 1.2 * 9.80665
    ends = [k for k, (jump, apart) in seen.items() if jump > limit * apart + 4 * rough / math.sqrt(rows)]
    return _inside(ends, 2 * rows, len(times))


def naive_contradictions(times, flagged, rows, reading, per_travel, per_second, of_ends, scale):
    """Window by window: what is left of the readings, constants fitted twice by ordinary least squares."""
    half = max(1, round(0.05 / float(np.median(np.diff(times)))))
    null, invert = null_space(rows.T), np.linalg.pinv(rows)
    limit = stats.chi2.ppf(1 - 2 * stats.norm.sf(4), null.shape[1])
    windows = []
    for end in range(2 * half, len(times)):
        if any(flagged[end - 2 * half + 1 : end + 1]):
            continue
        second, first = reading[end] - reading[end - half], reading[end - half] - reading[end - 2 * half]
        span, travel = times[end] - times[end - 2 * half], reading[end] - reading[end - 2 * half]
        drive = np.concatenate([invert @ travel, invert @ (second - first) / span])
        noise = 4 * (per_travel * abs(travel) + per_second * span + of_ends)
        windows.append((end, travel, drive, noise))

    def covariance(travel, noise, share):
        return null.T @ np.diag(noise + (share * scale * travel) ** 2) @ null

    def squared(travel, drive, noise, share, constants):
        rest = null.T @ travel - drive @ constants
        return rest @ np.linalg.inv(covariance(travel, noise, share)) @ rest

    constants = np.zeros((6, null.shape[1]))
    for share in (0.05, 0.01):
        kept = [w for w in windows if squared(*w[1:], share, constants) <= limit]
        for one in range(null.shape[1]):
            spread = [math.sqrt(covariance(travel, noise, share)[one, one]) for _, travel, _, noise in kept]
            left = [drive / s for (_, _, drive, _), s in zip(kept, spread, strict=True)] + list(np.eye(6) / 0.05)
            right = [travel @ null[:, one] / s for (_, travel, _, _), s in zip(kept, spread, strict=True)] + [0.0] * 6
            constants[:, one] = np.linalg.lstsq(np.array(left), np.array(right), rcond=None)[0]
    if np.max(np.abs(constants[:3])) >= 0.1:
        constants = np.zeros_like(constants)
    ends = [w[0] for w in windows if squared(*w[1:], 0.01, constants) > limit]
    return _inside(ends, 2 * half, len(times))


class _NaiveFilter:
    """State by brute force: start again from the beginning for every question asked."""

    def __init__(self, motion, start, sightings, fusion, noise, tag_positions):
        self.motion, self.start, self.sightings = motion, start, sightings
        self.fusion, self.noise, self.tags = fusion, noise, tag_positions
        self.cache, self.frozen, self.resets = {}, {}, set()

    def _predict(self, x, p, t0, t1):
        times = self.motion.time_s
        for k in range(1, len(times)):
            low, high = max(t0, times[k - 1]), min(t1, times[k])
            if high <= low:
                continue
            fraction = (high - low) / (times[k] - times[k - 1])
            twist = fraction * self.motion.twist[k]
            key = (k, low, high)
            if key not in self.cache:
                factor = self.noise.doubted_factor if self.motion.flagged[k] or self.motion.suspect[k] else 1.0
                self.cache[key] = factor**2 * _noise(twist, high - low, self.noise)
            moved = _matrix(x) @ expm(np.array([[0, -twist[2], twist[0]], [twist[2], 0, twist[1]], [0, 0, 0]]))
            f = np.eye(3)
            f[0, 2], f[1, 2] = -(moved[1, 2] - x[1]), moved[0, 2] - x[0]
            r = np.eye(3)
            r[:2, :2] = _matrix(x)[:2, :2]
            p = f @ p @ f.T + r @ self.cache[key] @ r.T
            x = np.array([moved[0, 2], moved[1, 2], x[2] + twist[2]])
        return x, p

    def _seen(self, pose, i):
        """What detection i would have said at a pose, by homogeneous matrices of field, robot and camera."""
        d, robot, camera = self.sightings.detections, np.eye(4), np.eye(4)
        tag, facing = np.array([*self.tags[int(d.tag[i])][:3], 1.0]), self.tags[int(d.tag[i])][3]
        robot[:3, :3], robot[:2, 3] = Rotation.from_rotvec([0, 0, pose[2]]).as_matrix(), pose[:2]
        camera[:3, :3], camera[:3, 3] = Rotation.from_euler("ZYX", d.mount[i, 3:]).as_matrix(), d.mount[i, :3]
        on_robot = np.linalg.inv(robot) @ tag
        in_camera = np.linalg.inv(robot @ camera) @ tag
        away = on_robot[:3] - d.mount[i, :3]
        distance = np.linalg.norm(away if d.slant else away[:2])
        bearing = math.atan2(in_camera[1], in_camera[0])
        return {
            "tag_pose": np.array([on_robot[0], on_robot[1], facing - pose[2]]),
            "range_bearing": np.array([distance, bearing]),
            "bearing": np.array([bearing]),
            "range": np.array([distance]),
        }[d.kind]

    def _spread(self, pose, i):
        """Covariance of detection i; of a bearing without a range from the one believed at its verdict."""
        covariance = self.sightings.covariance[i]
        if np.all(np.isfinite(covariance)):
            return covariance
        d, noise = self.sightings.detections, self.fusion.tag_noise
        camera = _matrix(pose) @ np.array([*d.mount[i, :2], 1.0])
        distance = math.dist(camera[:2], self.tags[int(d.tag[i])][:2])
        growth = 1 + noise.view_angle_growth * math.sin(d.view_angle_rad[i]) ** 2
        return np.array([[growth**2 * (noise.bearing_floor**2 + (noise.bearing_offset / distance) ** 2)]])

    def measure(self, x, i):
        """Residual, slope and covariance of detection i."""
        d = self.sightings.detections
        if d.kind != "robot_pose":
            size = 2 if d.kind == "tag_pose" and np.isnan(d.value[i][2]) else d.value.shape[1]
            angular = {"tag_pose": [0, 0, 1], "range_bearing": [0, 1], "bearing": [1], "range": [0]}[d.kind][:size]

            def difference(one, other):
                plain = (one - other)[:size]
                return np.array(
                    [math.remainder(v, 2 * math.pi) if a else v for v, a in zip(plain, angular, strict=True)]
                )

            step, here = 1e-6, self._seen(x, i)
            steps = [step * e for e in np.eye(3)]
            slope = np.column_stack(
                [difference(self._seen(x + s, i), self._seen(x - s, i)) / (2 * step) for s in steps]
            )
            if i not in self.frozen:
                self.frozen[i] = self._spread(x, i)[:size, :size]
            return difference(d.value[i], here), slope, self.frozen[i]
        size = 3 if np.isfinite(d.value[i][2]) else 2
        residual = (d.value[i] - x)[:size]
        if size == 3:
            residual[2] = math.remainder(residual[2], 2 * math.pi)
        return residual, np.eye(3)[:size], self.sightings.covariance[i][:size, :size]

    def _correct(self, x, p, i):
        residual, h, r = self.measure(x, i)
        mode = self.fusion.correction.mode
        if i in self.resets:
            fix, mode = self.sightings.fix[i], "replace"
            residual = (fix - x)[: 3 if np.isfinite(fix[2]) else 2]
            residual[2:] = [math.remainder(value, 2 * math.pi) for value in residual[2:]]
            r = self.sightings.fix_covariance[i][: len(residual), : len(residual)]
        if mode == "none":
            return x, p
        if mode == "replace":
            size = len(residual)
            x, p = x.copy(), p.copy()
            x[:size] += residual
            p[:size, :] = 0
            p[:, :size] = 0
            p[:size, :size] = r
            return x, p
        if mode == "fixed_gain":
            g = self.fusion.correction.fixed_gain
            k = np.diag([g.position, g.position, g.heading])[:, : len(residual)]
        else:
            k = p @ h.T @ np.linalg.inv(h @ p @ h.T + r)
        a = np.eye(3) - k @ h
        return x + k @ residual, a @ p @ a.T + k @ r @ k.T

    def state(self, time, applied):
        """State at `time` from the start, with the detections in `applied`: (applied time, row, index)."""
        x, p, t = np.array(self.start.pose, dtype=float), np.array(self.start.covariance), self.motion.time_s[0]
        for when, _, i in sorted(applied):
            x, p = self._predict(x, p, t, when)
            x, p = self._correct(x, p, i)
            t = when
        return self._predict(x, p, t, time)


def _refused_by_data(d, i, when, motion, fusion):
    """The first rule that fails without a look at the state; comparisons with NaN are false."""
    trust = fusion.trust
    turn_rate, speed = naive_rates(motion, when)
    if fusion.latency.mode == "rewind" and d.arrived_s[i] - d.captured_s[i] > fusion.latency.history:
        return "too_old"
    if {d.tag[i], *d.other_tags[i]} & set(trust.excluded_tags):
        return "excluded_tag"
    if trust.maximum_range is not None and d.range_m[i] > trust.maximum_range:
        return "range"
    if trust.maximum_view_angle is not None and d.view_angle_rad[i] > trust.maximum_view_angle:
        return "view_angle"
    if trust.maximum_reprojection_ratio is not None and d.reprojection_ratio[i] > trust.maximum_reprojection_ratio:
        return "reprojection_ratio"
    if trust.minimum_tag_count is not None and d.tag_count[i] < trust.minimum_tag_count:
        return "tag_count"
    if trust.maximum_turn_rate is not None and turn_rate > trust.maximum_turn_rate:
        return "turn_rate"
    if trust.maximum_speed is not None and speed > trust.maximum_speed:
        return "speed"
    return None


def _misfit(filter_, key, other, believed):
    """Squared distance of two fixes, keys (time, row, index), over the way between; `believed`: state before `key`."""
    (t0, _, early), (t1, _, late) = sorted([key, other])
    s, (x, p) = filter_.sightings, believed
    way, q = filter_._predict(np.zeros(3), np.zeros((3, 3)), t0, t1)
    z, c = np.array(s.fix[early]), np.array(s.fix_covariance[early])
    headings = math.isfinite(z[2]) and math.isfinite(s.fix[late][2])
    if not math.isfinite(z[2]):
        z[2] = x[2] if key[2] == early else x[2] - way[2]
        c = np.block([[c[:2, :2], np.zeros((2, 1))], [np.zeros((1, 2)), p[2:, 2:]]])
    turn = np.eye(3)
    turn[:2, :2] = _matrix(z)[:2, :2]
    there = turn @ way + z
    f = np.eye(3)
    f[:2, 2] = -(there - z)[1], (there - z)[0]
    size = 3 if headings else 2
    spread = (f @ c @ f.T + turn @ q @ turn.T + s.fix_covariance[late])[:size, :size]
    off = (s.fix[late] - there)[:size]
    if headings:
        off[2] = math.remainder(off[2], 2 * math.pi)
    return off @ np.linalg.inv(spread) @ off, size


def naive_misfit(motion, sightings, fusion, noise, key, other, believed):
    """Squared distance of two fixes and its degrees of freedom, see `_misfit`."""
    return _misfit(_NaiveFilter(motion, None, sightings, fusion, noise, {}), key, other, believed)


def _agree(filter_, key, other, believed):
    squared, size = _misfit(filter_, key, other, believed)
    return squared <= stats.chi2.ppf(filter_.fusion.trust.gate_probability, size)


def naive_fuse(motion, start, sightings, fusion, noise, tag_positions, requests=()):
    """Replay by starting over for every question.

    Return published states at the odometry times, one verdict per offered row, normalised squared innovations by
    index, and the rows for which the belief was given up.
    """
    d, filter_ = sightings.detections, _NaiveFilter(motion, start, sightings, fusion, noise, tag_positions)
    applies = d.captured_s if fusion.latency.mode == "rewind" else d.arrived_s
    offered = [i for i in range(len(d)) if applies[i] >= motion.time_s[0] and d.arrived_s[i] <= motion.time_s[-1]]
    offered.sort(key=lambda i: (d.arrived_s[i], d.captured_s[i], d.row[i]))
    trust, applied, verdicts, squared, chain, used = fusion.trust, [], {}, {}, [], set()
    for i in offered:
        key = (applies[i], d.row[i], i)
        verdicts[i] = _refused_by_data(d, i, applies[i], motion, fusion)
        if verdicts[i] is not None:
            continue
        x, p = filter_.state(applies[i], [entry for entry in applied if entry < key])
        residual, h, r = filter_.measure(x, i)
        squared[i] = residual @ np.linalg.inv(h @ p @ h.T + r) @ residual
        passes = not trust.gate_probability or squared[i] <= stats.chi2.ppf(trust.gate_probability, len(residual))
        if not passes:
            verdicts[i] = "gate"
            if trust.reacquire_after:
                chain = [*chain, key] if chain and _agree(filter_, key, chain[-1], (x, p)) else [key]
                if len(chain) >= trust.reacquire_after:
                    verdicts[i] = None
        presses = [time for time in requests if time <= d.arrived_s[i]]
        if verdicts[i] is None and trust.only_on_request:
            open_ = presses and d.arrived_s[i] - max(presses) <= trust.request_window and max(presses) not in used
            verdicts[i] = None if open_ else "not_requested"
            if open_:
                used.add(max(presses))
        if passes or verdicts[i] is None:
            chain = []
        if verdicts[i] is None:
            applied.append(key)
            if not passes:
                filter_.resets.add(i)
    states = []
    for time in motion.time_s:
        known = [entry for entry in applied if d.arrived_s[entry[2]] <= time]
        states.append(filter_.state(time, known))
    resets = {int(d.row[i]) for i in filter_.resets}
    return states, [(int(d.row[i]), verdicts[i]) for i in offered], squared, resets


def naive_error_weights(motion, start, sightings, fusion, noise, tag_positions, accepted, times):
    """Return (3, S) matrices: how each published error hangs on all unit noises of the run, starting over each time.

    `accepted` are indices of the detections that were applied, in any order.
    """
    d, filter_ = sightings.detections, _NaiveFilter(motion, start, sightings, fusion, noise, tag_positions)
    when = d.captured_s if fusion.latency.mode == "rewind" else d.arrived_s
    grid = sorted({*map(float, motion.time_s), *map(float, times), *(float(when[i]) for i in accepted)})
    sources = 3 + 3 * len(grid) + 3 * len(d)
    found = []
    for time in times:
        events = [(low, -1, None) for low in grid if low <= time]
        events += [(float(when[i]), int(d.row[i]), i) for i in accepted if d.arrived_s[i] <= time]
        x, p, t = np.array(start.pose, dtype=float), np.array(start.covariance), motion.time_s[0]
        weights = np.zeros((3, sources))
        weights[:, :3] = np.linalg.cholesky(p)
        for at, _, i in sorted(events, key=lambda event: event[:2]):
            moved, _ = filter_._predict(x, p, t, at)
            _, added = filter_._predict(x, np.zeros((3, 3)), t, at)
            f = np.eye(3)
            f[0, 2], f[1, 2] = -(moved[1] - x[1]), moved[0] - x[0]
            values, vectors = np.linalg.eigh(added)
            weights = f @ weights
            place = 3 + 3 * grid.index(at)
            weights[:, place : place + 3] += vectors * np.sqrt(np.maximum(values, 0.0))
            x, p, t = moved, f @ p @ f.T + added, at
            if i is not None:
                residual, h, r = filter_.measure(x, i)
                size = len(residual)
                if fusion.correction.mode == "replace":
                    k = np.eye(3)[:, :size]
                elif fusion.correction.mode == "fixed_gain":
                    g = fusion.correction.fixed_gain
                    k = np.diag([g.position, g.position, g.heading])[:, :size]
                else:
                    k = p @ h.T @ np.linalg.inv(h @ p @ h.T + r)
                weights = weights - k @ h @ weights
                place = 3 + 3 * len(grid) + 3 * i
                weights[:, place : place + size] += k @ np.linalg.cholesky(r)
                x, p = filter_._correct(x, p, i)
        found.append(weights)
    return found


def naive_cusum(values, allowance, restart):
    """Page 1954: the upper sum at every step, and the first step of its present rise."""
    total, begin, sums, since = 0.0, 0, [], []
    for step, (value, again) in enumerate(zip(values, restart, strict=True)):
        if again:
            total = 0.0
        if total == 0.0:
            begin = step
        total = max(0.0, total + (0.0 if np.isnan(value) else value) - allowance)
        sums.append(total)
        since.append(begin)
    return sums, since
