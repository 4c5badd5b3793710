"""Laws of the as-programmed schedule: no cap is exceeded, every stop is one, ticks add up, units do not matter."""

from dataclasses import replace

import numpy as np
import pytest
from feed.jobs import DEG, MACHINE, along_x, circle, lines, machine, norm, pauses, run, tilt
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.spatial.transform import Rotation

from hexpost.moves.model import FEED_INVERSE, FEED_TILT
from hexpost.path.model import CORNER

SEEDS = st.integers(0, 2**32 - 1)
JERK_LEFT = 1.02
"""What corrections may leave of the jerk limit at a few setpoints, as a share."""


def random_moves(seed, n=12):
    """Return straight moves of 0.001 to 100 mm with tilts, some pure rotations, some stops, feeds of 1 to 300 mm/s."""
    rng = np.random.default_rng(seed)
    step = rng.normal(size=(6, n)) * 10.0 ** rng.uniform(-3, 1.5, n)
    step[3:] *= 0.002
    step[3:, rng.random(n) < 0.5] = 0.0
    turn = rng.random(n) < 0.1
    step[:3, turn] = 0.0
    step[3:, turn] = rng.normal(size=(3, turn.sum())) * 0.05
    q = np.concatenate([np.zeros((6, 1)), np.cumsum(step, axis=1)], axis=1)
    moves = lines(q, 10.0 ** rng.uniform(0, 2.5, n), rng.random(n) < 0.2)
    return replace(
        moves,
        feed=np.where(turn, 20 * DEG, moves.feed),
        feed_mode=np.where(turn, FEED_TILT, moves.feed_mode).astype(np.uint8),
    )


@given(SEEDS)
@settings(max_examples=15)
def test_no_limit_is_exceeded_at_any_setpoint(seed):
    moves = random_moves(seed)
    r = run(moves)
    tip, near = MACHINE.tool_tip, 1 + 1e-6
    assert norm(r.rate).max() <= tip.speed * near
    assert tilt(r.rate).max() <= tip.tilt_speed * near
    assert norm(r.acceleration).max() <= tip.acceleration * near
    assert tilt(r.acceleration).max() <= tip.tilt_acceleration * near
    jerk = np.diff(r.acceleration, axis=1) / r.period
    assert norm(jerk).max() <= tip.jerk * JERK_LEFT
    assert tilt(jerk).max() <= tip.tilt_jerk * JERK_LEFT


@given(SEEDS)
@settings(max_examples=15)
def test_the_programmed_feed_is_never_exceeded_and_a_corner_has_the_lower_of_both(seed):
    moves = random_moves(seed)
    r = run(moves)
    k = np.maximum(r.move, 0)
    reached = np.where(moves.feed_mode[k] == FEED_TILT, tilt(r.rate), norm(r.rate))
    assert (reached <= moves.feed[k] * (1 + 1e-6)).all()
    k = np.flatnonzero(r.path.kind == CORNER)
    for i in r.path.move[k]:
        if (moves.feed_mode[i : i + 2] != FEED_TILT).all():
            at = (r.corner == 1) & ((r.move == i) | (r.move == i + 1))
            near_joint = at & (np.abs(r.tick - r.timing.end_ticks(r.path, np.array([i]))[0]) <= 1)
            assert (norm(r.rate)[near_joint] <= moves.feed[i : i + 2].min() * 1.02 + 1e-9).all()


@given(SEEDS)
@settings(max_examples=30)
def test_every_span_starts_on_a_tick_and_rests_exactly_on_its_end_point(seed):
    moves = random_moves(seed)
    r = run(moves)
    t = r.timing
    assert (t.start[1:] - t.start[:-1] == t.end - t.start[:-1]).all()
    assert t.ticks == (t.end - t.start[:-1]).sum() == r.tick[-1]
    assert r.tick.tolist() == list(range(t.ticks + 1))
    last = r.path.move[r.path.span_first[1:] - 1]
    at = t.end
    assert (r.pose[:, at] == moves.end[:, last]).all()
    assert not r.rate[:, at].any()
    assert not r.acceleration[:, at].any()
    assert not r.rate[:, 0].any()
    assert (r.pose[:, 0] == moves.start[:, 0]).all() or np.allclose(r.pose[:, 0], moves.start[:, 0], atol=1e-12)


