"""The tool path error between setpoints, against forward kinematics in the middle of a tick and a closed formula."""

import numpy as np
import pytest
from audit.jobs import MACHINE, PERIOD, audit, listed, moves, run, solved

from hexpost.audit.deviation import NO_BOUND, across, tip_errors, tip_gain
from hexpost.kinematics.forward import forward
from hexpost.kinematics.struts import StrutModel, jacobian
from hexpost.machine.load import no_setup, no_tools
from hexpost.machine.model import Machine
from hexpost.moves.model import FEED_RAPID, FEED_TIP
from hexpost.pipeline import examine, parse, schedule, understand


def struts_of(m):
    """Return the struts seen from the first frame of the moves."""
    return StrutModel(MACHINE).in_frame(m.frames[0].base_from_work, m.frames[0].tip)


def with_period(period):
    """Return the demonstration machine with another control period."""
    from dataclasses import replace

    machine: Machine = replace(MACHINE, period=period)
    return machine


def sine_motion(n, period, amplitude, rate_w, tilt=0.2):
    """Return a smooth motion in all six coordinates: poses and their derivatives (6, n)."""
    t = np.arange(n) * period
    size = np.array([amplitude, 0.8 * amplitude, 0.3 * amplitude, tilt, 0.7 * tilt, 0.5 * tilt])[:, None]
    w = np.array([1.0, 1.3, 0.7, 0.9, 1.1, 0.6])[:, None] * rate_w
    start = np.array([0.1, 0.5, 0.9, 1.3, 1.7, 2.1])[:, None]
    pose = size * np.sin(w * t + start)
    pose[2] += 150.0
    return pose, size * w * np.cos(w * t + start), -size * w * w * np.sin(w * t + start)


def test_strut_error_of_a_straight_translation_is_the_formula_of_the_chord():
    """Strut error at mid-step = h^2 sin^2(theta) / (8 l), derived: second derivative of the distance to a point."""
    m = moves()
    s = struts_of(m)
    h = 1.0
    pose = np.zeros((6, 3))
    pose[0], pose[2] = [-h / 2.0, 0.0, h / 2.0], 100.0
    length = s.lengths(pose)
    true = (length[:, 0] + length[:, 2]) / 2.0 - length[:, 1]
    cosine = jacobian(s, pose[:, 1:2])[0, :, 0]
    expected = h**2 * (1.0 - cosine**2) / (8.0 * length[:, 1])
    assert true == pytest.approx(expected, rel=1e-5)
    speed = h / PERIOD
    rate = np.zeros((6, 1))
    rate[0] = speed
    bend = s.derivatives([pose[:, 1:2], rate, np.zeros((6, 1))])[2][:, 0]
    assert bend * PERIOD**2 / 8.0 == pytest.approx(expected, rel=1e-12)


@pytest.mark.parametrize("period", [0.001, 0.004])
def test_deviation_is_what_forward_kinematics_finds_at_mid_tick(period):
    """Half-way between two setpoints, with struts that moved linearly, Newton's method says where the tool is."""
    m = moves()
    s = struts_of(m)
    pose, rate, bend = sine_motion(40, period, 60.0, 8.0)
    length, _, acceleration = s.derivatives([pose, rate, bend])
    error = tip_errors(s, pose, acceleration, period)
    mid, mid_rate, _ = (a[:, 1::2] for a in sine_motion(81, period / 2.0, 60.0, 8.0))
    mid, mid_rate = mid[:, :39], mid_rate[:, :39]
    chord = (length[:, 1:] + length[:, :-1]) / 2.0
    found = forward(s, chord, mid)
    assert found.converged.all()
    there = across(found.pose[:3] - mid[:3], mid_rate[:3])
    expected = across((error[:, 1:] + error[:, :-1]) / 2.0, mid_rate[:3])
    assert there == pytest.approx(expected, rel=2e-3, abs=1e-7)


def test_the_worst_of_a_job_is_its_exact_value_and_the_estimate_picks_it():
    m = moves()
    pose, rate, bend = sine_motion(3000, PERIOD, 80.0, 5.0)
    s = solved(pose, rate, bend, m)
    exact = across(tip_errors(struts_of(m), pose, s.acceleration, PERIOD), rate[:3])
    for at in ([], range(0, 3000, 701)):
        (w,) = [w for w in run(m, s, at).worst if w.limit.name == "deviation"]
        assert w.strut == 0
        assert w.value == pytest.approx(exact.max(), rel=1e-3)
        assert w.value == pytest.approx(exact[round(w.time / PERIOD)], rel=1e-12)
        assert w.ratio == pytest.approx(w.value / MACHINE.tool_tip.deviation)


def test_findings_are_exactly_the_samples_over_the_limit():
    machine = with_period(0.008)
    m = moves()
    pose, rate, bend = sine_motion(3000, 0.008, 60.0, 4.0)
    s = solved(pose, rate, bend, m, period=0.008, machine=machine)
    exact = across(tip_errors(struts_of(m), pose, s.acceleration, 0.008), rate[:3])
    over = np.flatnonzero(exact > MACHINE.tool_tip.deviation)
    assert 100 < len(over) < 2900
    for at in ([], [1000], range(0, 3000, 301)):
        result = run(m, s, at, machine=machine)
        f = result.findings
        mine = result.findings.limit == 11
        ticks = [
            np.arange(round(a / 0.008), round(b / 0.008) + 1) for a, b in zip(f.time[mine], f.until[mine], strict=True)
        ]
        assert sorted(np.concatenate(ticks)) == list(over)
        assert f.peak[mine].max() == pytest.approx(exact.max(), rel=1e-12)


