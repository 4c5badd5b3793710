"""A very long span planned in parts, on any number of workers, is the span planned as a whole."""

import dataclasses

import numpy as np
import pytest
from feed.jobs import MACHINE, pauses
from feed.test_lookahead import DWELLS, winding_moves
from feed.test_strut_limited import uses, with_struts

from hexpost.feed import in_parts, long_spans, lookahead, plan, portions
from hexpost.feed.model import TooLongError
from hexpost.feed.task import MODES, STRUT_LIMITED
from hexpost.path.build import build


@pytest.fixture
def parts(monkeypatch):
    """Cut spans into parts of two hundred pieces, and count those that are planned in windows."""
    planned = []

    def counted(span, **named):
        planned.append(span.path.count)
        return lookahead.in_windows(span, **named)

    for module, name, value in (
        (in_parts, "PART", 200), (in_parts, "OVERLAP", 60), (in_parts, "in_windows", counted),
        (portions, "LONG", 150), (plan, "LONG", 150), (long_spans, "WINDOW", 150),
    ):  # fmt: skip
        monkeypatch.setattr(module, name, value)
    return planned


@pytest.mark.parametrize("mode", MODES)
@pytest.mark.parametrize("seed", range(6))
def test_parts_give_the_speeds_of_the_whole(mode, seed, parts, monkeypatch):
    moves = winding_moves(seed, 600)
    path = build(moves, MACHINE)
    joined = plan.plan(path, moves, DWELLS, MACHINE, mode)
    assert len(parts) > 2 and parts[-1] < path.count
    monkeypatch.setattr(in_parts, "PART", 100_000)
    whole = plan.plan(path, moves, DWELLS, MACHINE, mode)
    assert np.array_equal(joined.programmed, whole.programmed)
    assert np.array_equal(joined.s_end, whole.s_end) and np.array_equal(joined.window, whole.window)
    assert np.abs(joined.end - whole.end).max() <= 1
    assert np.array_equal(joined.pauses.end - joined.pauses.start, whole.pauses.end - whole.pauses.start)
    assert (np.diff(joined.t) >= 0).all() and (np.diff(joined.s) >= 0).all()


@pytest.mark.parametrize("factor", [0.3, 10.0])
def test_the_bytes_are_the_same_on_any_number_of_workers(factor, parts):
    moves, machine = winding_moves(1, 600), with_struts(factor, factor, factor)
    path = build(moves, machine)
    one, *others = (plan.plan(path, moves, pauses(), machine, STRUT_LIMITED, workers=n) for n in (1, 2, 3, 7))
    assert len(parts) > 2
    for other in others:
        for field in dataclasses.fields(one):
            if isinstance(getattr(one, field.name), np.ndarray):
                assert getattr(one, field.name).tobytes() == getattr(other, field.name).tobytes(), field.name


@pytest.mark.usefixtures("parts")
@pytest.mark.parametrize("seed", range(4))
def test_parts_keep_the_limits_of_the_struts(seed):
    _, most = uses(winding_moves(seed, 300), with_struts(0.3, 0.3, 0.3))
    assert (most <= 1.0).all()


def test_where_parts_do_not_agree_the_span_is_planned_from_its_start(parts, monkeypatch):
    monkeypatch.setattr(in_parts, "OVERLAP", 1)
    moves = winding_moves(2, 600)
    path = build(moves, MACHINE)
    timing = plan.plan(path, moves, pauses(), MACHINE)
    assert parts[-1] == path.count and len(parts) > 2
    monkeypatch.setattr(in_parts, "PART", 100_000)
    assert np.array_equal(plan.plan(path, moves, pauses(), MACHINE).t, timing.t)


@pytest.mark.usefixtures("parts")
@pytest.mark.parametrize("workers", [1, 2])
def test_parts_that_take_more_ticks_than_are_wanted_are_refused(workers):
    moves = winding_moves(4, 600)
    path = build(moves, MACHINE)
    free = plan.plan(path, moves, pauses(), MACHINE, workers=workers)
    held = plan.plan(path, moves, pauses(), MACHINE, most_ticks=free.ticks, workers=workers)
    assert np.array_equal(held.t, free.t)
    for most in (free.ticks - 1, free.ticks // 2, 1):
        with pytest.raises(TooLongError):
            plan.plan(path, moves, pauses(), MACHINE, most_ticks=most, workers=workers)
