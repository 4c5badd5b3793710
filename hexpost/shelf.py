"""Long columns kept in a file instead of in memory: arrays whose pages can be let go between two windows of work.

A program of millions of blocks is a gigabyte of columns, of which a stage looks at some thousand rows at a time. Such
columns lie in files without a name, which vanish with the process; what is not looked at takes no memory.
"""

import mmap
import os
import tempfile
from collections.abc import Callable, Iterator
from contextlib import suppress
from io import BytesIO
from typing import Any, BinaryIO, TypeAlias, cast
from weakref import WeakSet

import numpy as np
import numpy.typing as npt

Text: TypeAlias = bytes | mmap.mmap
"""The text of a program: read by slices, which are bytes."""

LONG = 500_000
"""A column of so many rows lies in a file, and a text of so many bytes."""
_PIECE = 1 << 20

_maps: WeakSet[mmap.mmap] = WeakSet()


def column(shape: tuple[int, ...], kind: npt.DTypeLike) -> npt.NDArray[Any]:
    """Return an array to be filled, rows along its last axis; in a file where these are many and the disk has room."""
    dtype = np.dtype(kind)
    size = int(np.prod(shape)) * dtype.itemsize
    if shape[-1] < LONG or (mapped := _mapped(size)) is None:
        return np.empty(shape, dtype)
    return np.frombuffer(mapped, dtype).reshape(shape)


def joined(parts: list[npt.NDArray[Any]]) -> npt.NDArray[Any]:
    """Return columns (..., n) one after the other as one; the list is used up, so that each can go."""
    count = sum(p.shape[-1] for p in parts)
    out = column((*parts[0].shape[:-1], count), parts[0].dtype)
    at = 0
    while parts:
        part = parts.pop(0)
        _copy(part, out[..., at : at + part.shape[-1]])
        at += part.shape[-1]
    return out


class Growing:
    """A column (..., n) that is filled window after window, in one block of memory or a file."""

    def __init__(self, room: int) -> None:
        self._room, self.count = max(room, 1), 0
        self._values: npt.NDArray[Any] | None = None

    def add(self, new: npt.NDArray[Any], share: float = 2.0) -> None:
        """Take in ``new`` (..., m); where there is no room, all will be about ``share`` times what is known by then."""
        more = self.count + new.shape[-1]
        if self._values is None or more > self._room:
            self._room = self._room if more <= self._room else int(more * max(1.02 * share, 1.0)) + 64
            grown = column((*new.shape[:-1], self._room), new.dtype)
            if self._values is not None:
                _copy(self.whole(), grown[..., : self.count])
            self._values = grown
        self._values[..., self.count : more] = new
        self.count = more

    def whole(self) -> npt.NDArray[Any]:
        """Return what was filled; it must be something."""
        assert self._values is not None
        return self._values[..., : self.count]


def text(file: BinaryIO, most: int) -> Text:
    """Return the bytes of a file, at most ``most`` of them; in a file of its own where they are many."""
    head = file.read(min(most, LONG))
    if len(head) < LONG:
        return head
    with suppress(OSError), tempfile.TemporaryFile() as copy:
        count = copy.write(head)
        while piece := file.read(min(most - count, _PIECE)):
            count += copy.write(piece)
        copy.flush()
        return _kept(mmap.mmap(copy.fileno(), count, access=mmap.ACCESS_READ))
    file.seek(0)
    return file.read(most)


def reader(source: Text) -> BinaryIO:
    """Return a file that is read from the start of a text, which is not copied."""
    if isinstance(source, bytes):
        return BytesIO(source)
    source.seek(0)
    return cast("BinaryIO", source)


def windows(count: int, size: int = 65_536) -> Iterator[slice]:
    """Yield ``count`` rows in windows of ``size``; behind each the pages of all columns are let go."""
    for begin in range(0, count, size):
        yield slice(begin, min(begin + size, count))
        if count >= LONG:
            let_go()


def running_sum(count: int, values: Callable[[slice], npt.NDArray[np.float64]]) -> npt.NDArray[np.float64]:
    """Return 0 and the sums (count + 1,) up to each row of what ``values`` gives of a window of rows."""
    out = column((count + 1,), np.float64)
    out[0] = 0.0
    for w in windows(count):
        out[w.start + 1 : w.stop + 1] = np.cumsum(np.concatenate([out[w.start : w.start + 1], values(w)]))[1:]
    return out


def _copy(values: npt.NDArray[Any], out: npt.NDArray[Any]) -> None:
    """Copy a column (..., n), window by window."""
    for part in windows(out.shape[-1]):
        out[..., part] = values[..., part]


def let_go() -> None:
    """Let the pages of all columns in files go: they are read again where they are looked at again."""
    if not hasattr(mmap, "MADV_DONTNEED"):
        return
    for mapped in list(_maps):
        mapped.madvise(mmap.MADV_DONTNEED)


def _mapped(size: int) -> mmap.mmap | None:
    """Return a file of so many bytes, mapped; ``None`` where there is no room for it."""
    if not hasattr(os, "posix_fallocate"):
        return None
    try:
        with tempfile.TemporaryFile() as file:
            os.posix_fallocate(file.fileno(), 0, size)
            return _kept(mmap.mmap(file.fileno(), size))
    except OSError:
        return None


def _kept(mapped: mmap.mmap) -> mmap.mmap:
    """Note a mapped file, so that its pages can be let go."""
    _maps.add(mapped)
    return mapped
