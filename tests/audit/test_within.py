"""Limits between the samples: what the audit calls clean is clean at twentieths of a tick, by differences too."""

from dataclasses import replace

import numpy as np
import pytest
from audit.jobs import audit
from feed.jobs import lines
from feed.test_between_ticks import differences, tiny_steps, winding
from feed.test_plan import SEEDS, random_moves
from feed.test_strut_limited import between_ticks, planned, with_struts
from hypothesis import given, settings
from hypothesis import strategies as st

from hexpost.setpoints.between import Between
from hexpost.setpoints.sample import sample
from hexpost.setpoints.solve import Solver

NAMES = ("speed", "acceleration", "jerk")


def audited(moves, on, mode="as-programmed", between=True, block=700):
    """Return the result of the audit, with looks between samples or without."""
    path, timing = planned(moves, on, mode)
    checks = audit(moves, machine=on, schedule=Between(timing, path, moves, on) if between else None)
    solver = Solver(on, moves.frames)
    for poses in sample(timing, path, moves, block):
        checks.add(solver.solve(poses))
    return checks.finish()


def broken(*given, **named):
    """Return which of the three limits of the struts the audit finds broken."""
    found = audited(*given, **named).findings
    return {found.limits[k].name for k in np.unique(found.limit)} & set(NAMES)


def remarked(moves, on):
    """Return the limits that are told to be broken between two setpoints."""
    told = " ".join(w for w in audited(moves, on).warnings if w.startswith("Between two setpoints"))
    return [name for name in NAMES if f"limit of {name}," in told]


def shared(moves, share, on):
    """Return a machine whose struts may do ``share`` of what the job asks of them at twentieths of a tick."""
    asked = np.array(between_ticks(moves, on, mode="as-programmed")) * share
    struts = tuple(
        replace(s, **{n: getattr(s, n) * float(x) for n, x in zip(NAMES, asked, strict=True)}) for s in on.struts
    )
    return replace(on, struts=struts)


CLOSE = 0.998
"""What a twentieth of a tick shows of a limit that is reached in between."""
MOVES = st.one_of(SEEDS.map(tiny_steps), SEEDS.map(lambda seed: random_moves(seed, 4)), st.just(winding(60)))


@given(MOVES, st.tuples(*[st.floats(-0.02, 0.02)] * 3), st.sampled_from([1e-3, 4e-3]))
@settings(max_examples=15, deadline=None)
def test_the_audit_finds_what_breaks_a_limit_at_a_twentieth_of_a_tick_and_nothing_else(moves, off, period):
    """Struts that may do a little more or less than they are asked for: only looks between the samples tell."""
    on = shared(moves, 1.0 + np.array(off), with_struts(1e6, 1e6, 1e6, period=period))
    most = between_ticks(moves, on, mode="as-programmed")
    sure, open_ = ({n for n, x in zip(NAMES, most, strict=True) if x > share} for share in (1.0 + 1e-9, CLOSE))
    assert sure <= broken(moves, on) <= open_


@pytest.mark.parametrize("seed", range(4))
def test_the_samples_alone_do_not_show_it(seed):
    moves = tiny_steps(seed)
    on = shared(moves, 0.995, with_struts(1e6, 1e6, 1e6))
    assert broken(moves, on) == set(NAMES)
    assert broken(moves, on, between=False) < set(NAMES)
    assert set(remarked(moves, on)) == set(NAMES) - broken(moves, on, between=False)


@given(SEEDS, st.tuples(*[st.floats(-1.0, 0.3)] * 3))
@settings(max_examples=8, deadline=None)
def test_clean_is_clean_by_differences_of_lengths(seed, shares):
    moves, on = random_moves(seed, 4), with_struts(*(10.0**x for x in shares), period=2e-3)
    for mode in ("as-programmed", "strut-limited"):
        most = differences(moves, on, mode)[1]
        over = {n for n, x in zip(NAMES, most, strict=True) if x > 1.001}
        assert over <= broken(moves, on, mode)
        assert mode == "as-programmed" or not broken(moves, on, mode)


@given(MOVES, SEEDS)
@settings(max_examples=10, deadline=None)
def test_bounds_hold_at_any_time_within_a_tick(moves, seed):
    on = with_struts(period=4e-3)
    path, timing = planned(moves, on, "as-programmed")
    between = Between(timing, path, moves, on)
    rng = np.random.default_rng(seed)
    first = int(rng.integers(0, max(timing.ticks - 200, 1)))
    tick = np.arange(first + 1, min(first + 201, timing.ticks + 1))
    bounds = between.bounds(tick)
    time = tick - 1 + np.sort(rng.random((9, len(tick))), axis=0)
    motion = timing.motion(time.T.ravel())
    place = timing.locate(path, motion)
    _, q1, q2, q3 = path.evaluate(place.piece, place.u, 3)
    v, a, j = motion.speed, motion.acceleration, motion.jerk
    found = (q1 * v, q2 * v * v + q1 * a, q3 * v**3 + 3 * q2 * v * a + q1 * j)
    for k, x in enumerate(found):
        for half, bound in ((x[:3], bounds.tip[k]), (x[3:], bounds.tilt[k])):
            size = np.linalg.norm(half, axis=0).reshape(len(tick), 9).max(axis=1)
            assert (size <= bound * (1 + 1e-6) + 1e-6).all()


def test_a_tick_in_which_nothing_happens_needs_no_look(monkeypatch):
    moves = lines(np.array([[0.0, 200.0], *[[0.0, 0.0]] * 5]), 100.0)
    on = with_struts()
    looked = []
    monkeypatch.setattr(Between, "looks", lambda _, tick, frame: looked.append(len(tick)))
    assert broken(moves, on) == set() and not looked
