"""Spans at their optimum: against linear programs, another convex solver, closed forms and the law of scale."""

from dataclasses import replace

import numpy as np
import pytest
from feed.jobs import MACHINE, along_x, circle, lines, pauses
from feed.linear_programs import optimum
from feed.test_optimum import FREE, helix, ramp
from feed.test_plan import SEEDS, random_moves
from feed.test_strut_limited import MODEL, SHARES, between_ticks, planned, uses, with_struts
from feed.test_thrusts import bearing, corners, worst_thrust
from hypothesis import given, settings
from scipy.optimize import minimize

from hexpost.feed import interior, optimal
from hexpost.feed.interior import NoRoomError, fastest, start, time_of
from hexpost.feed.model import FEED, OWN, STRUT, TIP_SPEED, Timing
from hexpost.feed.optimal import GAIN, shortened
from hexpost.feed.plan import plan
from hexpost.feed.reasons import reasons
from hexpost.feed.spline_limits import Balls, Tops, basis
from hexpost.path.build import build
from hexpost.setpoints.sample import sample

HELIX = helix(60.0, 3 * np.pi, 2000.0, 30.0, (0.2, -0.15))


def both(moves, on, effort=True, events=None):
    """Return the path, the timing of a job as planned, and at the optimum."""
    path = build(moves, on)
    timing = plan(path, moves, events or pauses(), on, "strut-limited")
    return path, timing, shortened(path, timing, moves, replace(on, effort=effort))


@pytest.mark.parametrize(
    ("moves", "shares", "most"),
    [
        (HELIX, (1.0, 1.0, 0.05), 1.035),
        (helix(20.0, 4 * np.pi, 2000.0, 20.0), (1.0, 1.0, 0.02), 1.035),
        (ramp(2000.0), (1.0, 1.0, 0.02), 1.06),
        (HELIX, (1.0, 0.05, 1.0), 1.01),
        (HELIX, (0.1, 0.1, 0.2), 1.01),
    ],
)
def test_little_is_left_against_linear_programs(moves, shares, most):
    """Of 250 nodes, which do not see the first step: with 1,000 they take 1 to 2 % longer where the jerk holds."""
    on = with_struts(*shares, **FREE)
    path, timing, best = both(moves, on)
    motion = timing.motion(np.arange(4 * timing.ticks + 1) / 4)
    least = optimum(path, MODEL, on, float(moves.feed[0]), (motion.s, motion.speed))
    assert 0.995 < best.ticks * best.period / least < most


def one_coordinate(cells, acceleration, jerk, cap):
    """Return limits of a coordinate along a smooth reference from rest to rest of a distance of one in one second."""
    x, h = np.arange(cells), 1.0 / cells
    out = [Tops(most=np.full(cells, 1e4), base=basis(np.zeros(cells)))]
    for place in (0.0, 0.5, 1.0):
        t, b = (x + place) * h, [basis(np.full(cells, place), o) / h**o for o in range(3)]
        v, a, j = (30 * (t * (1 - t)) ** 2, 60 * t * (1 - 3 * t + 2 * t * t), 60 * (1 - 6 * t + 6 * t * t))
        b[2] = b[2][:, None]
        out.append(Tops(most=np.minimum((cap / np.maximum(v, 1e-9)) ** 2, 1e4), base=b[0]))
        out.append(Balls(weights=(b[0] * a + 0.5 * b[1] * v)[:, None, None] / acceleration, base=b[0]))
        weights = (b[0] * j + 1.5 * b[1] * a + 0.5 * b[2] * v)[:, None, None] / jerk
        out.append(Balls(weights=weights, base=b[0], jerk=True))
    return out


