"""One stream of tasks on several processes: results in the order of the tasks, and only so many ahead.

Workers are forked, so they hold all that the work needs without its being sent; worker k of n does the tasks k, k + n,
k + 2n and so on. A result goes back through a pipe, its arrays through memory that both processes see: a worker puts
them into one of its rooms, the array that looks at a room lets it go when nobody looks any more. A worker is at most
``AHEAD`` results ahead of whoever takes them; where it has no room left, the arrays go through the pipe, too. So what
a worker takes is bounded, however long the stream: its own work arrays, and ``ROOMS`` of ``ROOM_BYTES`` at most.
"""

import gc
import mmap
import multiprocessing
import os
import pickle
import select
import sys
import threading
import warnings
import weakref
from collections.abc import Callable, Generator, Iterator, Sequence
from contextlib import suppress
from itertools import cycle, islice
from multiprocessing.connection import Connection
from typing import Any, TypeVar

import numpy as np

from hexpost.arrays import Codes
from hexpost.errors import HexpostError
from hexpost.workers.leash import leashed, sendable, undisturbed

T = TypeVar("T")
R = TypeVar("R")

AHEAD = 2
ROOMS = AHEAD + 3
"""Rooms of a worker: for results that wait, the one at hand, and two that are still looked at."""
ROOM_BYTES = 1 << 24
"""What the arrays of one result may take; memory that is never written to is none."""
_EDGE = 64
_TAKEN = 255
"""What a worker hears when a result was taken; other bytes are the numbers of rooms that are free again."""


def ordered(tasks: Iterator[T], work: Callable[[T], R], workers: int) -> Generator[R, None, None]:
    """Yield the result of every task, in order: in this process, or on so many workers where that is more than one.

    Close it when no more results are wanted: that ends the workers.

    Raises
    ------
    HexpostError
        A worker ended before its work was done. What a task raises comes out in its place.
    """
    if workers <= 1 or not can_fork():
        yield from map(work, tasks)
        return
    crew: list[_Worker] = []
    try:
        for k in range(workers):
            with undisturbed(), warnings.catch_warnings():
                warnings.simplefilter("ignore", DeprecationWarning)  # of threads: those of linear algebra may be copied
                crew.append(_Worker(map(work, islice(tasks, k, None, workers)), crew))
        for worker in cycle(crew):
            if (found := worker.take()) is None:
                return
            yield found[0]
            del found
    finally:
        for worker in crew:
            worker.end()


def can_fork() -> bool:
    """Return whether this process may be copied as it is: on Linux, where it is no worker itself and has one thread."""
    alone = threading.active_count() == 1 and not multiprocessing.current_process().daemon
    return sys.platform == "linux" and alone


class _Worker:
    """A worker, as its starter sees it; ``results`` makes its results, in the worker."""

    def __init__(self, results: Iterator[object], others: Sequence["_Worker"]) -> None:
        self._room = mmap.mmap(-1, ROOMS * ROOM_BYTES)
        self._from, to = multiprocessing.Pipe(duplex=False)
        heard, self._tell = os.pipe()
        mine = [self, *others]

        def live() -> None:
            for worker in mine:  # what is left open here would keep the others from seeing that their starter is gone
                worker.deafen()
            leashed()
            gc.freeze()
            _Sender(to, heard, self._room).send_all(results)

        self._process = multiprocessing.get_context("fork").Process(target=live, daemon=True)
        self._process.start()
        to.close()
        os.close(heard)

    def take(self) -> tuple[Any] | None:
        """Wait for the next result and return it; ``None`` after the last.

        Raises
        ------
        HexpostError
            The worker has ended. What its task raised is raised as it was.
        """
        try:
            kind, room, sizes = self._from.recv()
            head = self._from.recv_bytes()
            buffers = [np.empty(size, np.uint8) for size in sizes] if room is None else self._seen(room, sizes)
            for buffer in buffers if room is None else ():
                self._from.recv_bytes_into(buffer.data)
        except (EOFError, OSError):
            hint = "    hint: was memory short? --jobs 1 works in this process alone"
            raise HexpostError(f"a worker process ended before its work was done\n{hint}") from None
        self._say(_TAKEN)
        value = pickle.loads(head, buffers=buffers)  # noqa: S301 - from a process that this one started
        if kind == "fault":
            raise value
        return (value,) if kind == "result" else None

    def _seen(self, room: int, sizes: Sequence[int]) -> list[Codes]:
        """Return the arrays in a room, as bytes; the room is free when none of them is looked at any more."""
        place = np.frombuffer(self._room, np.uint8, ROOM_BYTES, room * ROOM_BYTES)
        weakref.finalize(place, self._say, room).atexit = False
        return [place[at : at + size] for at, size in zip(_places(sizes), sizes, strict=True)]

    def _say(self, what: int) -> None:
        with suppress(OSError):  # the worker is gone: whoever waits for it hears that
            os.write(self._tell, bytes([what]))

    def deafen(self) -> None:
        """Close, in a worker, the ends of pipes that belong to its starter."""
        self._from.close()
        os.close(self._tell)

    def end(self) -> None:
        """End the worker, whatever it does."""
        self._process.kill()
        self._process.join()
        self._from.close()
        tell, self._tell = self._tell, -1
        os.close(tell)


class _Sender:
    """The worker's own side: what it hears, which rooms are free, and how many results it may be ahead."""

    def __init__(self, to: Connection, heard: int, room: mmap.mmap) -> None:
        self._to, self._heard = to, heard
        self._place = np.frombuffer(room, np.uint8)
        self._free = list(range(ROOMS))
        self._ahead = 0

    def send_all(self, results: Iterator[object]) -> None:
        """Send every result, and what was raised in place of one; then a sign that there are no more."""
        try:
            for value in results:
                self._send("result", value)
            self._send("end", None)
        except (BrokenPipeError, ConnectionError):
            return  # nobody takes results any more
        except Exception as fault:  # noqa: BLE001 - whoever takes the results raises it
            self._send("fault", sendable(fault))

    def _send(self, kind: str, value: object) -> None:
        buffers: list[pickle.PickleBuffer] = []
        head = pickle.dumps(value, protocol=5, buffer_callback=buffers.append)
        raw = [np.frombuffer(b.raw(), np.uint8) for b in buffers]
        sizes = [len(r) for r in raw]
        self._listen()
        fits = self._free and sum(sizes) + _EDGE * len(sizes) <= ROOM_BYTES
        room = self._free.pop() if fits and raw else None
        if room is not None:
            for at, part in zip(_places(sizes), raw, strict=True):
                start = room * ROOM_BYTES + at
                self._place[start : start + len(part)] = part
        self._to.send((kind, room, sizes))
        self._to.send_bytes(head)
        if room is None:
            for part in raw:
                self._to.send_bytes(part.data)
        self._ahead += 1

    def _listen(self) -> None:
        """Take in what was said, and wait where this worker is too far ahead."""
        while self._ahead >= AHEAD or select.select([self._heard], [], [], 0)[0]:
            said = os.read(self._heard, 4096)
            if not said:
                raise BrokenPipeError
            self._ahead -= said.count(_TAKEN)
            self._free += [room for room in said if room != _TAKEN]


def _places(sizes: Sequence[int]) -> Iterator[int]:
    """Yield where each part of these sizes begins in a room."""
    at = 0
    for size in sizes:
        yield at
        at += -(-size // _EDGE) * _EDGE
