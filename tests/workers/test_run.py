"""What kills a worker costs its own result and nothing else, on any executor."""

import subprocess
import sys
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace
from functools import partial
from pathlib import Path

import pytest
from library.shop import deaf_on_5, die_on_5, die_while_sending_5, hog_on_5, raise_on_5, refuse, slow_first

from hexpost.errors import Fault, HexpostError, InputError
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
    assert "BrokenProcessPool" in got[5].why
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

    def look(self):
        """Do nothing."""


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


HALF_SENT = """
import sys, time
sys.path.insert(0, sys.argv[1])
from library.shop import large
from hexpost.workers.engines import processes
from hexpost.workers.run import Runner
if __name__ == "__main__":
    for pause in (0.0, 0.01, 0.03, 0.1):
        try:
            with Runner(processes(2)) as runner:
                next(runner.run(range(50), large))
                time.sleep(pause)
                raise KeyboardInterrupt
        except KeyboardInterrupt:
            print("over")
"""


def test_an_interruption_does_not_wait_for_a_result_that_is_half_sent(tmp_path):
    (tmp_path / "half.py").write_text(HALF_SENT)
    words = [sys.executable, str(tmp_path / "half.py"), str(Path(__file__).parent.parent)]
    done = subprocess.run(words, capture_output=True, text=True, timeout=100, check=True)
    assert done.stdout.split() == ["over"] * 4


KILLED = """
import os, random, signal, sys, threading, time
sys.path.insert(0, sys.argv[1])
from library.shop import sizeable
from hexpost.workers.engines import processes
from hexpost.workers.run import LOOK_S, Lost, Runner
if __name__ == "__main__":
    for seed in range(3):
        chance = random.Random(seed)
        with Runner(processes(2)) as runner:
            results = runner.run(range(12), sizeable)
            got = dict([next(results)])
            def kill():
                time.sleep(chance.random() * 0.1)
                os.kill(chance.choice(list(runner._pool._processes)), signal.SIGKILL)
            killing = threading.Thread(target=kill)
            killing.start()
            got.update(results)
            killing.join()
        assert sorted(got) == list(range(12)), sorted(got)
        assert not any(isinstance(r, Lost) or len(r) != 1 << 22 for r in got.values()), got
        print("whole", flush=True)
"""


def test_a_worker_killed_while_it_sends_is_noticed(tmp_path):
    (tmp_path / "killed.py").write_text(KILLED)
    words = [sys.executable, str(tmp_path / "killed.py"), str(Path(__file__).parent.parent)]
    done = subprocess.run(words, capture_output=True, text=True, timeout=300, check=False)
    assert done.stdout.split() == ["whole"] * 3, done.stderr


def test_a_worker_that_dies_with_half_a_result_sent_costs_this_one_alone():
    got = results(die_while_sending_5, processes(2), n=7)
    assert [i for i, r in got.items() if isinstance(r, Lost)] == [5]