@pytest.mark.parametrize(
    ("acceleration", "jerk", "cap", "seconds"),
    [
        (1e6, 32.0, 1e6, 1.0),  # jerk alone: (32 h / J)^(1/3)
        (4.0, 1e2, 1e6, 1.0405),  # a wide jerk: t = 2 T + ..., by the closed form below
        (1e6, 1e3, 1.25, 0.0),
    ],
)
def test_closed_forms_of_a_straight_line_are_met(acceleration, jerk, cap, seconds):
    """L. Biagiotti, C. Melchiorri, 2008, section 3.4; the reference is a quintic, far from the optimum."""
    jerk_time = min((1.0 / (2 * jerk)) ** (1 / 3), acceleration / jerk, (cap / jerk) ** 0.5)
    a = jerk * jerk_time
    ramp_time = min(0.5 * (-jerk_time + (jerk_time**2 + 4 / a) ** 0.5), cap / a)
    exact = 1.0 / (a * ramp_time) + ramp_time + jerk_time
    if seconds:
        assert exact == pytest.approx(seconds, rel=1e-3)
    limits = one_coordinate(200, acceleration, jerk, cap)
    d, off, _ = fastest(limits, start(limits, 200))
    assert off < 1e-3
    assert 0.999 < time_of(d) / 200 / exact < 1.01


@pytest.mark.long
@pytest.mark.filterwarnings("ignore:delta_grad")
def test_another_solver_finds_no_less_time():
    """scipy's trust-constr, which knows nothing of tangents or bands, on 60 cells."""
    limits = one_coordinate(60, 5.0, 60.0, 1.6)
    d, off, _ = fastest(limits, start(limits, 60))
    rows = [
        {"type": "ineq", "fun": lambda d, x=x: np.ascontiguousarray(x.state(d).slack.ravel()),
         "jac": lambda d, x=x: slopes(x, d)}
        for x in limits
    ]  # fmt: skip
    found = minimize(time_of, np.ones(62) * 0.5, jac=grown, constraints=rows, method="trust-constr",
                     options={"maxiter": 400, "gtol": 1e-6})  # fmt: skip
    assert found.constr_violation < 1e-6
    assert off < 1e-3
    assert time_of(d) < 1.002 * found.fun


def test_limits_that_standing_still_uses_up_leave_no_room_and_the_schedule_as_it_was(monkeypatch):
    """A thrust of weight alone over its limit: no speed is slow enough, and no search for one may go on for ever."""
    cells = 30
    used = Balls(weights=np.zeros((3, 1, 1, cells)), base=basis(np.zeros(cells)), offset=np.full((1, 1, cells), 1.1))
    with pytest.raises(NoRoomError):
        fastest([*one_coordinate(cells, 1.0, 10.0, 1.0), used], np.ones(cells + 2))
    on = with_struts(1.0, 1.0, 0.05, **FREE)
    monkeypatch.setattr(optimal, "start", lambda limits, cells: np.full(cells + 2, 1e-200))
    _, timing, best = both(HELIX, on)
    assert best.ticks == timing.ticks


def test_equations_that_never_have_a_factor_leave_what_was_begun_with(monkeypatch):
    def singular(*_):
        raise np.linalg.LinAlgError

    monkeypatch.setattr(interior._Newton, "of", singular)
    limits = one_coordinate(30, 1.0, 10.0, 1.0)
    d, off, _ = fastest(limits, start(limits, 30))
    assert off == np.inf
    assert all((x.state(d).slack > 0.0).all() for x in limits)


def test_a_span_whose_planning_would_take_too_long_at_once_is_left(monkeypatch):
    monkeypatch.setattr(optimal, "PER_ROW", 1.0)
    _, timing, best = both(HELIX, with_struts(1.0, 1.0, 0.05, **FREE), effort=False)
    assert best.ticks == timing.ticks


def slopes(x, d):
    """Return the derivatives (n, coefficients) of slacks."""
    slope = x.state(d).slope
    out = np.zeros((*slope.shape[1:], len(d)))
    cell = np.arange(slope.shape[2])
    for k in range(3):
        out[:, cell, cell + k] -= slope[k]
    return out.reshape(-1, len(d))


def grown(d):
    """Return the derivatives of the time by differences."""
    return np.array([(time_of(d + e) - time_of(d - e)) / 2e-6 for e in 1e-6 * np.eye(len(d))])


