"""A long span planned in windows with look-ahead is the span planned as a whole, and keeps the same limits."""

from functools import partial

import numpy as np
import pytest
from feed.jobs import MACHINE, lines, norm, pauses, run, tilt
from feed.test_plan import JERK_LEFT, SEEDS
from feed.test_strut_limited import uses, with_struts
from hypothesis import given, settings

from hexpost.feed import in_parts, long_spans, lookahead, plan, portions, windows
from hexpost.feed.model import TooLongError
from hexpost.feed.task import AS_PROGRAMMED, MODES, STRUT_LIMITED
from hexpost.path.build import build

DWELLS = pauses((-1, 399), (0.1, 0.2))


def winding_moves(seed, n=400):
    """Return straight moves of 0.01 to 20 mm that wind about, tilting, without a stop; feeds of 5 to 300 mm/s."""
    rng = np.random.default_rng(seed)
    heading = np.cumsum(rng.normal(size=n) * rng.choice([0.05, 0.6], n))
    length = 10.0 ** rng.uniform(-2, rng.uniform(-1, 1.3), n)
    step = np.zeros((6, n))
    step[:2] = length * np.array([np.cos(heading), np.sin(heading)])
    step[2] = 0.1 * length * rng.normal(size=n)
    step[3:5] = 0.002 * np.minimum(length, 1.0) * rng.normal(size=(2, n)) * rng.choice([0.1, 3.0], n)
    q = np.concatenate([np.zeros((6, 1)), np.cumsum(step, axis=1)], axis=1)
    q[:3] *= min(1.0, 150.0 / np.abs(q[:3]).max())
    return lines(q, np.repeat(10.0 ** rng.uniform(0.7, 2.5, 1 + n // 20), 20)[:n])


class Counted:
    """Windows of about eighty pieces; ``planned`` of them, and spans ``given_up``, then planned as a whole."""

    def __init__(self):
        self.planned = self.given_up = 0

    def __enter__(self):
        self._patch = pytest.MonkeyPatch()
        for module, name, value in (
            (lookahead, "WINDOW", 80), (lookahead, "AHEAD", 30), (portions, "LONG", 150), (plan, "LONG", 150),
            (long_spans, "WINDOW", 80), (lookahead, "_mended", self._mended),
            (in_parts, "in_windows", self._in_windows),
        ):  # fmt: skip
            self._patch.setattr(module, name, value)
        return self

    def __exit__(self, *_):
        self._patch.undo()

    def _mended(self, *given, mended=lookahead._mended):
        self.planned += 1
        return mended(*given)

    def _in_windows(self, *given, in_windows=lookahead.in_windows, **named):
        timing = in_windows(*given, **named)
        self.given_up += timing is None
        return timing


@pytest.mark.parametrize("mode", MODES)
@pytest.mark.parametrize("seed", range(5))
def test_windows_give_the_speeds_of_the_whole(mode, seed, monkeypatch):
    """As if it had many stretches: the few of this job would be tried with several averages, and take the best."""
    monkeypatch.setattr(plan, "SMALL", 0)
    monkeypatch.setattr(plan, "task_of", partial(plan.task_of, small=0))
    monkeypatch.setattr(windows, "ENOUGH", 100)
    moves = winding_moves(seed)
    path = build(moves, MACHINE)
    whole = plan.plan(path, moves, DWELLS, MACHINE, mode)
    with Counted() as windows_of:
        several = plan.plan(path, moves, DWELLS, MACHINE, mode)
    assert windows_of.planned >= 4
    assert windows_of.given_up == 0
    assert np.array_equal(several.programmed, whole.programmed)
    assert np.array_equal(several.s_end, whole.s_end) and np.array_equal(several.window, whole.window)
    assert np.abs(several.end - whole.end).max() <= 1 + 1e-3 * whole.ticks
    for timing in (several, whole):
        assert (timing.pauses.start[0], timing.pauses.end[0]) == (0, 100) == (0, timing.start[0])
        assert (timing.pauses.start[1], timing.pauses.end[1]) == (timing.end[-1], timing.end[-1] + 200)
    rest = several.motion(several.end.astype(np.float64))
    assert rest.rest.all() and np.array_equal(rest.s, whole.s_end)
    assert (np.diff(several.t) >= 0).all() and (np.diff(several.s) >= 0).all()


@given(SEEDS)
@settings(max_examples=12, deadline=None)
def test_windows_keep_the_limits_of_tip_and_tilt_without_a_break(seed):
    moves = winding_moves(seed)
    with Counted() as windows_of:
        r = run(moves)
    assert windows_of.planned >= 4
    tip, near = MACHINE.tool_tip, 1 + 1e-6
    assert norm(r.rate).max() <= tip.speed * near and tilt(r.rate).max() <= tip.tilt_speed * near
    assert norm(r.acceleration).max() <= tip.acceleration * near
    assert tilt(r.acceleration).max() <= tip.tilt_acceleration * near
    jerk = np.diff(r.acceleration, axis=1) / r.period
    assert norm(jerk).max() <= tip.jerk * JERK_LEFT and tilt(jerk).max() <= tip.tilt_jerk * JERK_LEFT


@given(SEEDS)
@settings(max_examples=12, deadline=None)
def test_windows_keep_the_limits_of_the_struts(seed):
    moves = winding_moves(seed, 200)
    with Counted() as windows_of:
        _, most = uses(moves, with_struts(0.3, 0.3, 0.3))
    assert windows_of.planned >= 2
    assert windows_of.given_up == 0
    assert (most <= 1.0).all()


def test_a_window_that_cannot_keep_the_limits_gives_the_span_up_and_it_is_planned_as_a_whole(monkeypatch):
    monkeypatch.setattr(lookahead, "ROUNDS", 1)
    moves, on = winding_moves(3), with_struts(0.3, 0.3, 0.3)
    whole, _ = uses(moves, on)
    with Counted() as windows_of:
        ticks, most = uses(moves, on)
    assert windows_of.given_up == 1
    assert ticks == whole
    assert (most <= 1.0).all()


@pytest.mark.parametrize("mode", MODES)
def test_a_long_span_that_takes_more_ticks_than_are_wanted_is_refused(mode):
    moves = winding_moves(4)
    path = build(moves, MACHINE)
    with Counted():
        free = plan.plan(path, moves, DWELLS, MACHINE, mode)
        held = plan.plan(path, moves, DWELLS, MACHINE, mode, most_ticks=free.ticks)
        assert np.array_equal(held.t, free.t)
        for most in (free.ticks - 1, free.ticks // 2, 1):
            with pytest.raises(TooLongError):
                plan.plan(path, moves, DWELLS, MACHINE, mode, most_ticks=most)


def test_look_ahead_grows_where_the_tool_needs_more_room_to_stop():
    """Thousands of tiny moves at a high feed: thirty of them are far too few to stop in."""
    x = np.linspace(0, 60, 601)
    moves = lines(np.array([x, 5 * np.sin(x / 10), *[np.zeros(601)] * 4]), 300.0)
    with Counted() as windows_of:
        timing = plan.plan(build(moves, MACHINE), moves, pauses(), MACHINE, STRUT_LIMITED)
    assert windows_of.given_up == 0
    assert timing.v.max() > 100.0


@pytest.mark.parametrize("factor", [0.05, 10.0])
def test_the_struts_are_planned_for_only_where_the_schedule_as_programmed_may_be_beaten(factor, monkeypatch):
    """What bounds say that struts take at least is never more than what planning under them takes."""
    x, modes, found = np.linspace(0, 200, 601), [], []
    moves = lines(np.array([x, 5 * np.sin(x / 10), *[np.zeros(601)] * 4]), 50.0)
    machine = with_struts(factor, factor, factor)
    parts, least = long_spans.in_parts, long_spans._least_within_struts

    def seen(span, **named):
        modes.append(span.mode)
        return parts(span, **named)

    def bound(*given):
        found.append(least(*given))
        return found[-1]

    with Counted():
        monkeypatch.setattr(long_spans, "in_parts", seen)
        monkeypatch.setattr(long_spans, "_least_within_struts", bound)
        timing = plan.plan(build(moves, machine), moves, pauses(), machine, STRUT_LIMITED)
        monkeypatch.setattr(long_spans, "NEAR", 0.0)
        under = plan.plan(build(moves, machine), moves, pauses(), machine, STRUT_LIMITED)
    if factor < 1:
        assert modes == [AS_PROGRAMMED, STRUT_LIMITED] * 2 and found == [None, None]
    else:
        assert modes == [AS_PROGRAMMED, AS_PROGRAMMED, STRUT_LIMITED]
        assert 0.9 * under.ticks < found[0] <= under.ticks <= timing.ticks <= long_spans.TRIES_APART * found[0]


def test_averages_that_are_given_stay_and_only_the_others_are_chosen():
    """Spans end at rest: what one of them chooses does not hang on what is given for the other."""
    q = np.zeros((6, 7))
    q[0], q[1] = (0, 10, 20, 30, 40, 50, 60), (0, 3, -3, 3, -1, 1, 0)
    moves = lines(q, 200.0, np.arange(6) == 2)
    path = build(moves, MACHINE)
    free = np.zeros(2, dtype=np.int64)
    _, speeds = lookahead.from_rest_to_rest(path, free, moves, MACHINE, AS_PROGRAMMED)
    assert (free > 1).all()
    for asked in ([free[0] + 5, 0], [0, free[1] + 5]):
        window = np.array(asked)
        _, found = lookahead.from_rest_to_rest(path, window, moves, MACHINE, AS_PROGRAMMED)
        assert window.tolist() == [w or own for w, own in zip(asked, free.tolist(), strict=True)]
        same = speeds.st.span == asked.index(0)
        assert found.cap[same] == pytest.approx(speeds.cap[same], rel=1e-9)
