"""Advised feeds do what they say: the same motion at the advised feed holds the limit, a little faster it does not."""

from dataclasses import replace

import numpy as np
import pytest
from audit.jobs import MACHINE, PERIOD, moves, rest, run, solved, words

from hexpost.audit.advice import round_down
from hexpost.audit.limit import CASES as ADVICES
from hexpost.audit.limits import LIMITS
from hexpost.machine.model import Machine
from hexpost.moves.model import FEED_INVERSE, FEED_RAPID, FEED_TILT, FEED_TIP


def circle(radius, speed, n=400):
    """Return a circle in the plane of the pallet at constant tip speed: poses and their derivatives (6, n)."""
    w = speed / radius
    a = w * np.arange(n) * PERIOD
    pose, rate, bend = np.zeros((3, 6, n))
    pose[0], pose[1], pose[2] = radius * np.cos(a), radius * np.sin(a), 100.0
    rate[0], rate[1] = -speed * np.sin(a), speed * np.cos(a)
    bend[0], bend[1] = -speed * w * np.cos(a), -speed * w * np.sin(a)
    return pose, rate, bend


def ramp(speed, jerk, n_after=5):
    """Return a straight start from rest in x, double-S of jerk alone (Biagiotti & Melchiorri 2008, sec. 3.4)."""
    half = np.sqrt(speed / jerk)
    n = int(2.0 * half / PERIOD) + n_after
    t = np.minimum(np.arange(n) * PERIOD, 2.0 * half)
    back = 2.0 * half - t
    first = t <= half
    pose, rate, bend = np.zeros((3, 6, n))
    bend[0] = np.where(first, jerk * t, jerk * back)
    rate[0] = np.where(first, jerk * t**2 / 2.0, speed - jerk * back**2 / 2.0)
    pose[0] = np.cumsum(rate[0]) * PERIOD
    pose[2] = 100.0
    return pose, rate, bend


def weaker(**limits) -> Machine:
    """Return the demonstration machine with other strut limits."""
    return replace(MACHINE, struts=tuple(replace(s, **limits) for s in MACHINE.struts))


def audited(motion, machine, mode=FEED_TIP):
    """Return the result of auditing a motion on a machine."""
    m = moves(mode=mode)
    return run(m, solved(*motion, m, machine=machine), machine=machine)


def worst_ratio(result, limit):
    """Return the worst use of a limit."""
    return max(w.ratio for w in result.worst if w.limit.name == limit)


CASES = [
    ("speed", 50.0, 400.0, {"speed": 100.0}),
    ("acceleration", 20.0, 300.0, {"acceleration": 1500.0}),
    ("jerk", 10.0, 150.0, {"jerk": 10_000.0}),
]


@pytest.mark.parametrize(("limit", "radius", "speed", "limits"), CASES)
def test_the_advised_feed_on_a_circle_just_holds_the_limit(limit, radius, speed, limits):
    machine = weaker(**limits)
    result = audited(circle(radius, speed), machine)
    f = result.findings
    mine = np.flatnonzero(f.limit == LIMITS.index(limit))
    advised = f.own_feed[mine].min() / 60.0
    assert advised < speed
    assert worst_ratio(audited(circle(radius, advised), machine), limit) <= 1.0
    assert worst_ratio(audited(circle(radius, 1.02 * advised), machine), limit) > 1.0
    assert words(f, mine[f.feed[mine].argmin()]).startswith(f"Write an F of at most {60.0 * advised:g} mm/min")


def test_speed_goes_with_the_feed_acceleration_with_its_square_jerk_with_its_cube():
    """On a circle, the advised feed is the reached one times the ratio to the power -1, -1/2, -1/3."""
    for (limit, radius, speed, limits), power in zip(CASES, [1.0, 1.0 / 2.0, 1.0 / 3.0], strict=True):
        f = audited(circle(radius, speed), weaker(**limits)).findings
        mine = f.limit == LIMITS.index(limit)
        assert f.own_feed[mine] == pytest.approx(60.0 * speed * 0.995 * f.ratio[mine] ** -power, rel=0.012)


