"""The compiled replay: one candidate over all detections of a stretch, and a sweep over many.

Detections are taken in the order of arrival; each has a rank in the order in which they act. The state after every rank
is kept as long as a late detection can go back to it; then only what acts after it runs again. Between ranks, and from
the newest rank to a time at which something is published, the way is a look-up that no setting changes (`Plan`).
"""

from collections.abc import Callable
from typing import Any, NamedTuple

from locbench.arrays import BoolArray, FloatArray, IntArray
from locbench.fusion.applying import (
    APPLIED,
    RESET,
    apply_again,
    compared,
    counting,
    difference_to,
    noise_of_value,
    put_spread,
    put_state,
    spread_of,
    state_of,
)
from locbench.fusion.compiling import compiled, compiled_parallel, each, fingerprint
from locbench.fusion.corrections import Rule
from locbench.fusion.model import (
    Innovation3,
    Spread,
    State,
    Way,
    carried,
    kalman_corrected,
    motion_noise,
    pose_innovation,
    state_at,
    whitened,
)
from locbench.fusion.rows import Row
from locbench.fusion.settings import KALMAN, Settings
from locbench.fusion.views import BEARING, Views, believed_bearing_variance, fix_difference, fix_noise

__all__ = ["ACCEPTED", "OUTCOMES", "Plan", "Record", "replay_all"]

# what became of a detection: 0 is accepted, then the rules
OUTCOMES = (None, *Rule)
ACCEPTED = OUTCOMES.index(None)
_TOO_OLD = OUTCOMES.index(Rule.TOO_OLD)
_EXCLUDED = OUTCOMES.index(Rule.EXCLUDED_TAG)
_RANGE = OUTCOMES.index(Rule.RANGE)
_VIEW_ANGLE = OUTCOMES.index(Rule.VIEW_ANGLE)
_RATIO = OUTCOMES.index(Rule.REPROJECTION_RATIO)
_COUNT = OUTCOMES.index(Rule.TAG_COUNT)
_TURN_RATE = OUTCOMES.index(Rule.TURN_RATE)
_SPEED = OUTCOMES.index(Rule.SPEED)
_GATE = OUTCOMES.index(Rule.GATE)
_NOT_REQUESTED = OUTCOMES.index(Rule.NOT_REQUESTED)


class Plan(NamedTuple):
    """The order of things and the ways between them, the same for every candidate.

    Attributes
    ----------
    start
        (9,) x, y, theta and the covariance's six numbers at the beginning.
    rank, arrival
        (M,) rank of each arrival, and arrival of each rank.
    ways, bases
        (M, 5) and (M, 2, 21), from the rank before (the first: from the start) to each rank: displacement as in `Legs`
        and the cosine and sine of its turn; noise bases, their second part of what is doubted.
    front
        (M + 1,) the latest rank among the first i arrivals; -1 without any.
    reach
        A power of two; the node of a rank is never asked for when those of so many later ones have been.
    press, since_press
        (M,) number of the latest request before each arrival, -1 without any, and its age.
    queries, query_displacement
        (M + 2,) and (Q, 3): what is published at queries[i] to queries[i + 1] rests on the first i arrivals, and lies
        that far from their front.
    """

    start: FloatArray
    rank: IntArray
    arrival: IntArray
    ways: FloatArray
    bases: FloatArray
    front: IntArray
    reach: int
    press: IntArray
    since_press: FloatArray
    queries: IntArray
    query_displacement: FloatArray


class Record(NamedTuple):
    """Where a replay writes down what became of each arrival, and its corrections; of length 0 where nobody asks."""

    arrivals: Any
    steps: Any


@compiled
def _refused_by_data(view: Row, setting: Row) -> int:
    """Return the first rule after the tags' that refuses a detection without looking at the state; NaN cannot fail."""
    if view.range > setting.maximum_range:
        return _RANGE
    if view.view_angle > setting.maximum_view_angle:
        return _VIEW_ANGLE
    if view.reprojection_ratio > setting.maximum_reprojection_ratio:
        return _RATIO
    if view.tag_count < setting.minimum_tag_count:
        return _COUNT
    if view.turn_rate > setting.maximum_turn_rate:
        return _TURN_RATE
    if view.speed > setting.maximum_speed:
        return _SPEED
    return ACCEPTED


@compiled
def _carried(ways: FloatArray, added: FloatArray, rank: int, state: State) -> State:
    """Return the state at the rank before, carried to a rank."""
    way = Way(ways[rank, 0], ways[rank, 1], ways[rank, 2], ways[rank, 3], ways[rank, 4])
    return carried(state, way, spread_of(added[rank]))


