"""What a correction touches, and what gives way for it: rules of the docstrings, place by place and by hand."""

from dataclasses import replace
from math import cos, sin
from types import SimpleNamespace

import numpy as np
import pytest

from hexpost.feed.bounds import MARGIN
from hexpost.feed.correct import REACH, changed
from hexpost.feed.gaps import TIE
from hexpost.feed.stretches import Speeds, Stretches
from hexpost.feed.weigh import BLAME, _Factors, _struts
from hexpost.machine.load import demonstration_machine, no_setup, no_tools
from hexpost.pipeline import parse, schedule, understand


def even(rng, n, speed):
    """Return the speeds of ``n`` stretches that are passed at one speed, and their timing: so far that all is apart."""
    size = rng.uniform(0.1, 3.0, n)
    s, none = np.concatenate([[0.0], np.cumsum(size)]), np.zeros(n, dtype=np.uint8)
    bounds = {name: rng.uniform(1.0, 2.0, n) * speed**2 for name in ("cap", "up", "down", "jerk")}
    st = Stretches(
        piece=np.arange(n), size=size, **bounds, hold=none, jerk_hold=none, s=s,
        span=np.zeros(n, dtype=np.int64), first=np.array([0, n]),
    )  # fmt: skip
    timing = SimpleNamespace(t=s / speed, s=s, period=1e-3, window=np.array([int(rng.integers(1, 40))]))
    return Speeds(st=st, cap=st.cap.copy(), x=np.full(n + 1, speed**2)), timing


def lowered(now, name, at):
    """Return speeds of which one column is a tenth lower at some stretches; their edges have the last of them."""
    if name == "x":
        x = now.x.copy()
        x[at] *= 0.9
        return replace(now, x=x)
    window = name == "the cap of a window"
    column = (now.cap if window else getattr(now.st, name)).copy()
    column[at] *= 0.9
    return replace(now, cap=column) if window else replace(now, st=replace(now.st, **{name: column}))


@pytest.mark.parametrize("name", ["cap", "the cap of a window", "up", "down", "x"])
@pytest.mark.parametrize("seed", range(6))
def test_a_change_of_any_bound_touches_a_window_and_a_half_about_it_and_nothing_else(name, seed):
    """Against every tick, asked by itself whether it lies so near to a stretch that changed."""
    rng = np.random.default_rng(seed)
    before, timing = even(rng, 60, 10.0)
    at = np.sort(rng.choice(np.arange(1, 60), int(rng.integers(1, 5)), replace=False))
    found = changed(before, lowered(before, name, at), timing)
    stretches = sorted({*at, *(at - 1)}) if name == "x" else at  # the speed at an edge is that of both beside it
    tick = np.arange(0.0, timing.t[-1] / timing.period, 0.25)
    reach, near = (1.0 + REACH) * timing.window[0], np.zeros(len(tick), dtype=bool)
    for k in stretches:
        near |= (tick > timing.t[k] * 1e3 - reach) & (tick < timing.t[k + 1] * 1e3 + reach)
    about = np.zeros(len(tick), dtype=bool)  # so near to an edge that rounding, or the stretch before, decides
    for k in stretches:
        for edge in (timing.t[k] * 1e3 - reach, timing.t[k + 1] * 1e3 + reach):
            about |= np.abs(tick - edge) < 2 * TIE + 1e-6
    assert near.any() and not near.all()
    assert (found.hold(tick) == near)[~about].all()


@pytest.mark.parametrize("seed", range(20))
def test_the_middle_term_of_a_jerk_is_half_of_curvature_and_half_of_the_ramp(seed):
    """d3/dt3 l(s(t)) = l' j + 3 l'' v a + l''' v^3: of one strut, its third term and half of the second are blamed."""
    rng = np.random.default_rng(seed)
    ramp, both, curve = rng.uniform(0.0, 4.0, 3) * rng.choice([-1.0, 1.0])
    v, a, limit, far = 2.0, 0.5, 0.4, 1e9
    slopes = [np.full((6, 1), 1e-6) for _ in range(3)]
    strut = int(rng.integers(6))
    for slope, value in zip(slopes, (ramp, both / (3.0 * v * a), curve / v**3), strict=True):
        slope[strut] = value
    limits = SimpleNamespace(
        speed=np.full((6, 1), far), acceleration=np.full((6, 1), far), jerk=np.full((6, 1), limit), two_sided=False
    )
    one, out = np.ones(1), _Factors(1)
    _struts(out, np.array([0]), (v * one, a * one, one), slopes, limits=limits, aim=one)
    whole = abs(ramp) + abs(both) + abs(curve)
    over = whole / limit
    assert out.over[0] == pytest.approx(over)
    share = (abs(curve) + 0.5 * abs(both)) / whole
    assert out.cap[0] == pytest.approx((over / MARGIN) ** (-2 / 3 * min(BLAME * share, 1.0)))
    assert out.ramp[0] == pytest.approx((over / MARGIN) ** -min(BLAME * (1.0 - share), 1.0))


@pytest.mark.parametrize("chords", [400, 22_000])
def test_a_chain_of_bends_at_high_feed_keeps_the_jerk_of_the_tip(chords):
    """0.3 mm about a radius of 1.5 mm, by the second differences of the sampled speeds; the longer one by windows.

    Corrections of caps travelled along such a chain until they were given up, and left half as much again.
    """
    machine, x, y, places = demonstration_machine(), 0.0, 0.0, []
    for k in range(1, chords + 1):
        x, y = x + 0.3 * cos(0.2 * k), y + 0.3 * sin(0.2 * k)
        places.append(f"X{x:.4f} Y{y:.4f}")
    text = "\n".join(["G21 G90 G94 G00 X0 Y0 Z60", "G01 F60000", *places, "M30", ""])
    job = schedule(understand(parse(text.encode(), "p"), machine, no_tools(), no_setup()))
    rate = np.concatenate([s.poses.rate[:3] for s in job.setpoints(commands=False)], axis=1)
    jerk = np.linalg.norm(np.diff(rate, 2, axis=1), axis=0) / machine.period**2
    assert jerk.max() < 1.02 * machine.tool_tip.jerk
