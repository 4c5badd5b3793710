"""Planted violations are found once each, with the right strut, line, time and peak, however the samples are cut."""

import numpy as np
import pytest
from audit.jobs import MACHINE, PERIOD, cut, listed, moves, rest, run, solved, words
from hypothesis import given
from hypothesis import strategies as st

from hexpost.audit.model import LIMITS, Dropped
from hexpost.audit.store import KEPT

MOST = {name: getattr(MACHINE.struts[0], name) for name in ("speed", "acceleration", "jerk")}
LOW, HIGH = MACHINE.struts[0].stroke


@pytest.mark.parametrize("limit", ["speed", "acceleration", "jerk"])
@pytest.mark.parametrize("sense", [-1.0, 1.0])
def test_one_sample_over_a_limit_is_one_finding(limit, sense):
    s = rest(50)
    getattr(s, limit)[0, 7] = sense * 1.25 * MOST[limit]
    result = run(moves(), s)
    assert listed(result) == [(limit, 1, 10, 7, 7, 1.25 * MOST[limit], MOST[limit])]
    assert result.findings.ratio[0] == 1.25
    assert result.samples == 50
    assert result.duration == pytest.approx(49 * PERIOD)


@pytest.mark.parametrize("at", [0, 49])
def test_first_and_last_sample_count(at):
    s = rest(50)
    s.speed[0, at] = 2.0 * MOST["speed"]
    assert listed(run(moves(), s)) == [("speed", 1, 10, at, at, 2.0 * MOST["speed"], MOST["speed"])]


def test_a_run_over_a_block_border_is_one_finding():
    s = rest(60)
    s.speed[0, 18:33] = 1.1 * MOST["speed"]
    s.speed[0, 30] = 1.5 * MOST["speed"]
    for at in ([], [20], [30], [31], [18, 19, 20, 33], range(60)):
        assert listed(run(moves(), s, at)) == [("speed", 1, 10, 18, 32, 1.5 * MOST["speed"], MOST["speed"])]


def test_a_gap_of_one_sample_and_a_new_line_part_runs():
    s = rest(40, move=[0] * 20 + [1] * 20)
    s.speed[0, 5:9] = s.speed[0, 10:14] = s.speed[0, 18:22] = 1.5 * MOST["speed"]
    for at in ([], [9], [10], [20], [12, 20]):
        found = sorted(f[2:5] for f in listed(run(moves(2), s, at)))
        assert found == [(10, 5, 8), (10, 10, 13), (10, 18, 19), (20, 20, 21)]


def test_two_struts_at_once_are_two_findings_worst_first():
    s = rest(40)
    s.speed[1, 5:9] = 1.5 * MOST["speed"]
    s.speed[4, 6:7] = -1.75 * MOST["speed"]
    result = run(moves(), s)
    assert [f[:5] for f in listed(result)] == [("speed", 5, 10, 6, 6), ("speed", 2, 10, 5, 8)]
    assert list(result.findings.ratio) == [1.75, 1.5]


def test_stroke_below_and_above():
    s = rest(40)
    s.length[0, 5:9] = LOW - 2.0
    s.length[0, 20:24] = HIGH + 3.0
    result = run(moves(), s)
    half = (HIGH - LOW) / 2.0
    assert listed(result) == [
        ("stroke", 1, 10, 20, 23, HIGH + 3.0, HIGH),
        ("stroke", 1, 10, 5, 8, LOW - 2.0, LOW),
    ]
    assert result.findings.ratio == pytest.approx([1.0 + 3.0 / half, 1.0 + 2.0 / half])
    assert "cannot extend" in words(result.findings, 0)
    assert "cannot retract" in words(result.findings, 1)
    assert np.isnan(result.findings.feed).all()
    assert result.shortest[0] == LOW - 2.0
    assert result.longest[0] == HIGH + 3.0


def test_exactly_at_every_limit_is_clean_and_uses_all_of_it():
    s = rest(40)
    for i, strut in enumerate(MACHINE.struts):
        s.length[i, 3], s.length[i, 4] = strut.stroke
        s.speed[i, 5], s.acceleration[i, 6], s.jerk[i, 7] = -strut.speed, strut.acceleration, -strut.jerk
    result = run(moves(), s)
    assert listed(result) == []
    for limit in ("stroke", "speed", "acceleration", "jerk"):
        assert [w.ratio for w in result.worst if w.limit.name == limit] == [1.0] * 6
    assert max(w.ratio for w in result.worst) <= 1.0


