"""The time limit of one program: asked for between blocks, by the clock's signal, and by a watchdog in a worker."""

import faulthandler
import multiprocessing
import os
import signal
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from types import FrameType

HARD = 2.0
"""After so many times the limit (and a grace in seconds) a worker that hears nothing is ended."""

GRACE = 5.0


class OutOfTime(Exception):  # noqa: N818 - it says what happened
    """The time limit has passed."""


@contextmanager
def deadline(seconds: float, grace: float = GRACE) -> Iterator[Callable[[], None]]:
    """Raise ``OutOfTime`` in the body once ``seconds`` have passed; yields what the body calls between its steps.

    In the main thread (as in a worker process) an alarm interrupts long steps, too. A worker process that is deep in
    compiled code is ended outright after ``HARD`` times the limit and ``grace`` seconds.
    """
    end = time.monotonic() + seconds
    alone = threading.current_thread() is threading.main_thread()
    alarm = alone and hasattr(signal, "setitimer") and signal.getsignal(signal.SIGALRM) == signal.SIG_DFL
    guarded = alarm and multiprocessing.parent_process() is not None

    def check() -> None:
        if time.monotonic() > end:
            raise OutOfTime

    def ring(number: int, frame: FrameType | None) -> None:  # noqa: ARG001 - the signature of a handler
        raise OutOfTime

    with Path(os.devnull).open("w") as nowhere:
        if alarm:
            signal.signal(signal.SIGALRM, ring)
            signal.setitimer(signal.ITIMER_REAL, seconds)
        if guarded:
            faulthandler.dump_traceback_later(HARD * seconds + grace, exit=True, file=nowhere)
        try:
            yield check
        finally:
            try:
                if alarm:
                    signal.setitimer(signal.ITIMER_REAL, 0.0)
            finally:  # the alarm may ring until here
                if alarm:
                    signal.signal(signal.SIGALRM, signal.SIG_DFL)
                if guarded:
                    faulthandler.cancel_dump_traceback_later()
