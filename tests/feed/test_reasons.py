"""Why a job is slow: seconds lost add up to the time taken, and the causes are those that the job was made for."""

from dataclasses import replace

import numpy as np
import pytest
from feed.jobs import DEG, MACHINE, along_x, circle, lines, machine, pauses
from feed.test_plan import SEEDS, random_moves
from feed.test_strut_limited import planned, with_struts
from hypothesis import given, settings

from hexpost.feed.model import AT_CORNER, FEED, cause_text
from hexpost.feed.reasons import reasons
from hexpost.machine.load import demonstration_machine, no_setup, no_tools
from hexpost.moves.model import FEED_INVERSE, FEED_TILT
from hexpost.pipeline import parse, schedule, understand
from hexpost.setpoints.sample import sample
from hexpost.shelf import windows

DEMONSTRATION = demonstration_machine()


def why(moves, on=MACHINE, mode="as-programmed"):
    """Return the reasons of a job, and its timing."""
    path, timing = planned(moves, on, mode)
    return reasons(timing, path, moves), timing


def main_cause(found):
    """Return the words for what most of the time is lost to, starts and stops left out."""
    return next(cause_text(k) for k in found.total if cause_text(k) != "starts and stops")


@given(SEEDS)
@settings(max_examples=15, deadline=None)
def test_time_at_the_programmed_feed_and_lost_time_add_up_to_the_time_taken(seed):
    moves = random_moves(seed)
    found, timing = why(moves)
    taken = timing.ticks * timing.period
    assert found.lost.sum() == pytest.approx(sum(found.total.values()), rel=1e-9)
    way = np.where(moves.feed_mode == FEED_TILT, *(
        np.sqrt(((moves.end - moves.start)[x] ** 2).sum(axis=0)) for x in (slice(3, 6), slice(0, 3))
    ))  # fmt: skip
    ideal = (way / moves.feed).sum()
    assert found.lost.sum() <= taken
    # Corners cut a little off, and run at the lower feed of their two moves.
    assert taken - found.lost.sum() == pytest.approx(ideal, rel=0.2, abs=0.02)


def test_a_long_move_loses_only_its_start_and_stop():
    found, _ = why(along_x(500.0, 20.0))
    assert found.line.tolist() == [10]
    assert found.programmed[0] == 20.0
    assert found.reached[0] == pytest.approx(20.0)
    assert 0 < found.lost[0] < 0.1


def test_a_rapid_has_no_programmed_feed():
    found, _ = why(lines(np.array([[0.0, 200.0], *[[0.0, 0.0]] * 5]), np.inf))
    assert np.isinf(found.programmed[0])
    assert 0 < found.lost[0] < 1


def test_inverse_time_is_shown_as_the_speed_it_means():
    moves = replace(along_x(100.0), feed=np.array([0.25]), feed_mode=np.array([FEED_INVERSE], dtype=np.uint8))
    found, _ = why(moves)
    assert found.programmed[0] == pytest.approx(25.0)
    assert found.reached[0] == pytest.approx(25.0)


def test_pure_rotations_are_told_in_their_own_unit():
    q = np.zeros((6, 2))
    q[3, 1] = 20 * DEG
    moves = replace(lines(q, 10 * DEG), feed_mode=np.array([FEED_TILT], dtype=np.uint8))
    found, _ = why(moves)
    assert found.turning.tolist() == [True]
    assert found.reached[0] == pytest.approx(10 * DEG)


@pytest.mark.parametrize(
    ("moves", "on", "cause"),
    [
        (circle(20.0, 20 * np.pi, 900.0), MACHINE, "tool-tip acceleration"),
        (along_x(300.0, 900.0), machine(speed=300.0), "tool-tip speed"),
        (along_x(0.5, 200.0), MACHINE, "too short to accelerate"),
    ],
)
def test_what_holds_a_simple_job(moves, on, cause):
    found, _ = why(moves, on)
    assert main_cause(found) == cause