@given(SEEDS)
@settings(max_examples=10)
def test_samples_differentiate_to_rate_and_acceleration(seed):
    moves = random_moves(seed, 6)
    r = run(moves, machine(1e-4))
    h = r.period
    jerk = np.array([MACHINE.tool_tip.jerk] * 3 + [MACHINE.tool_tip.tilt_jerk] * 3)[:, None]
    rate = (r.pose[:, 2:] - r.pose[:, :-2]) / (2 * h)
    assert (
        np.abs(rate - r.rate[:, 1:-1]) <= jerk * h**2 * 0.3 + 1e-8
    ).all()  # error of a central difference: j h^2 / 6
    acceleration = (r.rate[:, 2:] - r.rate[:, :-2]) / (2 * h)
    assert (np.abs(acceleration - r.acceleration[:, 1:-1]) <= jerk * h * 1.1 + 1e-6).all()


@given(SEEDS, st.sampled_from([1 / 1024, 1024.0]))
@settings(max_examples=10)
def test_other_units_of_length_give_the_same_timing(seed, unit):
    # A power of two, so that no rounding decides between two windows that seem equally good.
    moves = random_moves(seed, 8)
    limits = MACHINE.tool_tip
    scaled = replace(
        limits, **{n: getattr(limits, n) * unit for n in ("speed", "acceleration", "jerk", "corner_tolerance")}
    )
    length = np.array([[unit]] * 3 + [[1.0]] * 3)
    feed = np.where(moves.feed_mode == FEED_TILT, moves.feed, moves.feed * unit)
    other = run(
        replace(moves, start=moves.start * length, end=moves.end * length, feed=feed), replace(MACHINE, tool_tip=scaled)
    )
    r = run(moves)
    assert abs(other.timing.ticks - r.timing.ticks) <= len(r.timing.end)
    assert np.abs(other.timing.end - r.timing.end).max() <= len(r.timing.end)


def test_a_dwell_lasts_exactly_its_ticks_and_belongs_to_the_span_before():
    q = np.zeros((6, 4))
    q[0] = 0, 5, 10, 12
    moves = lines(q, stop=True)
    plain = run(moves)
    r = run(moves, events=pauses([-1, 1, 1, 2], [0.002, 0.25, 0.0301, 0.004]))
    assert r.timing.ticks == plain.timing.ticks + 2 + 250 + 31 + 4
    assert r.timing.start[0] == 2
    assert r.timing.start[2] - r.timing.end[1] == 281
    rest = (r.tick > r.timing.end[1]) & (r.tick <= r.timing.start[2])
    assert rest.sum() == 281
    assert (r.pose[:, rest] == moves.end[:, 1:2]).all()
    assert not r.rate[:, rest].any()
    assert (r.span[rest] == 1).all()
    assert r.line[rest].tolist() == [15] * 250 + [25] * 31  # the dwells' own lines
    assert r.line[:3].tolist() == [10, 5, 5]  # the dwell before the first move
    assert r.move[:4].tolist() == [-1, -1, -1, 0]
    assert r.line[-4:].tolist() == [35] * 4


def test_a_period_that_fits_costs_no_tick_for_a_rounding_error():
    assert run(along_x(5, 1.0), events=pauses([0], [0.3])).timing.ticks == run(along_x(5, 1.0)).timing.ticks + 300


def test_inverse_time_feed_lasts_at_least_its_time_and_little_more():
    moves = replace(along_x(100.0), feed=np.array([0.25]), feed_mode=np.array([FEED_INVERSE], dtype=np.uint8))
    taken = run(moves).timing.ticks * 1e-3
    assert 4.0 <= taken <= 4.05


