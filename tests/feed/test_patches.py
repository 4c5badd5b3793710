"""What is planned again only about its changes is what the whole plan gives, and keeps the same limits."""

from functools import partial

import numpy as np
import pytest
from feed.jobs import MACHINE, lines, norm, pauses
from feed.test_plan import JERK_LEFT

from hexpost import motion
from hexpost.feed import patches, plan, windows
from hexpost.feed.known import _room
from hexpost.feed.model import TooLongError
from hexpost.path.build import build
from hexpost.path.splice import spliced
from hexpost.setpoints.sample import sample

FEED = 100.0


def chains_and_lines(seed, stops=0.0):
    """Return moves of dense chains, wavy or straight and rounded to a micrometre, with corners and lines between."""
    rng = np.random.default_rng(seed)
    way, here, heading = [np.zeros((2, 1))], np.zeros((2, 1)), 0.0
    for _ in range(12):
        n, step = int(rng.integers(300, 600)), 0.4
        turns = rng.choice([0.02, 0.05, 0.1]) * np.sin(np.arange(n) / rng.uniform(5, 30))
        chain = heading + np.cumsum(turns)
        way.append(here + np.cumsum(step * np.array([np.cos(chain), np.sin(chain)]), axis=1))
        heading = chain[-1] + rng.choice([0.7, 1.5, -1.2])
        line = rng.uniform(3, 20) * np.array([[np.cos(heading)], [np.sin(heading)]])
        way.append(way[-1][:, -1:] + line)
        here, heading = way[-1], heading + rng.choice([0.5, -1.0])
    q = np.zeros((6, sum(p.shape[1] for p in way)))
    q[:2] = np.round(np.concatenate(way, axis=1), 3)
    return lines(q, FEED, rng.random(q.shape[1] - 1) < stops)


@pytest.fixture
def many(monkeypatch):
    """Treat all programs as ones of many stretches, and averages that are the same where they are about as good."""
    monkeypatch.setattr(windows, "AS_GOOD", 1.02)
    monkeypatch.setattr(plan, "SMALL", 0)
    monkeypatch.setattr(plan, "task_of", partial(plan.task_of, small=0))


def changed(seed, stops=0.0, dwell=None):
    """Return moves, their path with some chains as smooth curves, and what is known: without, with all, with others."""
    moves, rng = chains_and_lines(seed, stops), np.random.default_rng(seed)
    path = build(moves, MACHINE)
    known = [(path, plan.plan(path, moves, dwell or pauses(), MACHINE))]
    curves = motion._curves(*known[0], moves, MACHINE, 1)
    assert len(curves) > 6
    for share in (1.0, rng.uniform(0.2, 0.8)):
        other = spliced(path, [c for c in curves if rng.random() < share])
        window = known[0][1].window
        known.append((other, plan.plan(other, moves, dwell or pauses(), MACHINE, rather=window)))
    return moves, spliced(path, [c for c in curves if rng.random() < 0.5]), known


def accelerations(timing, path, moves):
    """Return the largest acceleration and jerk of the tip at all samples."""
    a = np.concatenate([p.acceleration for p in sample(timing, path, moves)], axis=1)
    return norm(a).max(), norm(np.diff(a, axis=1)).max() / timing.period