@pytest.mark.parametrize("factor", [2.0, 4.0])
def test_time_falls_as_speeds_rise(factor):
    """Speeds k times, accelerations k^2, jerks k^3: the same motion k times as fast."""
    moves, on = helix(40.0, 2 * np.pi, 100.0, 10.0), with_struts(1.0, 0.02, 0.01, **FREE)
    by = (("speed", 1), ("acceleration", 2), ("jerk", 3))
    struts = tuple(replace(s, **{n: getattr(s, n) * factor**p for n, p in by}) for s in on.struts)
    fast = replace(on, struts=struts, period=on.period / factor)
    a, b = both(moves, on)[2], both(replace(moves, feed=factor * moves.feed), fast)[2]
    assert b.ticks == pytest.approx(a.ticks, rel=3e-3)


@given(SEEDS, SHARES)
@settings(max_examples=8, deadline=None)
def test_spans_get_no_longer_and_keep_every_limit(seed, shares):
    on, moves = with_struts(*shares), random_moves(seed, 6)
    path, timing, best = both(moves, on)
    assert ((best.end - best.start[:-1]) <= (timing.end - timing.start[:-1])).all()
    assert (uses(moves, on, plans=lambda *_: (path, best))[1] <= 1.0).all()
    assert max(between_ticks(moves, on, plans=lambda *_: (path, best))) <= 1.0


def zigzag():
    """Return 30 short lines with tilt, which meet in rounded corners of 7 to 21 degrees."""
    n = 30
    turn = np.cumsum(np.where(np.arange(n) % 2, 0.25, -0.25) * np.linspace(0.5, 1.5, n))
    points = np.zeros((6, n + 1))
    points[:2, 1:] = np.cumsum(8.0 * np.array([np.cos(turn), np.sin(turn)]), axis=1)
    points[0] -= points[0].mean()
    points[3] = 0.1 * np.sin(np.arange(n + 1) / 3)
    return lines(points, 150.0)


@pytest.mark.parametrize(("effort", "share"), [(False, 0.90), (True, 0.84)])
def test_a_chain_of_corners_gains_within_the_limits_of_the_tip(effort, share):
    """Derivatives jump where pieces meet: limits hold on both sides there, with the jerk of either tick."""
    moves = zigzag()
    path, timing, best = both(moves, MACHINE, effort=effort)
    assert best.ticks < share * timing.ticks
    tip, poses = MACHINE.tool_tip, list(sample(best, path, moves))
    rate, acceleration = (np.concatenate([getattr(b, n) for b in poses], axis=1) for n in ("rate", "acceleration"))
    jerk = np.diff(acceleration, axis=1) / best.period
    near = 1.0 + 1e-5
    for x, most, most_tilt in (
        (rate, min(tip.speed, 150.0), tip.tilt_speed),
        (acceleration, tip.acceleration, tip.tilt_acceleration),
        (jerk, tip.jerk, tip.tilt_jerk),
    ):
        assert np.linalg.norm(x[:3], axis=0).max() <= most * near
        assert np.linalg.norm(x[3:], axis=0).max() <= most_tilt * near
    assert max(between_ticks(moves, MACHINE, plans=lambda *_: (path, best))) <= 1.0


@pytest.mark.parametrize(
    ("moves", "newton", "share"),
    [(circle(60.0, 3 * np.pi, 400.0), 3500.0, 0.90), (along_x(150.0, 800.0), 5000.0, 0.95), (corners(), 3500.0, 0.94)],
)
def test_thrusts_are_used_and_kept(moves, newton, share):
    on = bearing(newton)
    path, timing, best = both(moves, on)
    assert best.ticks < share * timing.ticks
    assert 0.97 * newton < worst_thrust(moves, on, lambda *_: (path, best)).max() <= newton


def test_what_is_left_over_a_limit_is_slowed_down_as_a_whole(monkeypatch):
    monkeypatch.setattr(optimal, "AGAIN_BEST", 1)
    path, timing, best = both(corners(), bearing(3500.0))
    assert best.ticks < 0.95 * timing.ticks
    assert worst_thrust(corners(), bearing(3500.0), lambda *_: (path, best)).max() <= 3500.0