def test_rapids_use_the_tool_tip_limits():
    r = run(lines(np.array([[0.0, 400.0], *[[0.0, 0.0]] * 5]), np.inf))
    assert norm(r.rate).max() == pytest.approx(MACHINE.tool_tip.speed)


def test_pure_rotations_run_at_their_own_feed():
    q = np.zeros((6, 2))
    q[3, 1] = 20 * DEG
    moves = replace(lines(q, 10 * DEG), feed_mode=np.array([FEED_TILT], dtype=np.uint8))
    r = run(moves)
    assert tilt(r.rate).max() == pytest.approx(10 * DEG)
    assert not norm(r.rate).any()


def test_ten_thousand_moves_of_a_micrometre():
    q = np.zeros((6, 10_001))
    q[0] = np.arange(10_001) * 1e-3
    r = run(lines(q, 50.0))
    assert r.timing.ticks * 1e-3 == pytest.approx(10 / 50 + 0.02, abs=0.01)
    assert norm(r.rate).max() == pytest.approx(50.0)


def test_five_thousand_stops_after_a_micrometre():
    q = np.zeros((6, 5001))
    q[0] = np.arange(5001) * 1e-3
    r = run(lines(q, 50.0, stop=True))
    assert len(r.timing.end) == 5000
    assert norm(np.diff(r.acceleration, axis=1)).max() / 1e-3 <= MACHINE.tool_tip.jerk * (1 + 1e-6)


@pytest.mark.parametrize("share", [1e-3, 1e3])
def test_limits_a_thousand_times_as_large_or_small_never_fail(share):
    limits = {
        n: getattr(MACHINE.tool_tip, n) * share
        for n in ("speed", "acceleration", "jerk", "tilt_speed", "tilt_acceleration", "tilt_jerk")
    }
    on = machine(1e-3 if share > 1 else 1e-2, **limits)
    r = run(random_moves(3), on)
    assert np.isfinite(r.pose).all()
    assert norm(r.acceleration).max() <= on.tool_tip.acceleration * (1 + 1e-6)


def test_a_long_span_keeps_its_digits():
    # 100 m of path: what the samples add up to still meets the end point, and rate is the difference of positions.
    n = 2000
    q = np.zeros((6, n + 1))
    q[0] = np.array([0, 50.0, 50.0, 0])[np.arange(n + 1) % 4]
    q[1] = np.array([0, 0, 50.0, 50.0])[np.arange(n + 1) % 4]
    r = run(lines(q, 200.0), machine(5e-3))
    assert len(r.timing.end) == 1
    assert r.path.s0[-1] > 9e4
    middle = (r.pose[:, 2:] - r.pose[:, :-2]) / (2 * r.period)
    steady = (np.abs(r.acceleration).max(axis=0)[1:-1] < 1e-9) & (
        np.abs(np.diff(r.acceleration, axis=1)).max(axis=0) < 1e-9
    )[1:]
    assert steady.sum() > 1000
    steady &= np.append(steady[1:], False) & np.append(False, steady[:-1])
    assert np.abs(middle - r.rate[:, 1:-1])[:, steady].max() < 1e-6


def test_the_end_of_a_rounded_move_is_where_the_samples_say():
    q = np.zeros((6, 6))
    q[0] = 0, 10, 10, 20, 20, 30
    q[1] = 0, 0, 10, 10, 20, 20
    moves = lines(q, 50.0)
    r = run(moves)
    i = np.arange(5)
    end, start = r.timing.end_ticks(r.path, i), r.timing.start_ticks(r.path, i)
    assert (start[1:] == end[:-1]).all()
    assert end[-1] == r.timing.ticks
    for k in i[:-1]:
        assert r.move[end[k] - 1] == k  # one tick earlier the tool is still on it
        assert r.move[end[k] + 1] == k + 1


