"""The job folder: a folder is a job only when its manifest is in it, and that is written last."""

import errno
import json
import os
import stat
from collections.abc import Mapping
from contextlib import ExitStack, suppress
from dataclasses import replace
from pathlib import Path
from types import TracebackType
from typing import Self

from hexpost.errors import OutputError
from hexpost.shelf import Text
from hexpost.tables.exchange import Claim, exchange
from hexpost.tables.ours import MANIFEST, UNFINISHED, discard, look, refuse_others, settle, sides, signature
from hexpost.tables.whole import PartFile, WrittenFile, sync_folder, writing


class JobFolder:
    """A folder that becomes a job when ``finish`` is called; leaving the context before that removes what was written.

    An empty folder is filled where it is. A job that is there already is replaced only if ``overwrite`` is set: the
    new one is built beside it and exchanged with it, so that after any end a whole job is under the name, or beside it
    where the next run finds it and puts it back. Files that the old job does not list, or that were changed since, are
    never touched: the folder is refused. What a stopped run left is brought in order first.

    Raises
    ------
    OutputError
        The folder cannot be made or written, holds something else, is a symbolic link or no folder, or another run is
        at work in it.
    """

    def __init__(self, path: Path, *, overwrite: bool = False) -> None:
        self.path = path if path.name not in ("", "..") else path.resolve()
        self._building = self.path
        self._parts: list[PartFile] = []
        self._written: dict[str, WrittenFile] = {}
        self._made: list[Path] = []
        self._mark: int | None = None
        self._own: list[os.stat_result] = []
        self._finished = False
        self._before: dict[str, tuple[int, int, int]] = {}
        self._claims = ExitStack()
        try:
            with writing(self.path):
                self._open(overwrite=overwrite)
        except BaseException:
            with self._claims:
                self._leave()
            raise

    @property
    def building(self) -> Path:
        """Return where the files are until the job is finished."""
        return self._building

    def part(self, stem: str) -> PartFile:
        """Return a file to be written piece by piece; ``keep`` gives it its name, the context removes it otherwise."""
        part = PartFile(self._building, stem, beside=True, announce=lambda path: self._list("-", path.name))
        self._parts.append(part)
        return part

    def keep(self, part: PartFile, name: str) -> WrittenFile:
        """Commit ``part`` under ``name``, and remember it for the manifest."""
        self._list(part.digest(), name)
        self._written[name] = part.commit(name)
        return self._written[name]

    def put(self, name: str, data: Text) -> WrittenFile:
        """Write a whole file, ``name`` relative to the folder with ``/`` (``inputs/part.nc``)."""
        target = self._building / name
        if target.parent != self._building and not target.parent.is_dir():
            with writing(target):
                target.parent.mkdir()

        def announce(path: Path) -> None:
            self._list("-", path.relative_to(self._building).as_posix())

        with PartFile(target.parent, target.name, announce=announce) as part:
            part.fill(data)
            self._list(part.digest(), name)
            self._written[name] = replace(part.commit(target.name), name=name)
        return self._written[name]

    def finish(self, manifest: Mapping[str, object]) -> WrittenFile:
        """Write the manifest, with the size and SHA-256 of every file of the job under ``files``: now it is a job.

        Raises
        ------
        OutputError
            The manifest cannot be written, or somebody wrote to the old job or took the folder over in the meantime.
        """
        files = {w.name: {"bytes": w.size, "sha256": w.sha256} for w in self._written.values()}
        text = json.dumps({**manifest, "job": "hexpost", "files": files}, indent=2, allow_nan=False) + "\n"
        here = self._building
        with writing(here / MANIFEST), PartFile(here, MANIFEST, announce=lambda p: self._list("-", p.name)) as part:
            part.fill(text.encode())
            part.digest()
            self._check_claim()
            self._own.append(part.path.stat())
            written = replace(part.commit(UNFINISHED), name=MANIFEST)  # the list of a job that is still unfinished
            (here / UNFINISHED).rename(here / MANIFEST)  # and of a finished one: at no moment both, or none
            sync_folder(here)
            if here != self.path:
                self._publish()
            self._finished = True
        return written

    def __enter__(self) -> Self:
        """Return the folder itself."""
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        """Remove everything that was written, unless the job was finished; and the old job, if it was."""
        with self._claims:
            for part in self._parts:
                part.discard()
            self._leave()

    def _open(self, *, overwrite: bool) -> None:
        """Find the folder empty or make it so, or begin beside the job that it holds; then mark what is built."""
        path = self.path
        if path.name and not path.is_symlink():
            settle(path)
        known = look(path, overwrite=overwrite)
        self._make_folders(path)
        self._claim(path)
        if known:
            self._before = signature(path)
            refuse_others(path, known)
        if MANIFEST in known:
            self._begin_beside()
        elif known:
            discard(path, keep=True)
        self._mark = os.open(self._building / UNFINISHED, os.O_WRONLY | os.O_APPEND | os.O_CREAT | os.O_EXCL, 0o666)
        self._own.append(os.fstat(self._mark))
        sync_folder(self._building)

    def _begin_beside(self) -> None:
        """Make the folder in which the job is built that takes the place of the old one."""
        if self.path.is_mount() or Path.cwd().is_relative_to(self.path.resolve()):
            raise OutputError(
                f"{self.path}: cannot be replaced: it is a mounted disk, or hexpost was started in it\n"
                "    hint: choose a folder in it with --out, or empty it first"
            )
        self._building, _ = sides(self.path)
        with writing(self._building):
            self._building.mkdir()
            self._made.append(self._building)
            self._claim(self._building)
            old = self.path.stat()
            with suppress(PermissionError):
                os.chown(self._building, old.st_uid, old.st_gid)
            self._building.chmod(stat.S_IMODE(old.st_mode))

    def _publish(self) -> None:
        """Exchange the new job for the old one, in one step or in two that the next run can undo."""
        new, old = sides(self.path)
        if signature(self.path) != self._before:
            raise OutputError(f"{self.path}: the old job has changed: somebody wrote to it meanwhile")
        if not exchange(new, self.path):
            self.path.rename(old)
            try:
                new.rename(self.path)
            except OSError:
                old.rename(self.path)
                raise
        sync_folder(self.path.parent)

    def _leave(self) -> None:
        """Remove what is left to remove; what a disk does not let us remove is left to the next run."""
        if self._mark is not None:
            os.close(self._mark)
        with suppress(OSError):
            if self._building != self.path:
                self._leave_beside()
            elif not self._finished and self._claimed(self.path):
                discard(self.path, keep=True)
        if not self._finished:
            with suppress(OSError):
                for folder in reversed(self._made):
                    folder.rmdir()

    def _leave_beside(self) -> None:
        """Remove the new job if it did not get its place, else the old one."""
        new, old = sides(self.path)
        if self._finished or self._claimed(self.path):
            discard(old if old.exists() else new)
            return
        if old.exists() and not self.path.exists():
            old.rename(self.path)
        if self._claimed(new):
            discard(new)

    def _list(self, digest: str, name: str) -> None:
        """Note a file before it is there."""
        assert self._mark is not None
        with writing(self._building / UNFINISHED):
            self._check_claim()
            line = f"{digest}  {name}\n".encode()
            if os.write(self._mark, line) != len(line):
                raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))
            os.fsync(self._mark)

    def _claimed(self, folder: Path) -> bool:
        """Return whether a folder holds the mark, or the manifest, that this run wrote."""
        for file in (folder / UNFINISHED, folder / MANIFEST):
            with suppress(OSError):
                if any(os.path.samestat(file.stat(), own) for own in self._own):
                    return True
        return False

    def _check_claim(self) -> None:
        if not self._claimed(self._building):
            raise OutputError(f"{self.path}: another run has taken this folder over")

    def _make_folders(self, path: Path) -> None:
        missing = []
        folder = path
        while not folder.exists():
            missing.append(folder)
            folder = folder.parent
        for folder in reversed(missing):
            folder.mkdir()
            self._made.append(folder)

    def _claim(self, folder: Path) -> None:
        self._claims.callback(Claim(folder).close)
