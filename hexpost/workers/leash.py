"""A worker process on a leash: it ends within a second when its starter is gone, and holds no stream of it."""

import multiprocessing
import os
import pickle
import signal
import sys
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from multiprocessing.connection import wait

from hexpost.errors import HexpostError

ENDS = [getattr(signal, name) for name in ("SIGINT", "SIGTERM") if hasattr(signal, name)]
"""Signals that end a run with time to tidy up."""

_PR_SET_PDEATHSIG = 1  # linux/prctl.h


@contextmanager
def undisturbed() -> Iterator[None]:
    """Put signals that end this run off to the end of the body; processes that it starts never hear a keyboard.

    The mask is what they inherit. It does not keep a signal from other threads of this process, so a handler waits.
    """
    if not hasattr(signal, "pthread_sigmask") or threading.current_thread() is not threading.main_thread():
        yield
        return
    heard: list[int] = []
    handlers = {number: signal.signal(number, lambda n, _: heard.append(n)) for number in ENDS}
    before = signal.pthread_sigmask(signal.SIG_BLOCK, ENDS)
    try:
        yield
    finally:
        for number, handler in handlers.items():
            signal.signal(number, handler)
        signal.pthread_sigmask(signal.SIG_SETMASK, before)
    if heard:
        signal.raise_signal(heard[0])


def leashed() -> None:
    """Make this process a worker: it hears no keyboard, holds no stream, and ends when its starter does.

    On Linux the kernel ends it, even deep in compiled code; a thread that watches the starter does so everywhere.
    """
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    signal.signal(signal.SIGTERM, signal.SIG_DFL)
    if hasattr(signal, "pthread_sigmask"):
        signal.pthread_sigmask(signal.SIG_UNBLOCK, [signal.SIGTERM])
    null = os.open(os.devnull, os.O_RDWR)
    for stream in (0, 1, 2):
        os.dup2(null, stream)
    os.close(null)
    if sys.platform == "linux":
        import ctypes

        ctypes.CDLL(None).prctl(_PR_SET_PDEATHSIG, signal.SIGKILL)
    threading.Thread(target=_watch, name="leash", daemon=True).start()


def _watch() -> None:
    """Wait until the starter is gone, then end this process at once."""
    starter = multiprocessing.parent_process()
    if starter is not None:
        wait([starter.sentinel])
        os._exit(1)


def sendable(fault: Exception) -> Exception:
    """Return a fault that a worker can send to its starter: itself, or what it says."""
    try:
        pickle.loads(pickle.dumps(fault))  # noqa: S301 - made in this line
    except Exception:  # noqa: BLE001 - whatever keeps it from being sent
        return HexpostError(f"{type(fault).__name__}: {fault}")
    return fault
