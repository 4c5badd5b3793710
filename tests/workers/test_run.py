"""What kills a worker costs its own result and nothing else, on any executor."""

import multiprocessing
import os
import random
import signal
import threading
import time
from concurrent.futures import ThreadPoolExecutor
from contextlib import suppress
from dataclasses import replace
from functools import partial

import pytest
from workers.misdeeds import (
    deaf_on_5,
    die_on_5,
    die_while_sending_5,
    echo,
    hog_on_5,
    large,
    raise_on_5,
    refuse,
    sizeable,
    slow_first,
    unsendable,
)

from hexpost.errors import Fault, HexpostError, InputError
from hexpost.library.deadline import deadline
from hexpost.workers.engines import Engine, Pool, cores, processes, serial
from hexpost.workers.run import Lost, Runner


def run(tasks, work, engine):
    with Runner(engine) as runner:
        yield from runner.run(tasks, work)


def results(check, engine, n=40, batch=1):
    return dict(run(range(n), check, replace(engine, batch=batch)))


@pytest.mark.parametrize("batch", [1, 4])
def test_a_worker_that_dies_costs_one_result(batch):
    got = results(die_on_5, processes(2), batch=batch)
    lost = [i for i, r in got.items() if isinstance(r, Lost)]
    assert lost == [5]
    assert got[5].why == "WorkerDied: its process ended"
    assert {i: r for i, r in got.items() if i != 5} == {i: i * i for i in range(40) if i != 5}


def test_every_worker_dying_still_ends():
    got = dict(run([5, 5, 5], die_on_5, processes(2)))
    assert all(isinstance(r, Lost) for r in got.values()) and len(got) == 3


@pytest.mark.parametrize("engine", [serial(), processes(2)], ids=["serial", "processes"])
def test_an_exception_is_one_lost_result(engine):
    got = results(raise_on_5, engine, n=12, batch=3)
    assert isinstance(got[5], Lost) and got[5].why == "ValueError: no 5"
    assert sorted(got) == list(range(12)) and got[11] == 121


def test_a_worker_that_hears_no_alarm_is_ended():
    got = results(deaf_on_5, processes(2), n=7)
    assert [i for i, r in got.items() if isinstance(r, Lost)] == [5]


def test_the_memory_of_a_worker_is_bounded():
    got = results(hog_on_5, processes(1, memory_mb=512), n=7)
    assert [i for i, r in got.items() if isinstance(r, Lost)] == [5] and got[5].why.startswith("MemoryError")


class Threads(ThreadPoolExecutor, Pool):
    """Threads, of which none is ever lost."""


def test_results_come_as_they_finish_with_the_index_of_their_task():
    order = [i for i, r in run(range(6), slow_first, Engine(new_pool=lambda: Threads(2))) if r == i]
    assert sorted(order) == list(range(6)) and order[0] != 0


def test_nothing_to_do_opens_no_pool():
    def no_pool():
        raise AssertionError

    assert list(run([], die_on_5, Engine(new_pool=no_pool))) == []


def test_only_so_many_are_under_way():
    seen = []

    class Counting(Threads):
        def submit(self, *a, **k):
            seen.append(self._work_queue.qsize())
            return super().submit(*a, **k)

    list(run(range(100), slow_first, Engine(new_pool=lambda: Counting(1), ahead=3)))
    assert max(seen) <= 3


def test_cores_are_at_least_one():
    assert cores() >= 1


@pytest.mark.parametrize("engine", [serial(), processes(2)], ids=["serial", "processes"])
def test_results_in_the_order_of_their_tasks_round_after_round(engine):
    done = []
    with Runner(engine) as runner:
        for _ in range(3):
            assert runner.in_order(range(6), slow_first, done.append) == list(range(6))
    assert done == [1] * 18


@pytest.mark.parametrize("engine", [serial(), processes(2)], ids=["serial", "processes"])
def test_faults_of_an_input_come_out_of_a_worker_as_they_are(engine):
    faults = [Fault(file="p.nc", what=f"found {k}", code="c", line=k) for k in (3, 4)]
    with Runner(engine) as runner, pytest.raises(InputError) as told:
        runner.in_order([1], partial(refuse, InputError(faults, total=9)), lambda _: None)
    assert told.value.faults == tuple(faults) and told.value.total == 9


def test_work_whose_worker_died_is_a_sentence():
    with Runner(processes(2)) as runner, pytest.raises(HexpostError, match="ended before its work was done"):
        runner.in_order([4, 5], die_on_5, lambda _: None)


@pytest.mark.parametrize("pause", [0.0, 0.03])
def test_an_interruption_does_not_wait_for_a_result_that_is_half_sent(pause):
    with deadline(60), suppress(KeyboardInterrupt), Runner(processes(2)) as runner:
        next(runner.run(range(50), large))
        time.sleep(pause)
        raise KeyboardInterrupt
    assert not multiprocessing.active_children()
    assert not [thread for thread in threading.enumerate() if thread.name == "worker"]


def kill_one(chance):
    """Kill one of the workers that there are."""
    if workers := multiprocessing.active_children():
        os.kill(chance.choice(workers).pid, signal.SIGKILL)


MOMENTS = {
    "it starts": (echo, [bytes(9)], 0.0, 0.05),
    "it reads": (echo, [bytes(1 << 22)], 0.02, 0.1),
    "it sends": (sizeable, [0], 0.02, 0.1),
}
"""A task, what it is given, and seconds between which a worker is killed."""


@pytest.mark.parametrize("moment", MOMENTS)
@pytest.mark.parametrize("seed", range(2))
def test_a_worker_killed_while(moment, seed):
    work, task, early, late = MOMENTS[moment]
    chance = random.Random(seed)
    killing = threading.Timer(chance.uniform(early, late), kill_one, [chance])
    with deadline(60), Runner(processes(2)) as runner:
        killing.start()
        got = dict(runner.run(task * 12, work))
    killing.join()
    assert sorted(got) == list(range(12)) and {len(r) for r in got.values()} == {len(work(task[0]))}


@pytest.mark.parametrize("which", [0, 1])
def test_a_worker_killed_when_all_is_done_keeps_nobody_waiting(which):
    with deadline(60), Runner(processes(2)) as runner:
        assert runner.in_order(range(6), slow_first, lambda _: None) == list(range(6))
        os.kill(multiprocessing.active_children()[which].pid, signal.SIGKILL)
    assert not multiprocessing.active_children()


def test_what_cannot_be_sent_costs_one_result():
    got = dict(run([1, 2, lambda: 0], echo, processes(2))) | {3: dict(run([1], unsendable, processes(2)))[0]}
    assert (got[0], got[1]) == (1, 2) and all(isinstance(got[i], Lost) for i in (2, 3))


def test_a_worker_that_dies_with_half_a_result_sent_costs_this_one_alone():
    got = results(die_while_sending_5, processes(2), n=7)
    assert [i for i, r in got.items() if isinstance(r, Lost)] == [5]