def test_deviation_goes_with_the_square():
    tip = replace(MACHINE.tool_tip, deviation=0.0005)
    machine = replace(MACHINE, tool_tip=tip)
    f = audited(circle(20.0, 300.0), machine).findings
    assert set(f.limit) == {LIMITS.index("deviation")}
    advised = f.feed.min() / 60.0
    assert worst_ratio(audited(circle(20.0, advised), machine), "deviation") <= 1.0
    assert worst_ratio(audited(circle(20.0, 1.02 * advised), machine), "deviation") > 1.0


def test_a_ramp_too_hard_for_a_strut_gets_the_feed_that_makes_it_milder():
    machine = weaker(acceleration=2000.0)
    jerk = machine.tool_tip.jerk
    f = audited(ramp(150.0, jerk), machine).findings
    mine = np.flatnonzero(f.limit == LIMITS.index("acceleration"))
    advised = f.own_feed[mine].min() / 60.0
    assert 0.0 < advised < 150.0
    assert worst_ratio(audited(ramp(advised, jerk), machine), "acceleration") <= 1.0
    assert worst_ratio(audited(ramp(1.2 * advised, jerk), machine), "acceleration") > 1.0
    assert "tool_tip.acceleration_mm_s2" in words(f, mine[0])


def test_the_jerk_of_a_ramp_does_not_depend_on_the_feed_and_names_the_machine_value():
    machine = weaker(jerk=100_000.0)
    f = audited(ramp(150.0, machine.tool_tip.jerk), machine).findings
    mine = f.limit == LIMITS.index("jerk")
    assert mine.any()
    assert np.isnan(f.feed[mine]).all()
    (told,) = {words(f, i) for i in np.flatnonzero(mine)}
    assert told == (
        "The start or stop is too hard at any feed: lower tool_tip.jerk_mm_s3 "
        "(tilt_jerk_deg_s3 where the tool turns) in the machine file."
    )


@pytest.mark.parametrize(("limit", "radius", "speed", "limits"), CASES)
def test_a_rapid_has_no_feed_word(limit, radius, speed, limits):
    f = audited(circle(radius, speed), weaker(**limits), mode=FEED_RAPID).findings
    mine = f.limit == LIMITS.index(limit)
    assert mine.any()
    assert np.isnan(f.feed[mine]).all()
    assert all(words(f, i).startswith("A rapid has no F") for i in np.flatnonzero(mine))


@pytest.mark.parametrize("mode", [FEED_TILT, FEED_INVERSE])
def test_a_pure_rotation_is_advised_in_degrees_per_minute(mode):
    n = 50
    pose, rate, bend = np.zeros((3, 6, n))
    turn = np.radians(30.0)
    pose[2], pose[3], rate[3] = 100.0, turn * np.arange(n) * PERIOD, turn
    machine = weaker(speed=20.0)
    f = audited((pose, rate, bend), machine, mode=mode).findings
    fast = f.limit == LIMITS.index("speed")
    assert f.own_feed[fast] == pytest.approx(30.0 * 60.0 * 0.995 / f.ratio[fast], rel=0.011)
    assert f.turning[fast].all()
    assert words(f, np.flatnonzero(fast)[0]).endswith("deg/min. This F is not tried.")


def test_the_advised_feed_of_a_planted_speed():
    s = rest(20)
    s.poses.rate[0] = 100.0
    s.speed[0, 8] = 1.25 * MACHINE.struts[0].speed
    assert run(moves(), s).findings.feed[0] == 4770.0


def test_feeds_are_rounded_down_to_three_figures():
    given = np.array([4776.0, 999.99, 1000.0, 45.67, 0.012345, 7.0, 0.0])
    assert list(round_down(given)) == [4770.0, 999.0, 1000.0, 45.6, 0.0123, 7.0, 0.0]


def test_texts_are_sentences():
    texts = [
        text for row in LIMITS for text in (row.meaning, *(row.advice.words(case) for case in range(len(ADVICES))))
    ]
    assert all(text.endswith(".") and text.replace("{move}", "Move")[0].isupper() for text in texts if text)
    assert len({row.meaning for row in LIMITS}) == len(LIMITS)
