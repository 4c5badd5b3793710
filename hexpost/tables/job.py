"""The job folder: a folder is a job only when its manifest stands in it, and that is written last."""

import json
import os
import re
from collections.abc import Mapping
from contextlib import suppress
from dataclasses import replace
from pathlib import Path, PurePosixPath
from types import TracebackType
from typing import Self

from hexpost.errors import OutputError
from hexpost.shelf import Text
from hexpost.tables.whole import PartFile, Written, sync_folder, write_whole, writing

MANIFEST = "manifest.json"
UNFINISHED = ".unfinished-job"
"""Stands in a job folder while it is written; lists the files of the job, one a line, before they get their names."""

_PART = re.compile(r"\..+\.\d+\.part")
_MOST_BYTES = 1 << 24


class JobFolder:
    """A folder that becomes a job when ``finish`` is called; leaving the context before that removes what was written.

    An existing folder is taken only if it is empty, or if it holds a job (or an unfinished one) and ``overwrite`` is
    set. Its manifest is then removed before anything else, so that at no moment a manifest stands with files that are
    not its own. Files that do not belong to the old job are never touched: the folder is refused.

    Raises
    ------
    OutputError
        The folder cannot be made or written, holds something else, or is a symbolic link or no folder.
    """

    def __init__(self, path: Path, *, overwrite: bool = False) -> None:
        self.path = path
        self._parts: list[PartFile] = []
        self._listed: list[str] = []
        self._written: dict[str, Written] = {}
        self._made: list[Path] = []
        self._finished = False
        old = _old_files(path, overwrite=overwrite)
        with writing(path):
            self._make_folders(path)
        try:
            with writing(path):
                self._claim(old)
        except BaseException:
            self._remove_folders()
            raise

    def part(self, stem: str) -> PartFile:
        """Return a file to be written piece by piece; ``keep`` gives it its name, the context removes it otherwise."""
        part = PartFile(self.path, stem, beside=True)
        self._parts.append(part)
        return part

    def keep(self, part: PartFile, name: str) -> Written:
        """Commit ``part`` under ``name``, and remember it for the manifest."""
        self._list(name)
        self._written[name] = part.commit(name)
        return self._written[name]

    def put(self, name: str, data: Text) -> Written:
        """Write a whole file, ``name`` relative to the folder with ``/`` (``inputs/part.nc``)."""
        target = self.path / name
        if target.parent != self.path and not target.parent.is_dir():
            with writing(target):
                target.parent.mkdir()
        self._list(name)
        self._written[name] = replace(write_whole(target, data), name=name)
        return self._written[name]

    def finish(self, manifest: Mapping[str, object]) -> Written:
        """Write the manifest, with the size and SHA-256 of every file of the job under ``files``: now it is a job.

        Raises
        ------
        OutputError
            The manifest cannot be written, or another run has taken the folder over in the meantime.
        """
        files = {w.name: {"bytes": w.size, "sha256": w.sha256} for w in self._written.values()}
        text = json.dumps({**manifest, "files": files}, indent=2, allow_nan=False) + "\n"
        with writing(self.path / MANIFEST):
            self._check_claim()
            written = write_whole(self.path / MANIFEST, text.encode())
            self._finished = True
            self._marker.close()
            (self.path / UNFINISHED).unlink()
        return written

    def __enter__(self) -> Self:
        """Return the folder itself."""
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        """Remove everything that was written, unless the job was finished."""
        for part in self._parts:
            part.discard()
        if self._finished:
            return
        ours = self._claimed()
        with suppress(OSError):
            self._marker.close()
        if ours:
            _remove(self.path, [MANIFEST, *self._listed, UNFINISHED])
            self._remove_folders()

    def _claim(self, old: list[str]) -> None:
        """Mark the folder as unfinished, then remove the old job, its manifest first."""
        new = self.path / f"{UNFINISHED}.{os.getpid()}.part"
        self._marker = new.open("w", encoding="utf-8")
        try:
            self._marker.writelines(f"{name}\n" for name in old)
            self._marker.flush()
            new.replace(self.path / UNFINISHED)
            (self.path / MANIFEST).unlink(missing_ok=True)
            sync_folder(self.path)
            _remove(self.path, [name for name in old if name != UNFINISHED])
        except BaseException:
            self._unclaim(new, old)
            raise

    def _unclaim(self, new: Path, old: list[str]) -> None:
        """Leave a folder as it was; the mark stays where an old job may have lost files already."""
        with suppress(OSError):
            new.unlink(missing_ok=True)
            if not old and self._claimed():
                (self.path / UNFINISHED).unlink()
        with suppress(OSError):
            self._marker.close()

    def _list(self, name: str) -> None:
        with writing(self.path / name):
            self._check_claim()
            self._listed.append(name)
            self._marker.write(f"{name}\n")
            self._marker.flush()

    def _claimed(self) -> bool:
        try:
            here = os.stat(self.path / UNFINISHED)  # noqa: PTH116 - beside fstat
            return os.path.samestat(here, os.fstat(self._marker.fileno()))
        except (OSError, ValueError):
            return False

    def _check_claim(self) -> None:
        if not self._claimed():
            raise OutputError(f"{self.path}: expected this run alone to write here, found that another took it over")

    def _make_folders(self, path: Path) -> None:
        missing = []
        folder = path
        while not folder.exists():
            missing.append(folder)
            folder = folder.parent
        for folder in reversed(missing):
            folder.mkdir()
            self._made.append(folder)

    def _remove_folders(self) -> None:
        with suppress(OSError):
            for folder in reversed(self._made):
                folder.rmdir()