def test_rapids_do_not_count():
    m = moves(2, mode=[FEED_RAPID, FEED_TIP])
    pose, rate, bend = sine_motion(1000, PERIOD, 150.0, 60.0, tilt=0.0)
    move = np.repeat([0, 1], [600, 400])
    s = solved(pose, rate, bend, m, move=move)
    found = [f for f in listed(run(m, s)) if f[0] == "deviation"]
    assert found
    assert {f[2] for f in found} == {20}
    (w,) = [w for w in run(m, s).worst if w.limit.name == "deviation"]
    assert w.line == 20
    s = solved(pose, rate, bend, m, move=np.zeros(1000, dtype=int))
    assert not [w for w in run(m, s).worst if w.limit.name == "deviation"]


def test_straight_ramps_along_the_motion_are_no_deviation():
    """A strut error along the motion is early or late, not beside the path."""
    v = np.array([[1.0, 0.0], [2.0, 0.0], [2.0, 0.0]])
    e = np.array([[0.01, 0.01], [0.02, 0.0], [0.02, 0.0]])
    assert across(e, v) == pytest.approx([0.0, 0.01], abs=1e-15)


def test_a_pure_rotation_counts_the_whole_tip_error():
    m = moves()
    s = struts_of(m)
    n = 50
    t = np.arange(n) * PERIOD
    pose, rate, bend = np.zeros((3, 6, n))
    pose[2], pose[3], rate[3] = 150.0, 1.0 * t, 1.0
    acceleration = s.derivatives([pose, rate, bend])[2]
    error = tip_errors(s, pose, acceleration, PERIOD)
    assert across(error, rate[:3]) == pytest.approx(np.linalg.norm(error, axis=0))


def test_an_exactly_singular_pose_has_no_bound():
    j = np.stack([np.eye(6), np.zeros((6, 6))])
    gain = tip_gain(j)
    assert gain[0] == pytest.approx(np.eye(3, 6))
    assert gain[1] == pytest.approx(NO_BOUND * np.eye(3, 6))


def worst_of(job):
    """Return the worst deviation of a job by the exact solution of every sample."""
    moves, true = job.inputs.meaning.moves, 0.0
    struts = StrutModel(MACHINE).in_frame(moves.frames[0].base_from_work, moves.frames[0].tip)
    for s in job.setpoints(commands=False):
        error = across(tip_errors(struts, s.poses.pose, s.acceleration, s.period), s.poses.rate[:3])
        true = max(true, error[np.append(moves.feed_mode != FEED_RAPID, False)[s.poses.move]].max(initial=0.0))
    return true


@pytest.mark.parametrize("seed", range(12))
def test_the_worst_deviation_of_pure_rotations_is_told_rightly_though_it_is_far_below_the_limit(seed):
    """Against the exact solution of every sample: the estimates decide only where to look."""
    rng = np.random.default_rng(seed)
    drawn = rng.uniform((-8, -8, -8, 10), (8, 8, 8, 3000), (8, 4))
    turns = [f"G01 A{a:.3f} B{b:.3f} C{c:.3f} F{f:.0f}" for a, b, c, f in drawn]
    text = "\n".join(["G21 G00 X0 Y0 Z80", *turns, "M30", ""])
    job = schedule(understand(parse(text.encode(), "p"), MACHINE, no_tools(), no_setup()))
    (told,) = [w.value for w in examine(job).worst if w.limit.name == "deviation"]
    true = worst_of(job)
    assert true / 1.02 <= told <= true * (1 + 1e-9)
    assert told < 0.01 * MACHINE.tool_tip.deviation


def test_what_lies_along_a_slow_motion_is_no_deviation_either():
    error, slow = np.array([[3.0, 3.0], [4.0, 4.0], [0.0, 0.0]]), np.array([[0.1, 0.0], [0.0, 0.0], [0.0, 0.0]])
    assert across(error, slow) == pytest.approx([4.0, 5.0])


@pytest.mark.parametrize("period", [0.001, 0.02, 0.1])
@pytest.mark.parametrize("tilt", [0.0, 0.2])
def test_estimates_are_off_by_no_more_than_they_say(tilt, period):
    """Against the exact solution of every sample, to and fro between two poses whose Jacobian is inverted, too."""
    m, machine = moves(), with_period(period)
    for hertz in (0.5, 5.0, 0.2 / period):
        pose, rate, bend = sine_motion(400, period, 60.0, hertz, tilt=tilt)
        s = solved(pose, rate, bend, m, period=period, machine=machine)
        check = next(c for c, _ in audit(m, machine=machine)._checks if c.band.limit == "deviation")
        error, off = check._estimate(s)
        assert error.shape == (3, 400)
        true = np.linalg.norm(error - tip_errors(struts_of(m), pose, s.acceleration, period), axis=0)
        assert (true <= off + 1e-12).all()
        assert off.max() > 0.0
