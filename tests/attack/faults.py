"""Strike a run at one of its file operations: a kill, an interruption, an error, a disk that is full from there on.

A run is a function in a forked child. Only operations below one folder count, so that number k is the same one in every
run of the same work.
"""

import errno
import io
import os
import signal
import sys
import traceback
from pathlib import Path

HOW = ("kill", "interrupt", "error", "full", "read-only")
GROWING = {"open", "write", "mkdir", "fsync", "flush", "close"}
"""What takes room on a disk."""
REFUSED = 2


class Strikes:
    """Counts the file operations below ``folder`` and strikes at number ``at`` (0: never)."""

    def __init__(self, folder, kind="error", at=0):
        self.folder, self.kind, self.at, self.count = str(Path(folder).resolve()), kind, at, 0
        self.ours = set()
        self.names = []

    def before(self, name, what, data=None):
        """Count an operation; kill, raise, or return."""
        self.count += 1
        self.names.append(f"{name} {what}")
        if not self.at or self.count < self.at:
            return
        first = self.count == self.at
        if self.kind == "kill" and first:
            if data is not None:
                data()
            os.kill(os.getpid(), signal.SIGKILL)
        if self.kind == "interrupt" and first:
            raise KeyboardInterrupt
        if self.kind == "error" and first:
            raise OSError(errno.EIO, os.strerror(errno.EIO), what)
        if self.kind == "full" and name in GROWING:
            raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC), what)
        if self.kind == "read-only" and name != "close":
            raise OSError(errno.EROFS, os.strerror(errno.EROFS), what)

    def inside(self, path):
        """Return whether a path, or an open file, lies below the folder."""
        if isinstance(path, int):
            return path in self.ours
        if not isinstance(path, str | bytes | os.PathLike):
            return False
        return os.path.normpath(Path.cwd() / os.fsdecode(path)).startswith(self.folder)

    def install(self):
        """Put the counters in the place of the functions of the system, for the rest of this process."""
        for name in ("rename", "replace", "unlink", "remove", "mkdir", "rmdir", "chmod", "chown", "write", "fsync"):
            setattr(os, name, self._counted(name, getattr(os, name)))
        plain_open, plain_fdopen, plain_close = os.open, os.fdopen, os.close

        def opened(path, flags, *more, **named):
            if not self.inside(path):
                return plain_open(path, flags, *more, **named)
            if flags & (os.O_CREAT | os.O_WRONLY | os.O_RDWR):
                self.before("open", str(path))
            number = plain_open(path, flags, *more, **named)
            self.ours.add(number)
            return number

        def closed(number):
            self.ours.discard(number)
            plain_close(number)

        def file_of(number, *more, **named):
            file = plain_fdopen(number, *more, **named)
            return File(self, file) if number in self.ours else file

        os.open, os.close, os.fdopen = opened, closed, file_of
        plain = io.open

        def file_open(path, mode="r", *more, **named):
            writes = self.inside(path) and set(mode) & set("wax+")
            if writes:
                self.before("open", str(path))
            file = plain(path, mode, *more, **named)
            return File(self, file) if writes else file

        io.open = file_open
        from hexpost.tables import exchange, job

        job.exchange = self._counted("exchange", exchange.exchange)

    def _counted(self, name, plain):
        def function(first, *more, **named):
            if self.inside(first):
                half = (lambda: plain(first, more[0][: len(more[0]) // 2])) if name == "write" else None
                self.before(name, str(first), half)
            return plain(first, *more, **named)

        return function


class File:
    """A file whose writes count; a kill in one leaves half of it."""

    def __init__(self, strikes, file):
        self._strikes, self._file = strikes, file
        strikes.ours.add(file.fileno())

    def __getattr__(self, name):
        return getattr(self._file, name)

    def write(self, data):
        def half():
            self._file.write(data[: len(data) // 2])
            self._file.flush()

        self._strikes.before("write", self._file.name, half)
        return self._file.write(data)

    def flush(self):
        self._strikes.before("flush", self._file.name)
        self._file.flush()

    def close(self):
        if not self._file.closed:
            self._strikes.ours.discard(self._file.fileno())
            try:
                self._strikes.before("close", self._file.name)
            finally:
                self._file.close()

    def __enter__(self):
        return self

    def __exit__(self, *_):
        self.close()

    def __iter__(self):
        return iter(self._file)


def struck(work, folder, kind="error", at=0, said=os.devnull):
    """Do ``work`` in a child struck at operation ``at`` below ``folder``; return exit code (or -signal) and operations.

    ``said`` takes what the child prints; its last line lists the operations.
    """
    read, write = os.pipe()
    child = os.fork()
    if not child:
        os.close(read)
        code = 70
        try:
            out = os.open(said, os.O_WRONLY | os.O_CREAT | os.O_APPEND, 0o600)
            os.dup2(out, 1)
            os.dup2(out, 2)
            sys.stdout, sys.stderr = (open(n, "w", closefd=False) for n in (1, 2))  # noqa: SIM115
            strikes = Strikes(folder, kind, at)
            plain = os.write
            strikes.install()
            code = _ended(work)
            told = "\n".join(strikes.names).encode()
            for i in range(0, len(told), 4096):
                plain(write, told[i : i + 4096])
        except BaseException:  # noqa: BLE001 - a child must never come back
            traceback.print_exc()
        finally:
            sys.stdout.flush()
            sys.stderr.flush()
            os._exit(code)
    os.close(write)
    with os.fdopen(read, "rb") as pipe:
        names = pipe.read().decode().splitlines()
    _, status = os.waitpid(child, 0)
    return os.waitstatus_to_exitcode(status), names


def _ended(work):
    """Return the exit code of some work: what it returns or exits with; 2 for a refusal, 130 for an interruption."""
    from hexpost.errors import OutputError

    try:
        return work() or 0
    except SystemExit as end:
        return end.code if isinstance(end.code, int) else int(end.code is not None)
    except OutputError as error:
        print(error)
        return REFUSED
    except KeyboardInterrupt:
        return 130


def left_over(folder):
    """Return what hides in a folder: parts, marks, and jobs beside their places."""
    return sorted(str(p.relative_to(folder)) for p in Path(folder).rglob(".*"))