@pytest.mark.usefixtures("many")
@pytest.mark.parametrize("stops", [0.0, 0.004])
@pytest.mark.parametrize("seed", range(8))
def test_a_patch_is_the_whole_plan(seed, stops):
    """As long, from span to span, with the same averages; and its samples keep the limits."""
    dwell = pauses((-1, 399), (0.1, 0.2))
    moves, path, known = changed(seed, stops, dwell)
    timing = patches.patched(path, known, moves, MACHINE, plan.dwells(path, dwell, MACHINE.period))
    whole = plan.plan(path, moves, dwell, MACHINE, rather=known[-1][1].window)
    assert timing is not None
    alike = timing.window == whole.window  # averages that are about as good may be chosen otherwise
    assert alike.mean() > 0.9 and timing.ticks <= 1.003 * whole.ticks
    assert np.abs((timing.end - timing.start[:-1]) - (whole.end - whole.start[:-1]))[alike].max() <= 1
    assert np.array_equal(timing.programmed, whole.programmed) and np.array_equal(timing.s_end, whole.s_end)
    assert np.array_equal(timing.pauses.end - timing.pauses.start, whole.pauses.end - whole.pauses.start)
    assert (np.diff(timing.t) >= 0).all() and (np.diff(timing.s) >= 0).all()
    rest = timing.motion(timing.end.astype(np.float64))
    assert rest.rest.all() and np.array_equal(rest.s, path.s0[path.span_first[1:]])
    acceleration, jerk = accelerations(timing, path, moves)
    before = [accelerations(t, p, moves)[1] for p, t in known]
    assert acceleration <= MACHINE.tool_tip.acceleration * (1 + 1e-6)
    assert jerk <= max(MACHINE.tool_tip.jerk * JERK_LEFT, *before)  # what corrections leave of a schedule as programmed


@pytest.mark.usefixtures("many")
def test_known_speeds_are_taken_as_they_are_and_only_some_pieces_planned():
    moves, path, known = changed(3)
    planned, rest_to_rest = [], patches.from_rest_to_rest

    def counted(zones, *given):
        planned.append(zones.count)
        return rest_to_rest(zones, *given)

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(patches, "from_rest_to_rest", counted)
        patches.patched(path, known, moves, MACHINE, plan.dwells(path, pauses(), MACHINE.period))
    assert 0 < planned[0] < patches.MOST * path.count


@pytest.mark.usefixtures("many")
@pytest.mark.parametrize(("name", "value"), [("ROOM", (0.001,)), ("MOST", 0.0)])
def test_without_room_to_stop_or_with_too_much_to_plan_there_is_no_patch(name, value, monkeypatch):
    monkeypatch.setattr(patches, name, value)
    moves, path, known = changed(3)
    assert patches.patched(path, known, moves, MACHINE, plan.dwells(path, pauses(), MACHINE.period)) is None


@pytest.mark.usefixtures("many")
def test_a_patch_that_takes_too_long_is_refused():
    moves, path, known = changed(3)
    rests = plan.dwells(path, pauses(), MACHINE.period)
    ticks = patches.patched(path, known, moves, MACHINE, rests).ticks
    assert patches.patched(path, known, moves, MACHINE, rests, most_ticks=ticks).ticks == ticks
    with pytest.raises(TooLongError):
        patches.patched(path, known, moves, MACHINE, rests, most_ticks=ticks - 1)


@pytest.mark.usefixtures("many")
def test_a_window_is_kept_where_it_is_as_good(monkeypatch):
    moves = chains_and_lines(0)
    path = build(moves, MACHINE)
    best = plan.plan(path, moves, pauses(), MACHINE)
    monkeypatch.setattr(windows, "AS_GOOD", 1.001)
    for window in (best.window + 1, 20 * best.window):
        other = plan.plan(path, moves, pauses(), MACHINE, rather=window)
        assert other.ticks <= 1.002 * best.ticks
        assert np.array_equal(other.window, window if window[0] == best.window[0] + 1 else best.window)


@pytest.mark.parametrize("seed", range(20))
def test_the_room_of_a_piece_is_the_time_to_the_nearer_end_of_what_is_known(seed):
    """Against a search to either side, piece by piece; where a span opens or ends nothing can be too near."""
    rng = np.random.default_rng(seed)
    n = int(rng.integers(1, 40))
    time = np.concatenate([[0.0], np.cumsum(rng.uniform(0.1, 2.0, n))])
    opens = rng.random(n + 1) < rng.choice([0.0, 0.1])
    opens[[0, -1]] = rng.random(2) < 0.5
    ends = opens | (rng.random(n + 1) < 0.15)
    ends[[0, -1]] = True
    room = _room(time, ends, opens)
    for k in range(n):
        a, b = k, k + 1
        while not ends[a]:
            a -= 1
        while not ends[b]:
            b += 1
        sides = [np.inf if opens[x] else far for x, far in ((a, time[k] - time[a]), (b, time[b] - time[k + 1]))]
        assert room[k] == min(sides)
