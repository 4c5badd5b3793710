"""Run many independent checks on any executor; what kills a worker costs its own result and nothing else."""

from collections import deque
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import FIRST_COMPLETED, BrokenExecutor, Executor, Future, wait
from contextlib import suppress
from dataclasses import dataclass
from typing import Generic, TypeVar

T = TypeVar("T")
R = TypeVar("R")


@dataclass(frozen=True, slots=True)
class Lost:
    """What stands for the result of a task whose worker died, twice: the second time with no other task about."""

    why: str


def run(
    tasks: Sequence[T], check: Callable[[T], R], new_pool: Callable[[], Executor], *, ahead: int = 8, batch: int = 1
) -> Iterator[tuple[int, R | Lost]]:
    """Yield the index and the result of every task, as they finish; at most ``ahead`` batches are under way.

    When a pool breaks, a new one takes over. Tasks that were under way then, or whose batch failed, are suspects:
    they run again at the end, one at a time, and those that fail again are ``Lost``.
    """
    runner = _Runner(tasks, check, new_pool)
    try:
        yield from runner.together(ahead, batch)
        yield from runner.one_by_one()
        runner.close(wait=True)
    finally:
        runner.close()


class _Runner(Generic[T, R]):
    """The pool in use, and who is under suspicion."""

    def __init__(self, tasks: Sequence[T], check: Callable[[T], R], new_pool: Callable[[], Executor]) -> None:
        self._tasks = tasks
        self._check = check
        self._new_pool = new_pool
        self._pool: Executor | None = None
        self._suspects: list[int] = []

    def together(self, ahead: int, batch: int) -> Iterator[tuple[int, R]]:
        """Run all tasks, several at a time, and note suspects."""
        count = len(self._tasks)
        waiting: deque[Sequence[int]] = deque(range(a, min(a + batch, count)) for a in range(0, count, batch))
        flying: dict[Future[list[R]], Sequence[int]] = {}
        while waiting or flying:
            broken = False
            while waiting and len(flying) < ahead and not broken:
                members = waiting.popleft()
                try:
                    flying[self._submit(members)] = members
                except BrokenExecutor:
                    waiting.appendleft(members)
                    broken = True
            done = wait(flying, return_when=FIRST_COMPLETED).done if flying else set()
            for future in done:
                members = flying.pop(future)
                error = future.exception()
                if error is None:
                    yield from zip(members, future.result(), strict=True)
                else:
                    self._suspects += members
                    broken = broken or isinstance(error, BrokenExecutor)
            if broken:
                self._suspects += [i for members in flying.values() for i in members]
                flying.clear()
                self.close()

    def one_by_one(self) -> Iterator[tuple[int, R | Lost]]:
        """Run the suspects again, each with no other task about."""
        for i in sorted(self._suspects):
            try:
                yield i, self._submit([i]).result()[0]
            except Exception as error:  # noqa: BLE001 - executors have errors of their own
                yield i, Lost(f"{type(error).__name__}: {error}".splitlines()[0])
                if isinstance(error, BrokenExecutor):
                    self.close()

    def close(self, *, wait: bool = False) -> None:
        """End the pool in use; the next task opens a new one."""
        if self._pool is not None:
            with suppress(Exception):
                self._pool.shutdown(wait=wait, cancel_futures=not wait)
            self._pool = None

    def _submit(self, members: Sequence[int]) -> Future[list[R]]:
        """Hand a batch to the pool."""
        if self._pool is None:
            self._pool = self._new_pool()
        return self._pool.submit(each, self._check, [self._tasks[i] for i in members])


def each(check: Callable[[T], R], tasks: Sequence[T]) -> list[R]:
    """Return the results of a batch: what a worker is asked for."""
    return [check(task) for task in tasks]
