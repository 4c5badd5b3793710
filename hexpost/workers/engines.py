"""Where tasks run: here, or in processes of this computer. All are ``concurrent.futures`` executors."""

import multiprocessing
import os
from abc import ABC, abstractmethod
from collections.abc import Callable
from concurrent.futures import Executor, Future, ProcessPoolExecutor
from contextlib import suppress
from dataclasses import dataclass
from functools import partial
from tempfile import gettempdir
from typing import ParamSpec, TypeVar

from hexpost.errors import HexpostError
from hexpost.workers.leash import leashed, undisturbed

P = ParamSpec("P")
R = TypeVar("R")

MEMORY_MB = 4096
"""A worker process may hold so much data, unless told otherwise."""


_MOST_FOLDER = 60
"""Bytes of the temporary folder: the server's socket is in it, and its path is one of 107 at most (unix(7))."""


class EngineError(HexpostError):
    """Where tasks run can be used no more: nothing else is tried there, the whole run stops."""


class Pool(Executor, ABC):
    """An executor that is looked at while its results are waited for."""

    @abstractmethod
    def look(self) -> None:
        """Let every task fail that can have no result any more.

        Raises
        ------
        EngineError
            No task can have a result any more.
        """


@dataclass(frozen=True, slots=True, kw_only=True)
class Engine:
    """How to open a pool, how many batches to keep under way, and how many tasks make a batch."""

    new_pool: Callable[[], Pool]
    ahead: int = 8
    batch: int = 1


class Here(Pool):
    """Runs each task at once, in this process."""

    def submit(self, fn: Callable[P, R], /, *args: P.args, **kwargs: P.kwargs) -> Future[R]:
        """Run the task and return its finished future."""
        future: Future[R] = Future()
        try:
            future.set_result(fn(*args, **kwargs))
        except Exception as error:  # noqa: BLE001 - the future carries it
            future.set_exception(error)
        return future

    def look(self) -> None:
        """Do nothing: every task is done."""


class Workers(ProcessPoolExecutor, Pool):
    """Worker processes that can be ended in the middle of their work; an interruption is for their starter alone.

    The thread that takes their results waits for the whole of one. When a worker ends with a part of one sent, it would
    wait for ever, as the other workers hold the same pipe open: ``look`` ends them all.
    """

    _ailing = 0

    def submit(self, fn: Callable[P, R], /, *args: P.args, **kwargs: P.kwargs) -> Future[R]:
        """Hand on a task; workers that are started for it do not hear the keyboard, nor does it stop them half-way."""
        with undisturbed():
            return super().submit(fn, *args, **kwargs)

    def look(self) -> None:
        """End this pool if a worker of it has ended and nobody has noticed since the last look: its tasks then fail."""
        ended = any(process.exitcode is not None for process in list((self._processes or {}).values()))
        self._ailing = self._ailing + 1 if ended else 0
        if self._ailing > 1:
            self.shutdown(wait=False)

    def shutdown(self, wait: bool = True, *, cancel_futures: bool = False) -> None:  # noqa: FBT001, FBT002 - as in Executor
        """End the workers: when their work is done, or at once where it is not waited for."""
        if not wait:
            for process in list((self._processes or {}).values()):
                process.kill()
            for process in list((self._processes or {}).values()):
                process.join()
            writer = getattr(self._result_queue, "_writer", None)
            with suppress(OSError):
                if writer is not None:  # nobody waits for the rest of a result that was half sent
                    writer.close()
        super().shutdown(wait=True, cancel_futures=cancel_futures)


def serial() -> Engine:
    """Return the engine of this process alone."""
    return Engine(new_pool=Here, ahead=1)


def processes(jobs: int | None = None, memory_mb: int = MEMORY_MB, *, loads: str = "") -> Engine:
    """Return worker processes, one for each core unless ``jobs`` says otherwise; each may hold ``memory_mb`` of data.

    Workers are forked from a server that has loaded the module ``loads`` once, where the system can. Linear algebra
    runs on one thread in each: the matrices are small, and the tasks are what runs side by side.
    """
    count = jobs or cores()
    return Engine(new_pool=partial(_process_pool, count, memory_mb, loads), ahead=4 * count)


def cores() -> int:
    """Return how many cores this process may use."""
    if hasattr(os, "sched_getaffinity"):
        return len(os.sched_getaffinity(0))
    return os.cpu_count() or 1


def _process_pool(count: int, memory_mb: int, loads: str) -> Pool:
    """Open a pool of worker processes."""
    for name in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS"):
        os.environ.setdefault(name, "1")
    if "forkserver" in multiprocessing.get_all_start_methods() and len(os.fsencode(gettempdir())) <= _MOST_FOLDER:
        context = multiprocessing.get_context("forkserver")
        context.set_forkserver_preload([loads] if loads else [])
        return Workers(count, mp_context=context, initializer=_prepare, initargs=(memory_mb,))
    spawned = multiprocessing.get_context("spawn")
    return Workers(count, mp_context=spawned, initializer=_prepare, initargs=(memory_mb,))


def _prepare(memory_mb: int) -> None:
    """Make this process a worker."""
    leashed()
    limit_memory(memory_mb)


def limit_memory(megabytes: int) -> None:
    """Let this process hold so much data and no more, where the system can; beyond it, Python raises."""
    try:
        import resource
    except ImportError:
        return
    most = megabytes << 20
    _, hard = resource.getrlimit(resource.RLIMIT_DATA)
    resource.setrlimit(resource.RLIMIT_DATA, (most if hard == resource.RLIM_INFINITY else min(most, hard), hard))