def test_an_arc_at_its_limit_keeps_speed_and_acceleration():
    r = run(circle(5.0, 6 * np.pi, 300.0))
    assert norm(r.acceleration).max() <= MACHINE.tool_tip.acceleration
    assert norm(r.rate).max() >= 0.75 * np.sqrt(5.0 * MACHINE.tool_tip.acceleration)


@pytest.mark.parametrize("order", ["ABC", "ACB", "BAC", "BCA", "CAB", "CBA"])
def test_the_tool_never_turns_faster_than_its_limit(order):
    """Hold what scipy's rotations turn from tick to tick; the lines here turn it faster than their angles change."""
    slow = replace(machine(tilt_speed=20 * DEG), tilt_order=order)
    first, middle, last = (3 + "ABC".index(letter) for letter in order)
    q = np.zeros((6, 4))
    q[middle, 1:] = 0.9 * (-1.0 if order in "ABCAB" else 1.0)
    q[first] = q[last] = (0.0, 0.0, 0.6, 1.2)
    r = run(lines(q, np.inf), on=slow)
    turned = Rotation.from_euler(order.translate(str.maketrans("ABC", "xyz")), r.pose[[first, middle, last]].T)
    speed = np.linalg.norm((turned[1:] * turned[:-1].inv()).as_rotvec(), axis=1) / r.period
    assert 20 * DEG * 0.999 < speed.max() <= 20 * DEG * (1 + 1e-6)
    assert 14 * DEG < tilt(r.rate).max() <= 20 * DEG * (1 + 1e-6)


@pytest.mark.parametrize("order", ["ABC", "ACB", "BAC", "BCA", "CAB", "CBA"])
def test_tilt_accelerations_and_jerks_are_those_of_the_angles_and_the_true_ones_bounded(order):
    """What scipy's rotations do, by differences from tick to tick; the lines here make the most of it.

    With w = T a', T of the axes: T is at most sqrt(1 + |sin m|) with the middle angle m, and axes that turn with w add
    up to 0.81 w2 to the acceleration (largest of l m + f sqrt(l2 + m2) for l2 + m2 + f2 = 1), and to the jerk three
    times sqrt(2) w times the acceleration, and w3.
    """
    on, most = replace(machine(), tilt_order=order), MACHINE.tool_tip
    first, middle, last = (3 + "ABC".index(letter) for letter in order)
    q = np.zeros((6, 5))
    q[middle, 1:] = 0.9 * (-1.0 if order in "ABCAB" else 1.0)
    q[first] = q[last] = (0.0, 0.0, 0.6, 1.2, 0.3)
    r = run(lines(q, np.inf), on=on)
    turned = Rotation.from_euler(order.translate(str.maketrans("ABC", "xyz")), r.pose[[first, middle, last]].T)
    w = (turned[1:] * turned[:-1].inv()).as_rotvec().T / r.period
    pull, jerk = norm(np.diff(w) / r.period).max(), norm(np.diff(w, 2) / r.period**2).max()
    speed, share = most.tilt_speed, np.sqrt(1.0 + np.sin(0.9))
    assert tilt(r.acceleration).max() <= most.tilt_acceleration * (1 + 1e-6)
    assert 1.25 * most.tilt_acceleration < pull <= share * most.tilt_acceleration + 0.81 * speed**2
    added = 3.0 * np.sqrt(2.0) * speed * most.tilt_acceleration + speed**3
    assert jerk <= share * most.tilt_jerk * JERK_LEFT + added


@given(SEEDS)
@settings(max_examples=10)
def test_rounded_corners_do_not_turn_it_faster(seed):
    rng = np.random.default_rng(seed)
    r = run(lines(np.cumsum(rng.normal(size=(6, 6)) * np.c_[[5, 5, 5, 0.3, 0.3, 0.3]], axis=1), 300.0))
    turned = Rotation.from_euler("xyz", r.pose[3:].T)
    speed = np.linalg.norm((turned[1:] * turned[:-1].inv()).as_rotvec(), axis=1) / r.period
    assert speed.max() <= MACHINE.tool_tip.tilt_speed * (1 + 1e-6)