@compiled
def _agree(plan: Plan, views: Views, added: FloatArray, setting: Row, last: int, i: int, believed: State) -> bool:
    """Return whether two fixes tell of the same way: the earlier one, carried along by odometry, meets the later."""
    first, then = last, i
    if plan.rank[i] < plan.rank[last]:
        first, then = i, last
    earlier, later = views.details[first], views.details[then]
    view, other = views.rows[first], views.rows[then]
    turn = 0.0
    for rank in range(plan.rank[first] + 1, plan.rank[then] + 1):
        turn += plan.ways[rank, 2]
    count, both = counting(earlier.fix_components, view, setting), counting(later.fix_components, other, setting)
    spread, heading = fix_noise(view, earlier, setting, count), earlier.fix[2]
    if count < 3:
        # positions say nothing of the heading, so the believed one has to do
        heading = believed.theta - (turn if then == i else 0.0)
        spread = Spread(spread.xx, spread.xy, spread.yy, 0.0, 0.0, believed.spread.tt)
        both = count
    state = state_at(earlier.fix[0], earlier.fix[1], heading, spread)
    for rank in range(plan.rank[first] + 1, plan.rank[then] + 1):
        state = _carried(plan.ways, added, rank, state)
    difference = fix_difference(later.fix, both, state)
    found = pose_innovation(difference.residual, both, state.spread, fix_noise(other, later, setting, both))
    return bool(found.squared <= setting.gate[both - 1])


@compiled
def _reconsidered(
    plan: Plan, views: Views, added: FloatArray, setting: Row, memory: Row, i: int, believed: State
) -> bool:
    """Return whether a fix that the gate refuses is to be believed rather than the state."""
    if setting.reacquire_after == 0:
        return False
    agrees = memory.chain > 0 and _agree(plan, views, added, setting, memory.last, i, believed)
    memory.chain = memory.chain + 1 if agrees else 1
    memory.last = i
    return bool(memory.chain >= setting.reacquire_after)


@compiled
def _requested(press: int, since_press: float, setting: Row, memory: Row) -> bool:
    """Return whether a detection may be applied, and use up the request that lets it."""
    if not setting.only_on_request:
        return True
    if press < 0 or press == memory.used or since_press > setting.request_window:
        return False
    memory.used = press
    return True


@compiled
def _publish(node: Row, displacement: FloatArray, first: int, last: int, published: FloatArray) -> None:
    """Write down the poses (Q, 3) that are published while a node is the newest."""
    cosine, sine = node.cosine, node.sine
    for query in range(first, last):
        ahead, left = displacement[query, 0], displacement[query, 1]
        published[query, 0] = node.x + cosine * ahead - sine * left
        published[query, 1] = node.y + sine * ahead + cosine * left
        published[query, 2] = node.theta + displacement[query, 2]


@compiled
def _note_before(arrival: Row, node: Row) -> None:
    arrival.before[0], arrival.before[1], arrival.before[2] = node.x, node.y, node.theta


@compiled
def _note_after(arrival: Row, node: Row, rule: int) -> None:
    arrival.rule = rule
    arrival.after[0], arrival.after[1], arrival.after[2] = node.x, node.y, node.theta
    put_spread(arrival.after_spread, spread_of(node.spread))


@compiled
def _note_innovation(arrival: Row, found: Innovation3) -> None:
    arrival.squared = found.squared
    arrival.whitened[0], arrival.whitened[1], arrival.whitened[2] = whitened(found)


@compiled
def _begin(node: Row, start: FloatArray, memory: Row) -> None:
    put_state(node, state_at(start[0], start[1], start[2], spread_of(start[3:])))
    memory.chain, memory.last, memory.used, memory.steps = 0, -1, -1, 0


@compiled
def _add_up(bases: FloatArray, setting: Row, added: FloatArray) -> None:
    """Fill the noise (M, 6) that a candidate believes in of every leg."""
    for rank in range(len(bases)):
        put_spread(added[rank], motion_noise(bases[rank], setting.motion))


@compiled
def _believe_alike(one: Row, other: Row) -> bool:
    """Return whether two candidates believe in the same motion noise."""
    for part in range(2):
        for cause in range(5):
            if one.motion[part, cause] != other.motion[part, cause]:
                return False
    return True


@compiled
def _run_again(
    plan: Plan,
    views: Views,
    setting: Row,
    added: FloatArray,
    nodes: Any,
    steps: Any,
    memory: Row,
    rank: int,
    front: int,
    cause: int,
) -> None:
    """Run everything after a rank, up to the front, again, because of arrival number `cause`."""
    wrap = len(nodes) - 1
    for later in range(rank + 1, front + 1):
        node, arrival = nodes[(later + 1) & wrap], plan.arrival[later]
        put_state(node, _carried(plan.ways, added, later, state_of(nodes[later & wrap])))
        if node.applied:
            apply_again(views.rows[arrival], views.details[arrival], node, setting, steps, memory, later, cause)