def test_what_comes_after_a_shorter_span_is_earlier_and_as_it_was():
    points = np.array([[0.0, 90.0, 90.0, 0.0, 0.0], [0, 0, 70, 70, 0], *[[0.0] * 5] * 4])
    moves = lines(points, [900, np.inf, 900, 900], [True, True, False, True])
    on = with_struts(1.0, 1.0, 0.01)
    events = pauses([-1, 0, 1, 3], [0.25, 0.5, 0.125, 1.0])
    path, timing, best = both(moves, on, events=events)
    ticks = best.end - best.start[:-1]
    assert (ticks < timing.end - timing.start[:-1]).any()
    assert (best.start[1:] - best.end == timing.start[1:] - timing.end).all()
    assert (best.pauses.end - best.pauses.start == timing.pauses.end - timing.pauses.start).all()
    assert best.pauses.end.tolist() == [250, *best.start[1:3].tolist(), best.ticks]
    assert (np.diff(best.t) > 0).all()
    for k, (begin, end) in enumerate(zip(best.start, best.end, strict=False)):
        motion = best.motion(np.arange(begin, end + 1))
        assert motion.s[0] == pytest.approx(path.s0[path.span_first[k]], abs=1e-9)
        assert motion.s[-1] == path.s0[path.span_first[k + 1]]
        assert motion.speed[-1] == 0.0
        assert (np.diff(motion.s) >= 0).all()
        if ticks[k] == timing.end[k] - timing.start[k]:
            other = timing.motion(np.arange(timing.start[k], timing.end[k] + 1))
            np.testing.assert_allclose(motion.s, other.s, atol=1e-9)


def test_a_span_does_not_know_what_comes_before_it():
    points = np.array([[0.0, 90.0, 0.0], [0, 0, 70], *[[0.0] * 3] * 4])
    moves, on = lines(points, 900, stop=True), with_struts(1, 1, 0.01)
    names = ("kind", "start", "end", "feed", "feed_mode", "stop", "frame", "line")
    later = replace(moves, **{n: getattr(moves, n)[..., 1:] for n in names})
    whole, rest = both(moves, on)[2], both(later, on)[2]
    ticks = np.arange(rest.ticks + 1)
    assert whole.ticks - whole.start[1] == rest.ticks
    a, b = whole.motion(ticks + whole.start[1]), rest.motion(ticks)
    np.testing.assert_allclose(a.speed, b.speed, atol=1e-7)


def test_usual_effort_leaves_short_spans_and_small_gains():
    on, short = with_struts(1.0, 1.0, 0.02), along_x(3.0, 900.0)
    _, timing, usual = both(short, on, effort=False)
    assert usual is timing
    _, timing, usual = both(HELIX, with_struts(1.0, 1.0, 0.02, **FREE), effort=False)
    assert usual.ticks <= (1 - GAIN) * timing.ticks
    assert both(HELIX, with_struts(), effort=False)[2].ticks <= timing.ticks
    slow = replace(HELIX, feed=HELIX.feed / 100)
    _, timing, usual = both(slow, with_struts(), effort=False)
    assert usual is timing


def test_averages_of_whole_periods_stay():
    on = replace(with_struts(1.0, 1.0, 0.02), calm=True)
    path, timing = planned(HELIX, replace(on, calm=False))
    assert shortened(path, timing, HELIX, on) is timing


def test_why_a_span_is_slow_is_told_by_what_holds_it():
    on = with_struts(1.0, 1.0, 0.02, **FREE)
    path, _, best = both(HELIX, on)
    total = reasons(best, path, HELIX).total
    jerks = [t for code, t in total.items() if code >= STRUT and (code - STRUT) % 4 == 2]
    assert sum(jerks) > 0.9 * sum(total.values())
    asked = path.s0[-1] / float(best.programmed[0])
    assert sum(total.values()) == pytest.approx(best.ticks * best.period - asked, rel=1e-2)
    slow = replace(helix(60.0, 3 * np.pi, 30.0), feed=np.array([30.0]))
    path, _, best = both(slow, with_struts(1.0, 1.0, 0.02))
    assert np.isin(FEED, best.cause & 63)
    assert FEED in OWN
    assert TIP_SPEED not in set((best.cause & 63).tolist())


def test_the_demonstration_machine_is_not_held_to_all_effort():
    assert not MACHINE.effort
    assert isinstance(both(along_x(1.0), MACHINE)[2], Timing)
