"""Find the programs that are meant: folders, files, patterns and lists; each once, in order of path."""

import glob
import os
from collections.abc import Iterable, Sequence
from pathlib import Path

from hexpost.errors import Fault, InputError
from hexpost.library.patterns import fits

SUFFIXES = ("*.nc", "*.cnc", "*.iso", "*.din", "*.tap")
"""What counts as a program in a folder, unless the policy says otherwise (common practice, no source)."""


def find(paths: Sequence[str], kinds: Sequence[str] = SUFFIXES) -> list[str]:
    """Return the programs under ``paths`` as names: relative to the working directory where they lie in it.

    A folder stands for the files in it, at any depth, that fit one of ``kinds`` (letter case aside; nothing hidden);
    a pattern for the files that fit it; a file for itself.

    Raises
    ------
    InputError
        With every path that names nothing.
    """
    out: set[str] = set()
    faults: list[Fault] = []
    for path in paths:
        if path and Path(path).is_dir():
            out.update(_in_folder(path, kinds))
        elif path and (Path(path).exists() or Path(path).is_symlink()):
            out.add(named(path))
        elif glob.has_magic(path) and (hits := _of_pattern(path, kinds)):
            out.update(hits)
        else:
            what = "does not exist, and as a pattern it fits no program; name a program, a folder or a pattern"
            faults.append(Fault(file=path, what=what, code="no-such-program"))
    if faults:
        raise InputError(faults)
    return sorted(out)


def named(path: str) -> str:
    """Return the name of a program: its path from the working directory, with ``/``; whole if it lies elsewhere."""
    relative = os.path.relpath(path)
    name = os.path.abspath(path) if relative.startswith("..") else relative  # noqa: PTH100 - links stay as they are
    return name.replace(os.sep, "/")


def listed(text: bytes) -> list[str]:
    """Return the paths of a list, one a line or with NUL after each; blank lines are passed over."""
    separator = b"\0" if b"\0" in text else b"\n"
    rows = (os.fsdecode(row.rstrip(b"\r")) for row in text.split(separator))
    return [row for row in rows if row.strip()]


def changed_only(names: Iterable[str], changed: Sequence[str], inputs_of: dict[str, tuple[str, ...]]) -> list[str]:
    """Return those of ``names`` that are in the list ``changed``, or one of whose input files is.

    ``inputs_of`` holds, for each name, the files that it is judged with (machine, tools, setup, policy).
    """
    here = {os.path.realpath(path) for path in changed}
    return [n for n in names if os.path.realpath(n) in here or any(os.path.realpath(i) in here for i in inputs_of[n])]


def _in_folder(folder: str, kinds: Sequence[str]) -> Iterable[str]:
    """Yield the programs in a folder, at any depth; hidden ones and the copies in job folders are left alone."""
    for root, folders, files in os.walk(folder):
        job = "manifest.json" in files and "inputs" in folders
        folders[:] = [f for f in folders if not f.startswith(".") and not (job and f == "inputs")]
        for file in files:
            name = named(os.path.join(root, file))  # noqa: PTH118 - os.walk speaks strings
            if not file.startswith(".") and any(fits(name.lower(), kind.lower()) for kind in kinds):
                yield name


def _of_pattern(pattern: str, kinds: Sequence[str]) -> list[str]:
    """Return the files that fit a shell pattern, and the programs of the folders that do."""
    out = []
    for hit in glob.glob(pattern, recursive=True):  # noqa: PTH207 - absolute patterns, too
        out += list(_in_folder(hit, kinds)) if Path(hit).is_dir() and "**" not in pattern else []
        out += [named(hit)] if Path(hit).is_file() else []
    return out