@compiled
def _replay(
    plan: Plan,
    views: Views,
    setting: Row,
    excluded: BoolArray,
    added: FloatArray,
    nodes: Any,
    memory: Row,
    record: Record,
    counts: IntArray,
    published: FloatArray,
) -> None:
    """Replay one candidate; `added` (M, 6) is the noise it believes in of every leg, the rest as for `replay`."""
    # every array once: inside the loop only rows of them are handed on, which are plain pointers
    ranks, fronts, queries = plan.rank, plan.front, plan.queries
    ways, press, since_press = plan.ways, plan.press, plan.since_press
    rows, details, tags, noted, steps = views.rows, views.details, views.tags, record.arrivals, record.steps
    wrap = len(nodes) - 1
    _begin(nodes[0], plan.start, memory)
    counts[:] = 0
    for i in range(len(fronts)):
        front = fronts[i]
        if queries[i] < queries[i + 1]:
            _publish(nodes[(front + 1) & wrap], plan.query_displacement, queries[i], queries[i + 1], published)
        if i == len(ranks):
            break
        rank, view, detail = ranks[i], rows[i], details[i]
        if i < len(noted):
            _note_before(noted[i], nodes[(front + 1) & wrap])
        for later in range(front + 1, rank + 1):
            node = nodes[(later + 1) & wrap]
            put_state(node, _carried(ways, added, later, state_of(nodes[later & wrap])))
            node.applied = 0
        rule = _refused_by_data(view, setting)
        for number in range(tags.shape[1]):
            if excluded[tags[i, number]]:
                rule = _EXCLUDED
        if view.age > setting.history:
            rule = _TOO_OLD
        if rule == ACCEPTED:
            node = nodes[(rank + 1) & wrap]
            state, count, how = state_of(node), counting(view.components, view, setting), APPLIED
            if view.kind == BEARING:
                node.bearing_variance = believed_bearing_variance(view, detail, state, setting)
            noise, difference = noise_of_value(view, detail, node, setting), difference_to(view, detail, state, setting)
            found = compared(view, difference, state.spread, noise, count, setting)
            # written so that a NaN, from a state that has broken down, is refused
            if found.squared <= setting.gate[count - 1]:
                memory.chain = 0
            elif _reconsidered(plan, views, added, setting, memory, i, state):
                how = RESET
            else:
                rule = _GATE
            if rule == ACCEPTED and not _requested(press[i], since_press[i], setting, memory):
                rule = _NOT_REQUESTED
            if i < len(noted):
                _note_innovation(noted[i], found)
                noted[i].reset = rule == ACCEPTED and how == RESET
            if rule == ACCEPTED:
                memory.chain, node.applied = 0, how
                if how == APPLIED and setting.mode == KALMAN and len(steps) == 0:
                    # the same as below, without what is known already
                    put_state(node, kalman_corrected(state, found))
                    memory.steps += 1
                else:
                    apply_again(view, detail, node, setting, steps, memory, rank, i)
                if rank < front:
                    _run_again(plan, views, setting, added, nodes, steps, memory, rank, front, i)
        counts[rule] += 1
        if i < len(noted):
            _note_after(noted[i], nodes[(fronts[i + 1] + 1) & wrap], rule)


def _compiled_from(sources: str) -> Callable[..., None]:
    @compiled_parallel
    def replay_all(
        plan: Plan,
        views: Views,
        settings: Settings,
        added: FloatArray,
        nodes: Any,
        memory: Any,
        record: Record,
        counts: IntArray,
        published: FloatArray,
    ) -> None:
        """Replay every candidate of a table, in as many chunks as there is room for.

        Parameters
        ----------
        plan, views, settings
            What happens, what is seen, and the candidates, best with those of the same motion noise together.
        added, nodes, memory
            (chunks, M, 6), (chunks, `plan.reach`) and (chunks,): room to work in. `memory.steps` tells afterwards how
            many corrections the last candidate of a chunk computed.
        record
            Filled as far as it reaches; for one candidate only.
        counts
            (C, R + 1) filled: how many detections were accepted, then refused by each rule.
        published
            (C, Q, 3) filled at the plan's queries.
        """
        # makes the cache of compiled code go with all sources, where numba looks at this file alone
        _ = sources
        chunks, count = len(memory), len(counts)
        for chunk in each(chunks):
            first, last = chunk * count // chunks, (chunk + 1) * count // chunks
            for candidate in range(first, last):
                setting = settings.rows[candidate]
                if candidate == first or not _believe_alike(settings.rows[candidate - 1], setting):
                    _add_up(plan.bases, setting, added[chunk])
                _replay(
                    plan,
                    views,
                    setting,
                    settings.excluded[candidate],
                    added[chunk],
                    nodes[chunk],
                    memory[chunk],
                    record,
                    counts[candidate],
                    published[candidate],
                )

    return replay_all


replay_all = _compiled_from(fingerprint("applying", "compiling", "model", "rows", "settings", "views"))
