"""Run many independent tasks on any engine; what kills a worker costs its own result and nothing else."""

from collections import deque
from collections.abc import Callable, Collection, Iterator, Sequence
from concurrent.futures import FIRST_COMPLETED, Future, wait
from contextlib import suppress
from dataclasses import dataclass
from types import TracebackType
from typing import Self, TypeVar

from hexpost.errors import HexpostError
from hexpost.workers.engines import Engine, EngineError, Pool

T = TypeVar("T")
R = TypeVar("R")

LOOK_S = 0.5
"""Seconds between two looks at a pool that has no result yet."""


@dataclass(frozen=True, slots=True)
class Lost:
    """What is there in place of the result of a task that failed twice: the second time with no other task about."""

    error: BaseException

    @property
    def why(self) -> str:
        """Return the kind of the fault and what it says, in one line."""
        return f"{type(self.error).__name__}: {self.error}".splitlines()[0]


class Runner:
    """Runs rounds of tasks on one pool, which opens with the first task; leaving the context ends its work at once.

    Tasks whose batch failed, or whose worker died, are suspects: they run again at the end of their round, one at a
    time, and those that fail again are ``Lost``.
    """

    def __init__(self, engine: Engine) -> None:
        self._engine = engine
        self._pool: Pool | None = None

    def run(self, tasks: Sequence[T], work: Callable[[T], R]) -> Iterator[tuple[int, R | Lost]]:
        """Yield the index and the result of every task, as they finish; so many are under way as the engine says."""
        suspects: list[int] = []
        yield from self._together(tasks, work, suspects)
        for i in sorted(suspects):
            try:
                yield i, self._first([self._submit(work, [tasks[i]])]).pop().result()[0]
            except EngineError:
                raise
            except Exception as error:  # noqa: BLE001 - executors have errors of their own
                yield i, Lost(error)

    def in_order(self, tasks: Sequence[T], work: Callable[[T], R], done: Callable[[int], None]) -> list[R]:
        """Return the results of every task in the order of the tasks; ``done`` is called with 1 after each.

        Raises
        ------
        HexpostError
            Of the first task that raised it; or a worker died.
        """
        found: dict[int, R | Lost] = {}
        for i, result in self.run(tasks, work):
            found[i] = result
            done(1)
        return [_result(found[i]) for i in range(len(tasks))]

    def _together(self, tasks: Sequence[T], work: Callable[[T], R], suspects: list[int]) -> Iterator[tuple[int, R]]:
        """Run all tasks, several at a time, and note suspects."""
        count, batch = len(tasks), self._engine.batch
        waiting: deque[Sequence[int]] = deque(range(a, min(a + batch, count)) for a in range(0, count, batch))
        flying: dict[Future[list[R]], Sequence[int]] = {}
        while waiting or flying:
            while waiting and len(flying) < self._engine.ahead:
                members = waiting.popleft()
                flying[self._submit(work, [tasks[i] for i in members])] = members
            for future in self._first(flying):
                members = flying.pop(future)
                error = future.exception()
                if error is None:
                    yield from zip(members, future.result(), strict=True)
                elif isinstance(error, EngineError):
                    raise error
                else:
                    suspects += members

    def _first(self, futures: Collection[Future[R]]) -> set[Future[R]]:
        """Wait until some futures are done, and look after the pool meanwhile; return these."""
        while futures:
            if done := wait(futures, LOOK_S, FIRST_COMPLETED).done:
                return done
            if self._pool is not None:
                self._pool.look()
        return set()

    def _submit(self, work: Callable[[T], R], batch: Sequence[T]) -> Future[list[R]]:
        """Hand a batch to the pool."""
        if self._pool is None:
            self._pool = self._engine.new_pool()
        return self._pool.submit(each, work, batch)

    def close(self, *, wait: bool = False) -> None:
        """End the pool in use; the next task opens a new one."""
        if self._pool is not None:
            with suppress(Exception):
                self._pool.shutdown(wait=wait, cancel_futures=not wait)
            self._pool = None

    def __enter__(self) -> Self:
        """Return the runner itself."""
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        """End the pool: where all went well its workers leave by themselves, otherwise at once."""
        self.close(wait=kind is None)


def each(work: Callable[[T], R], tasks: Sequence[T]) -> list[R]:
    """Return the results of a batch: what a worker is asked for."""
    return [work(task) for task in tasks]


def _result(found: R | Lost) -> R:
    """Return a result; raise for one that is lost."""
    if not isinstance(found, Lost):
        return found
    if isinstance(found.error, HexpostError):
        raise found.error
    hint = "    hint: give fewer --jobs, or more --memory-mb"
    raise HexpostError(f"a worker process ended before its work was done ({found.why})\n{hint}")