def test_one_rounding_step_over_is_broken_except_for_jerk_which_is_a_difference():
    s = rest(40)
    s.length[0, 3] = np.nextafter(HIGH, np.inf)
    s.speed[0, 5] = np.nextafter(MOST["speed"], np.inf)
    s.jerk[0, 7] = np.nextafter(MOST["jerk"], np.inf)
    result = run(moves(), s)
    assert sorted(f[0] for f in listed(result)) == ["speed", "stroke"]
    assert (result.findings.ratio > 1.0).all()


def test_what_is_not_a_number_is_broken():
    s = rest(40)
    s.length[2, 9] = np.nan
    result = run(moves(), s)
    assert listed(result)[0][:5] == ("stroke", 3, 10, 9, 9)
    assert np.isinf(result.findings.ratio[0])


def test_worst_use_names_the_first_of_equals_with_its_line_and_time():
    s = rest(40, move=[0] * 20 + [1] * 20)
    s.speed[3, [12, 25]] = -0.5 * MACHINE.struts[3].speed
    for at in ([], [13], [5, 25]):
        (w,) = [w for w in run(moves(2), s, at).worst if (w.limit.name, w.strut) == ("speed", 4)]
        assert (w.value, w.ratio, w.line) == (0.5 * MACHINE.struts[3].speed, 0.5, 10)
        assert w.time == pytest.approx(12 * PERIOD)


def test_no_samples_no_findings():
    result = run(moves(), rest(0))
    assert (result.samples, result.duration, result.findings.count, result.worst) == (0, 0.0, 0, ())


@pytest.mark.long
def test_many_findings_stay_columns():
    n = 400_000
    s = rest(n)
    s.speed[:, ::2] = 1.5 * MOST["speed"]
    result = run(moves(), s, range(0, n, 8192))
    assert result.findings.count == KEPT
    assert result.dropped == (Dropped(limit="speed", count=6 * n // 2 - KEPT, most_ratio=1.5),)
    assert result.total == 6 * n // 2


amounts = st.sampled_from([0.0, 0.5, 1.0, 1.2, 1.2, 1.4, 1.4])


@given(
    st.lists(amounts, min_size=30, max_size=30),
    st.lists(amounts, min_size=30, max_size=30),
    st.lists(st.integers(0, 30), max_size=12),
    st.lists(st.integers(0, 3), min_size=30, max_size=30),
)
def test_any_cutting_into_blocks_gives_the_same_findings(speeds, jerks, at, steps):
    s = rest(30, move=np.minimum(np.cumsum(np.array(steps) // 3), 9))
    s.speed[1] = np.array(speeds) * MOST["speed"]
    s.jerk[2] = -np.array(jerks) * MOST["jerk"]
    s.poses.rate[0] = np.linspace(10.0, 90.0, 30)
    s.poses.acceleration[0] = np.linspace(0.0, 4000.0, 30)
    s.speed[2] = s.poses.rate[0] / 2.0
    s.acceleration[2] = s.poses.acceleration[0] / 2.0
    whole, parts = run(moves(10), s), run(moves(10), s, at)
    assert listed(parts) == listed(whole)
    np.testing.assert_array_equal(parts.findings.feed, whole.findings.feed)
    np.testing.assert_array_equal(parts.findings.case, whole.findings.case)
    assert parts.worst == whole.worst


def test_findings_of_a_real_motion_do_not_depend_on_the_blocks():
    t = np.arange(4000) * PERIOD
    w = 30.0
    pose, rate, bend = np.zeros((3, 6, len(t)))
    pose[0], pose[1], pose[2] = 30.0 * np.sin(w * t), 30.0 * np.cos(2.0 * w * t), 150.0 + 20.0 * np.cos(w * t)
    rate[0], rate[1], rate[2] = (
        30.0 * w * np.cos(w * t), -60.0 * w * np.sin(2.0 * w * t), -20.0 * w * np.sin(w * t),
    )  # fmt: skip
    bend[0], bend[1], bend[2] = (
        -30.0 * w * w * np.sin(w * t), -120.0 * w * w * np.cos(2.0 * w * t), -20.0 * w * w * np.cos(w * t),
    )  # fmt: skip
    m = moves()
    s = solved(pose, rate, bend, m)
    whole = run(m, s)
    assert {LIMITS[i].name for i in whole.findings.limit} >= {"speed", "acceleration", "jerk"}
    for at in ([1000, 2000, 3000], range(0, 4000, 137)):
        assert listed(run(m, s, at)) == listed(whole)


def test_blocks_are_cut_as_meant():
    assert [len(b.poses.tick) for b in cut(rest(10), [3, 3, 7])] == [3, 4, 3]
