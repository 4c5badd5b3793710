"""Where tasks run: here, or in processes of this computer. All are ``concurrent.futures`` executors."""

import multiprocessing
import os
import pickle
import threading
from collections.abc import Callable
from concurrent.futures import Executor, Future
from contextlib import suppress
from dataclasses import dataclass
from functools import partial
from multiprocessing.connection import Connection
from multiprocessing.context import BaseContext
from multiprocessing.process import BaseProcess
from queue import Empty, SimpleQueue
from tempfile import gettempdir
from typing import Any, ParamSpec, TypeVar

from hexpost.errors import HexpostError
from hexpost.workers.leash import leashed, sendable, undisturbed

P = ParamSpec("P")
R = TypeVar("R")

MEMORY_MB = 4096
"""A worker process may hold so much data, unless told otherwise."""


_MOST_FOLDER = 60
"""Bytes of the temporary folder: the server's socket is in it, and its path is one of 107 at most (unix(7))."""


class EngineError(HexpostError):
    """Where tasks run can be used no more: nothing else is tried there, the whole run stops."""


class Pool(Executor):
    """An executor that is looked at while its results are waited for."""

    def look(self) -> None:
        """Let every task fail that can have no result any more, where tasks do not see to that by themselves.

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


class WorkerDied(Exception):  # noqa: N818 - it says what happened
    """A worker process ended, or could not be started: its task has no result."""


class Workers(Pool):
    """Worker processes that can be ended in the middle of their work; an interruption is for their starter alone.

    Each has a pipe of its own, and a thread here that feeds it. They share no queue and no lock, so one that ends, at
    whatever moment, keeps nobody waiting: its pipe closes, its task fails at once, and the next task starts another.
    """

    def __init__(self, count: int, context: BaseContext, memory_mb: int) -> None:
        self._count, self._context, self._memory_mb = count, context, memory_mb
        self._tasks: SimpleQueue[tuple[Future[Any], Callable[[], Any]] | None] = SimpleQueue()
        self._threads: list[threading.Thread] = []
        self._crew: list[_Process] = []
        self._lock = threading.Lock()
        self._over = False

    def submit(self, fn: Callable[P, R], /, *args: P.args, **kwargs: P.kwargs) -> Future[R]:
        """Hand on a task; workers that are started for it do not hear the keyboard, nor does it stop them half-way."""
        future: Future[R] = Future()
        self._tasks.put((future, partial(fn, *args, **kwargs)))
        if len(self._threads) < self._count:
            with undisturbed():
                self._threads.append(threading.Thread(target=self._feed, name="worker", daemon=True))
                self._threads[-1].start()
        return future

    def _feed(self) -> None:
        """Hand tasks to one worker, then to the one that takes over from it, until there are no more."""
        worker: _Process | None = None
        while (task := self._tasks.get()) is not None:
            future, call = task
            if not future.set_running_or_notify_cancel():
                continue
            try:
                worker = worker or self._start()
                future.set_result(worker.answer(call))
            except WorkerDied as error:
                if worker:
                    self._let_go(worker)
                    worker = None
                future.set_exception(error)
            except Exception as error:  # noqa: BLE001 - the future carries it
                future.set_exception(error)
            del task, future, call  # a thread that waits holds no result
        if worker:
            self._let_go(worker)

    def _start(self) -> "_Process":
        with self._lock:
            if self._over:
                raise WorkerDied("the work was broken off")
            self._crew.append(_Process(self._context, self._memory_mb))
            return self._crew[-1]

    def _let_go(self, worker: "_Process") -> None:
        with self._lock:
            worker.end()
            self._crew.remove(worker)

    def shutdown(self, wait: bool = True, *, cancel_futures: bool = False) -> None:  # noqa: FBT001, FBT002 - as in Executor
        """End the workers: when their work is done, or at once where it is not waited for."""
        while cancel_futures:
            try:
                if task := self._tasks.get_nowait():
                    task[0].cancel()
            except Empty:
                break
        if not wait:
            with self._lock:
                self._over = True
                for worker in self._crew:
                    worker.kill()
        for _ in self._threads:
            self._tasks.put(None)
        for thread in self._threads:
            thread.join()


class _Process:
    """One worker process, as its starter sees it."""

    def __init__(self, context: BaseContext, memory_mb: int) -> None:
        self._pipe, its = context.Pipe()
        process = context.Process(target=_work, args=(its, memory_mb), daemon=True)  # type: ignore[attr-defined]
        try:
            process.start()
        except (OSError, EOFError) as error:
            raise WorkerDied(f"no process could be started: {error}") from None
        finally:
            its.close()
        self._process: BaseProcess = process

    def answer(self, call: Callable[[], R]) -> R:
        """Return what a call returns in the worker; raise what it raises there, or ``WorkerDied``."""
        asked = pickle.dumps(call)
        try:
            self._pipe.send_bytes(asked)
            answered = self._pipe.recv_bytes()
        except (OSError, EOFError):
            raise WorkerDied("its process ended") from None
        error, result = pickle.loads(answered)  # noqa: S301 - from a process that this one started
        if error is not None:
            raise error
        return result  # type: ignore[no-any-return]

    def kill(self) -> None:
        """End the process, whatever it does; its starter hears that from the pipe."""
        self._process.kill()

    def end(self) -> None:
        """End the process and let go of its pipe."""
        self.kill()
        self._process.join()
        self._pipe.close()


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
        return Workers(count, context, memory_mb)
    return Workers(count, multiprocessing.get_context("spawn"), memory_mb)


def _work(pipe: Connection, memory_mb: int) -> None:
    """Answer every call that comes through a pipe: what this process does once it is a worker."""
    leashed()
    limit_memory(memory_mb)
    with suppress(EOFError, OSError):  # nobody asks any more
        while True:
            pipe.send_bytes(_answered(pipe.recv_bytes()))


def _answered(asked: bytes) -> bytes:
    """Return the answer to a call, or what it raised: one of two, the other is ``None``."""
    try:
        return pickle.dumps((None, pickle.loads(asked)()))  # noqa: S301 - from the process that started this one
    except Exception as error:  # noqa: BLE001 - whoever asked raises it
        return pickle.dumps((sendable(error), None))


def limit_memory(megabytes: int) -> None:
    """Let this process hold so much data and no more, where the system can; beyond it, Python raises."""
    try:
        import resource
    except ImportError:
        return
    most = megabytes << 20
    _, hard = resource.getrlimit(resource.RLIMIT_DATA)
    resource.setrlimit(resource.RLIMIT_DATA, (most if hard == resource.RLIM_INFINITY else min(most, hard), hard))
