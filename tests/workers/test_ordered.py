"""One stream on several processes: in order, only so far ahead, faults in their place, no process left."""

import multiprocessing
import os
import threading
import time
from itertools import count

import numpy as np
import pytest

from hexpost.errors import Fault, HexpostError, InputError
from hexpost.workers import ordered as module
from hexpost.workers.ordered import AHEAD, ROOM_BYTES, ROOMS, can_fork, ordered

WORKERS = [1, 2, 3, 7]


@pytest.fixture(autouse=True)
def nobody_is_left(forks):
    yield
    assert multiprocessing.active_children() == []


@pytest.mark.parametrize("workers", WORKERS)
@pytest.mark.parametrize("tasks", [0, 1, 6, 7, 8, 50])
def test_results_are_in_order(workers, tasks):
    assert list(ordered(iter(range(tasks)), lambda i: i * i, workers)) == [i * i for i in range(tasks)]


@pytest.mark.parametrize("workers", WORKERS)
def test_arrays_stay_as_they_were_made_however_long_they_are_kept(workers):
    """More than there are rooms for, empty ones, one that is larger than a room, and views of one array."""

    def work(i):
        a = np.arange(1000.0) + i
        return {"a": a, "same": a, "part": a[5:], "rows": a.reshape(10, 100).T, "none": np.zeros((6, 0)), "i": i}

    found = list(ordered(iter(range(workers * ROOMS * 2)), work, workers))
    for i, got in enumerate(found):
        want = work(i)
        assert got["i"] == i and got["same"] is got["a"]
        assert all(np.array_equal(got[k], want[k]) for k in ("a", "part", "rows", "none"))
        got["a"][0] = -1.0
    large = ordered(iter(range(3)), lambda i: np.full(ROOM_BYTES // 8 + 1, float(i)), workers)
    assert [float(a.sum()) for a in large] == [i * float(ROOM_BYTES // 8 + 1) for i in range(3)]


def test_a_room_is_used_again_once_nobody_looks_at_it():
    def work(i):
        return np.full(1000, float(i))

    stream = ordered(iter(range(40)), work, 2)
    places = set()
    for i, array in enumerate(stream):
        assert (array == i).all()
        places.add(array.ctypes.data)
        del array
    assert len(places) <= 2 * ROOMS


def test_no_worker_is_further_ahead_than_so_many_results(tmp_path):
    """What waits is bounded: each worker has made those that were taken, ``AHEAD`` more, and has one at hand."""

    def work(i):
        (tmp_path / str(i)).touch()
        return i

    stream = ordered(count(), work, 3)
    for taken in (1, 2, 3):
        assert next(stream) == taken - 1
        time.sleep(0.3)
        made = {int(p.name) for p in tmp_path.iterdir()}
        assert taken < len(made) <= 3 * (AHEAD + 1) + taken
    stream.close()


@pytest.mark.parametrize("workers", WORKERS)
def test_a_fault_comes_out_in_its_place(workers):
    fault = InputError([Fault(file="p", what="w", code="c", line=3)], total=5)

    def work(i):
        if i in (5, 6):
            raise fault
        return i

    stream = ordered(iter(range(20)), work, workers)
    assert [next(stream) for _ in range(5)] == list(range(5))
    with pytest.raises(InputError) as told:
        next(stream)
    assert told.value.faults == fault.faults and told.value.total == 5


def test_a_fault_that_cannot_be_sent_is_told():
    class OwnError(Exception):
        pass

    def work(i):
        raise OwnError("of its own")

    with pytest.raises(HexpostError, match="OwnError: of its own"):
        list(ordered(iter(range(3)), work, 2))


def test_a_worker_that_dies_is_a_sentence():
    def work(i):
        if i == 3:
            os._exit(9)
        return i

    with pytest.raises(HexpostError, match="ended before its work was done"):
        list(ordered(iter(range(9)), work, 2))


def test_closing_ends_workers_in_the_middle_of_their_work():
    stream = ordered(count(), lambda i: time.sleep(60 * (i > 1)) or i, 2)
    assert next(stream) == 0 and next(stream) == 1
    start = time.monotonic()
    stream.close()
    assert time.monotonic() - start < 20


def test_a_process_with_threads_is_not_copied(monkeypatch):
    monkeypatch.setattr(module, "can_fork", can_fork)
    monkeypatch.setattr(module, "_Worker", None)
    stop = threading.Event()
    thread = threading.Thread(target=stop.wait)
    thread.start()
    try:
        assert not can_fork()
        assert list(ordered(iter(range(5)), lambda i: i, 3)) == list(range(5))
    finally:
        stop.set()
        thread.join()
