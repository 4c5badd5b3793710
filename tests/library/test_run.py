"""What kills a worker costs its own result and nothing else, on any executor."""

from concurrent.futures import ThreadPoolExecutor

import pytest
from library.shop import deaf_on_5, die_on_5, hog_on_5, raise_on_5, slow_first

from hexpost.library.engines import cores, processes, serial
from hexpost.library.run import Lost, run


def results(check, engine, n=40, **how):
    return dict(run(range(n), check, engine.new_pool, ahead=how.get("ahead", engine.ahead), batch=how.get("batch", 1)))


@pytest.mark.parametrize("batch", [1, 4])
def test_a_worker_that_dies_costs_one_result(batch):
    got = results(die_on_5, processes(2), batch=batch)
    lost = [i for i, r in got.items() if isinstance(r, Lost)]
    assert lost == [5]
    assert "BrokenProcessPool" in got[5].why
    assert {i: r for i, r in got.items() if i != 5} == {i: i * i for i in range(40) if i != 5}


def test_every_worker_dying_still_ends():
    got = dict(run([5, 5, 5], die_on_5, processes(2).new_pool, ahead=8))
    assert all(isinstance(r, Lost) for r in got.values()) and len(got) == 3


@pytest.mark.parametrize("engine", [serial(), processes(2)], ids=["serial", "processes"])
def test_an_exception_is_one_lost_result(engine):
    got = results(raise_on_5, engine, n=12, batch=3)
    assert got[5] == Lost("ValueError: no 5")
    assert sorted(got) == list(range(12)) and got[11] == 121


def test_a_worker_that_hears_no_alarm_is_ended():
    got = results(deaf_on_5, processes(2), n=7)
    assert [i for i, r in got.items() if isinstance(r, Lost)] == [5]


def test_the_memory_of_a_worker_is_bounded():
    got = results(hog_on_5, processes(1, memory_mb=512), n=7)
    assert [i for i, r in got.items() if isinstance(r, Lost)] == [5] and got[5].why.startswith("MemoryError")


def test_results_come_as_they_finish_with_the_index_of_their_task():
    order = [i for i, r in run(range(6), slow_first, lambda: ThreadPoolExecutor(2), ahead=4) if r == i]
    assert sorted(order) == list(range(6)) and order[0] != 0


def test_nothing_to_do_opens_no_pool():
    def no_pool():
        raise AssertionError

    assert list(run([], die_on_5, no_pool)) == []


def test_only_so_many_are_under_way():
    seen = []

    class Counting(ThreadPoolExecutor):
        def submit(self, *a, **k):
            seen.append(self._work_queue.qsize())
            return super().submit(*a, **k)

    list(run(range(100), slow_first, lambda: Counting(1), ahead=3))
    assert max(seen) <= 3


def test_cores_are_at_least_one():
    assert cores() >= 1
