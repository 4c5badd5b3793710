"""Find the programs that are meant: folders, files, patterns and lists; each once, in order of path."""

import glob
import os
import re
from collections import Counter
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from fnmatch import fnmatch
from pathlib import Path

from hexpost.errors import Fault, InputError
from hexpost.library.model import Left
from hexpost.library.patterns import fits

SUFFIXES = ("*.nc", "*.cnc", "*.iso", "*.din", "*.tap")
"""What counts as a program in a folder, unless the policy says otherwise (common practice, no source)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Found:
    """The programs of a library by name, in order of path, and what in its folders does not belong to it."""

    names: tuple[str, ...]
    left: tuple[Left, ...] = ()
    others: Mapping[str, int] = field(default_factory=dict)
    """How many files of the folders were passed over, by ending: most first."""


def find(
    paths: Sequence[str], kinds: Sequence[str] = SUFFIXES, is_job: Callable[[Path], bool] = lambda _: False
) -> Found:
    """Return the programs under ``paths`` as names: relative to the working directory where they lie in it.

    A folder means the files in it, at any depth, that fit one of ``kinds`` (letter case aside; nothing hidden); a
    pattern the files that fit it; a file itself. ``is_job``: whether a folder is that of a job.

    Raises
    ------
    InputError
        With every path that names nothing, and every folder that cannot be read.
    """
    walk = _Walk(kinds=tuple(kind.lower() for kind in kinds), is_job=is_job)
    for path in paths:
        if path and os.path.isdir(path):  # noqa: PTH112 - false, and no error, where it cannot be seen
            walk.folder(path)
        elif path and os.path.lexists(path):
            walk.names.add(named(path))
        elif not (glob.has_magic(path) and walk.pattern(path)):
            what = "does not exist, and as a pattern it fits no program; name a program, a folder or a pattern"
            walk.faults.append(Fault(file=path, what=what, code="no-such-program"))
    if walk.faults:
        raise InputError(walk.faults)
    left = {x.name: x for x in walk.left if x.name not in walk.names}
    endings = Counter(Path(name).suffix.lower() for name in walk.others - walk.names)
    return Found(
        names=tuple(sorted(walk.names)),
        left=tuple(left[name] for name in sorted(left)),
        others=dict(sorted(endings.items(), key=lambda item: (-item[1], item[0]))),
    )


def named(path: str) -> str:
    """Return the name of a program: its path from the working directory, with ``/``; whole if it lies elsewhere."""
    relative = os.path.relpath(path)
    name = os.path.abspath(path) if Path(relative).parts[:1] == ("..",) else relative  # noqa: PTH100 - links stay
    return name.replace(os.sep, "/")


@dataclass(slots=True, kw_only=True)
class _Walk:
    """Folders walked so far: programs, what was passed over, and what cannot be read."""

    kinds: tuple[str, ...]
    is_job: Callable[[Path], bool]
    names: set[str] = field(default_factory=set)
    left: list[Left] = field(default_factory=list)
    faults: list[Fault] = field(default_factory=list)
    others: set[str] = field(default_factory=set)

    def folder(self, top: str) -> None:
        """Take the programs in a folder, at any depth; hidden ones and the copies in job folders are left out."""
        for root, folders, files in os.walk(top, onerror=self._unreadable):
            for folder in list(folders):
                path = os.path.join(root, folder)  # noqa: PTH118 - os.walk speaks strings
                why = self._why(root, folder)
                if why:
                    folders.remove(folder)
                    self._leave(path, why)
            for name, hidden in self._programs(root, files):
                if hidden:
                    self.left.append(Left(name=name, why="hidden"))
                else:
                    self.names.add(name)

    def pattern(self, pattern: str) -> bool:
        """Take the files that fit a shell pattern, and the programs of the folders that do; return if there are any."""
        before = len(self.names) + len(self.faults)
        pattern = re.sub(r"(?:\*\*/)+", "**/", pattern)
        for hit in glob.glob(pattern, recursive=True):  # noqa: PTH207 - absolute patterns, too
            if Path(hit).is_file():
                self.names.add(named(hit))
            elif "**" not in pattern and Path(hit).is_dir():
                self.folder(hit)
        self._look_for_unreadable(pattern)
        return len(self.names) + len(self.faults) > before

    def _look_for_unreadable(self, pattern: str) -> None:
        """Note folders that a pattern leads through and that cannot be read: what fits in them is not found."""
        parts = pattern.split("/")
        fixed = next(i for i, part in enumerate(parts) if glob.has_magic(part))
        top = "/".join(parts[:fixed]) or ("/" if pattern.startswith("/") else ".")
        ways = {top: parts[fixed:-1]}
        for root, folders, _ in os.walk(top, onerror=self._unreadable):
            way = ways.pop(root)
            part = "*" if "**" in pattern else way[0] if way else ""
            folders[:] = [f for f in folders if fnmatch(f, part) and not f.startswith(".")]
            ways |= {os.path.join(root, f): way[1:] for f in folders}  # noqa: PTH118

    def _programs(self, root: str, files: Sequence[str]) -> Iterator[tuple[str, bool]]:
        """Yield the programs among the files of a folder, and whether each is hidden."""
        for file in files:
            name = named(os.path.join(root, file))  # noqa: PTH118
            if any(fits(name.lower(), kind) for kind in self.kinds):
                yield name, file.startswith(".")
            elif not file.startswith("."):
                self.others.add(name)

    def _why(self, root: str, folder: str) -> str:
        """Return why a folder is left out, nothing if it is not."""
        path = os.path.join(root, folder)  # noqa: PTH118
        if os.path.islink(path):  # noqa: PTH114
            return "link to a folder"
        if folder.startswith("."):
            return "hidden"
        return "copy in a job folder" if folder == "inputs" and self.is_job(Path(root)) else ""

    def _leave(self, path: str, why: str) -> None:
        """Note the programs in a folder that is left out, so that nobody takes them for checked; a link as it is."""
        if os.path.islink(path):  # noqa: PTH114 - it may lead anywhere
            self.left.append(Left(name=named(path), why=why))
            return
        for root, folders, files in os.walk(path):
            self.left += [Left(name=name, why=why) for name, _ in self._programs(root, files)]
            folders.sort()

    def _unreadable(self, error: OSError) -> None:
        """Note a folder that cannot be read: nobody knows which programs it has."""
        if isinstance(error, FileNotFoundError | NotADirectoryError):
            return
        what = f"this folder cannot be read, so its programs cannot be checked: {error.strerror or error}"
        fault = Fault(file=named(str(error.filename)), what=what, code="unreadable-folder")
        if fault not in self.faults:
            self.faults.append(fault)