def _old_files(path: Path, *, overwrite: bool) -> list[str]:
    """Return the names of the files of the old job at ``path``; refuse what may not be written over."""
    if path.is_symlink():
        raise OutputError(f"{path}: expected a folder or nothing, found a symbolic link")
    with writing(path):
        if not path.exists():
            return []
        if not path.is_dir():
            raise OutputError(f"{path}: expected a folder or nothing, found a file")
        present = _listing(path)
    if not present:
        return []
    owned = _owned(path)
    if owned is None:
        raise OutputError(
            f"{path}: expected an empty folder or a job, found other files ({present[0]})\n"
            "    hint: choose another folder with --out"
        )
    if not overwrite:
        raise OutputError(f"{path}: already holds a job\n    hint: use --overwrite to replace it, or another --out")
    for name in present:
        if (path / name).is_symlink() or not (path / name).is_file():
            raise OutputError(f"{path / name}: expected a file of the old job, found a link or a special file")
        if name not in owned and not _PART.fullmatch(PurePosixPath(name).name):
            raise OutputError(
                f"{path / name}: expected only files of the old job, found one that is not\n"
                "    hint: move it away, or choose another folder with --out"
            )
    return present


def _listing(path: Path) -> list[str]:
    """Return everything in the folder but ``inputs`` itself, as names relative to it."""
    out = []
    for entry in sorted(path.iterdir()):
        if entry.name == "inputs" and entry.is_dir() and not entry.is_symlink():
            out += [f"inputs/{e.name}" for e in sorted(entry.iterdir())]
        else:
            out.append(entry.name)
    return out


def _owned(path: Path) -> set[str] | None:
    """Return the files that the manifest or the mark of an unfinished job lists; ``None`` if it is neither."""
    manifest, marker = path / MANIFEST, path / UNFINISHED
    owned: set[str] | None = None
    if marker.is_file() and not marker.is_symlink():
        owned = {UNFINISHED, *marker.read_text("utf-8", "replace").splitlines()}
    if manifest.is_file() and not manifest.is_symlink() and manifest.stat().st_size < _MOST_BYTES:
        with suppress(ValueError, AttributeError, TypeError):
            owned = {*(owned or ()), MANIFEST, *json.loads(manifest.read_bytes())["files"].keys()}
    return owned


def _remove(path: Path, names: list[str]) -> None:
    """Remove files of a job, and ``inputs`` if it is then empty."""
    for name in names:
        (path / name).unlink(missing_ok=True)
    with suppress(OSError):
        (path / "inputs").rmdir()