@pytest.mark.parametrize(("shares", "kind"), [((0.05, 1, 1), "speed"), ((1, 0.01, 1), "acceleration")])
def test_a_strut_that_holds_the_job_is_named(shares, kind):
    moves = circle(60.0, 8 * np.pi, 400.0)
    found, _ = why(moves, with_struts(*shares), "strut-limited")
    words = main_cause(found)
    assert words.startswith("strut ") and words.endswith(kind)


def test_a_corner_says_so():
    q = np.zeros((6, 41))
    q[0] = np.arange(41) // 2 * 5.0
    q[1] = (np.arange(41) + 1) // 2 * 5.0
    found, _ = why(lines(q, 300.0))
    corner = [k for k in found.total if k & AT_CORNER and k != 126]
    assert corner and all(cause_text(k).startswith("corner: ") for k in corner)
    assert FEED not in corner


def test_dwells_are_no_lost_time():
    moves = along_x(10.0)
    path, timing = planned(moves, MACHINE)
    plain = reasons(timing, path, moves)
    assert plain.lost.sum() < timing.ticks * timing.period
    assert len(pauses([0], [1.0]).pause) == 1


@pytest.mark.parametrize("size", [1, 7, 100])
def test_causes_are_the_same_however_few_intervals_are_looked_at_together(size, monkeypatch):
    """Long jobs are looked at in windows; here a short one, whose losses add up by the test above."""
    moves = random_moves(4, 40)
    path, timing = planned(moves, MACHINE, "as-programmed")
    whole = reasons(timing, path, moves)
    assert len(timing.t) > 100
    monkeypatch.setitem(reasons.__globals__, "windows", lambda count, _=0: windows(count, size))
    found = reasons(timing, path, moves)
    for name in ("line", "programmed", "turning", "cause"):
        assert np.array_equal(getattr(found, name), getattr(whole, name)), name
    assert found.reached == pytest.approx(whole.reached, rel=1e-6)
    assert found.lost == pytest.approx(whole.lost, rel=1e-9, abs=1e-12)
    assert found.total == pytest.approx(whole.total, rel=1e-9)


DENSE = "G21 G90 G94 G64\nG00 X5 Y0 Z300\nG01 Z299 F12000\n" + "".join(
    f"X{5 * np.cos(t):.3f} Y{5 * np.sin(t):.3f}\n" for t in np.linspace(0.0, 2 * np.pi, 601)[1:]
)


def test_blocks_of_a_smoothed_chain_have_their_own_speeds_and_losses():
    """600 chords of 0.05 mm in three decimals: speeds counted from the poses of all ticks by differences."""
    inputs = understand(parse((DENSE + "G00 Z320\nM30\n").encode(), "p.nc"), DEMONSTRATION, no_tools(), no_setup())
    job = schedule(inputs)
    assert job.path.ends.curves == 1
    assert job.path.ends.moves == 600
    found = reasons(job.timing, job.path, inputs.meaning.moves)
    taken, asked = job.timing.ticks * job.timing.period, (job.path.size / job.timing.programmed).sum()
    assert found.lost.sum() == pytest.approx(sum(found.total.values()), rel=1e-9)
    assert found.lost.sum() == pytest.approx(taken - asked, rel=1e-3)
    chain = (found.line > 3) & (found.line <= 603)
    assert (found.reached[chain] > 0.0).all()
    assert (found.reached <= found.programmed * 1.001).all()
    assert (found.lost[chain] > 0.0).sum() > 500  # a curve of 5 mm is slower than F12000 all along
    poses = [(b.line, b.pose) for b in sample(job.timing, job.path, inputs.meaning.moves)]
    line, pose = np.concatenate([x for x, _ in poses]), np.concatenate([q for _, q in poses], axis=1)
    speed = np.linalg.norm(np.diff(pose[:3], axis=1), axis=0) / job.timing.period  # a tick of 12000 mm/s2 is 12 mm/s
    middle = (line[1:] == line[:-1]) & (line[1:] > 3) & (line[1:] <= 603)
    for at in np.flatnonzero(middle):
        assert found.reached[found.line == line[at]][0] == pytest.approx(speed[at], rel=0.06, abs=13.0)
