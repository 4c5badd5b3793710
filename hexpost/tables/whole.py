"""Files that are there whole or not at all: written beside their place, made durable, then renamed."""

import errno
import hashlib
import os
from collections import deque
from collections.abc import Callable, Iterator
from concurrent.futures import Future, ThreadPoolExecutor
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from pathlib import Path
from secrets import token_hex
from types import TracebackType
from typing import BinaryIO, Self, TypeAlias

from hexpost.errors import OutputError
from hexpost.shelf import Text, windows

Data: TypeAlias = Text | memoryview
"""What can be written: bytes, in whatever holds them."""

_READ = 1 << 20
SMALL = 1 << 16
"""Pieces up to so many bytes are written at once where none waits, as the head of a table: no thread for that."""
BEHIND = 4
"""Pieces that may wait for the writing thread: enough to even out its pace, too few to matter in memory."""

_NO_NAMELESS = (errno.EOPNOTSUPP, errno.EISDIR, errno.EINVAL)
"""What a file system says that has no files without a name (open(2))."""


@dataclass(frozen=True, slots=True)
class WrittenFile:
    """A file that stands under its final name: the name in its folder, its size, and its SHA-256 in hexadecimal."""

    name: str
    size: int
    sha256: str


class PartFile:
    """A file being written in ``folder`` under a hidden name (``.STEM.TOKEN.part``, no two runs have the same).

    ``commit`` gives it its final name; leaving the context without that removes it. After a kill or a power cut only
    ``*.part`` can remain. The hash is taken while writing; ``rewrite`` is for formats that patch their own head.
    ``announce`` hears the hidden path before there is a file.
    With ``beside`` a thread hashes and writes, in order, a few pieces behind; what it raises comes out of a later call.
    """

    def __init__(
        self, folder: Path, stem: str, *, beside: bool = False, announce: Callable[[Path], None] | None = None
    ) -> None:
        self.folder = folder
        self.path = folder / f".{stem.replace('/', '-')}.{token_hex(4)}.part"
        self._told = folder / stem
        self._hash = hashlib.sha256()
        self._size = 0
        self._patched = False
        self._done = False
        self._thread = ThreadPoolExecutor(1, thread_name_prefix="writer") if beside else None
        self._waiting: deque[Future[None]] = deque()
        if announce is not None:
            announce(self.path)
        with writing(self._told):
            descriptor = os.open(self.path, os.O_RDWR | os.O_CREAT | os.O_EXCL, 0o666)
            self._file: BinaryIO = os.fdopen(descriptor, "w+b")

    @property
    def size(self) -> int:
        """Return how many bytes were written, or wait to be."""
        return self._size

    def write(self, data: Data) -> int:
        """Append ``data`` and return its size."""
        if self._thread is None or (not self._waiting and len(data) <= SMALL):
            self._append(data)
        else:
            self._settle(BEHIND)
            self._waiting.append(self._thread.submit(self._append, data))
        self._size += len(data)
        return len(data)

    def fill(self, data: Text) -> None:
        """Write a whole text, piece by piece."""
        for w in windows(len(data), _READ):
            self.write(data[w])

    def _append(self, data: Data) -> None:
        with writing(self._told):
            self._file.write(data)
        self._hash.update(data)

    def _settle(self, most: int = 0) -> None:
        """Wait until at most ``most`` pieces are not written yet."""
        while len(self._waiting) > most:
            self._waiting.popleft().result()

    def settle(self) -> None:
        """Let the thread go once all is written and made durable; nothing is appended after that."""
        if self._thread is None:
            self._sync()
        else:
            self._waiting.append(self._thread.submit(self._sync))
            self._thread.shutdown(wait=False)

    def _sync(self) -> None:
        with writing(self._told):
            self._file.flush()
            os.fsync(self._file.fileno())

    def rewrite(self, head: bytes) -> None:
        """Replace the first bytes of what was written (at most as many); the hash is then taken anew at the end."""
        self._settle()
        with writing(self._told):
            self._file.seek(0)
            self._file.write(head)
            self._file.seek(0, os.SEEK_END)
        self._patched = True

    def digest(self) -> str:
        """Make durable what was written, and return its SHA-256; nothing is written after that."""
        self._settle()
        self._sync()
        if self._patched:
            with writing(self._told):
                return digest_of(self.path)
        return self._hash.hexdigest()

    def commit(self, name: str) -> WrittenFile:
        """Flush, make durable and rename to ``name`` in the folder, replacing what stands there."""
        final, digest = self.folder / name, self.digest()
        with writing(final):
            self._file.close()
            self.path.replace(final)
            self._done = True
            sync_folder(final.parent)
        return WrittenFile(name, self._size, digest)

    def discard(self) -> None:
        """Remove what was written, unless it was committed."""
        if self._thread is not None:
            self._thread.shutdown(wait=True, cancel_futures=True)
        with suppress(OSError):
            self._file.close()
        if not self._done:
            with suppress(OSError):
                self.path.unlink()
            self._done = True

    def __enter__(self) -> Self:
        """Return the file itself."""
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        """Remove the file if it was not committed."""
        self.discard()


def write_whole(path: Path, data: Text) -> WrittenFile:
    """Write ``data`` to ``path``, whole or not at all, replacing what stands there.

    Raises
    ------
    OutputError
        The place cannot be written (no such folder, no right, disk full), or holds a link or a special file.
    """
    refuse_special(path)
    with PartFile(path.parent, path.name) as part:
        part.fill(data)
        return part.commit(path.name)


def try_place(folder: Path, name: str) -> None:
    """Try whether ``folder`` takes a file, before there is anything to write into ``name``; nothing is left of it.

    Where the system can, the file has no name at all: after a kill, too, nothing remains.

    Raises
    ------
    OutputError
        The folder takes no file.
    """
    nameless = getattr(os, "O_TMPFILE", 0)
    with writing(folder / name):
        try:
            if nameless:
                os.close(os.open(folder, nameless | os.O_RDWR, 0o600))
                return
        except OSError as error:
            if error.errno not in _NO_NAMELESS:
                raise
    with PartFile(folder, name):
        pass


def refuse_special(path: Path) -> None:
    """Refuse a path where something else is than a file: a link, a folder, a device, a pipe."""
    if path.is_symlink() or (path.exists() and not path.is_file()):
        raise OutputError(f"{path}: is a link, a folder or a special file; name a plain file")


def digest_of(path: Path) -> str:
    """Return the SHA-256 of a file in hexadecimal."""
    with path.open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()


def sync_folder(folder: Path) -> None:
    """Make the names in ``folder`` durable, where the system can."""
    if os.name != "posix":
        return
    descriptor = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(descriptor)
    finally:
        os.close(descriptor)


@contextmanager
def writing(path: Path) -> Iterator[None]:
    """Turn an operating system's refusal into an ``OutputError`` that names ``path`` and the reason."""
    try:
        yield
    except OSError as e:
        reason = (e.strerror or str(e)).lower()
        raise OutputError(
            f"{path}: cannot be written: {reason}\n    hint: choose another place, or free space and set rights there"
        ) from e
