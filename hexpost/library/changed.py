"""Lists of changed files as version-control tools print them, and the programs that they concern."""

import os
import re
import unicodedata
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path

ROOTS = (".git", ".hg", ".svn", ".bzr", ".jj", "_darcs")
"""What lies in the root of a repository, by the tool that made it (their manuals)."""

_ESCAPES = {"a": 7, "b": 8, "f": 12, "n": 10, "r": 13, "t": 9, "v": 11}
_ESCAPE = re.compile(rb"\\([0-7]{1,3}|[abfnrtv'\"?\\])")
_QUOTED = re.compile(rb"\"((?:[^\"\\]|\\(?:[0-7]{1,3}|[abfnrtv'\"?\\]))*)\"")
_MARKS = (b"\xef\xbb\xbf", b"\xff\xfe", b"\xfe\xff")


@dataclass(frozen=True, slots=True, kw_only=True)
class Changed:
    """What a list of changed files means: the programs to check, and what else was in it, each entry once."""

    names: tuple[str, ...]
    entries: int
    elsewhere: int
    missing: tuple[str, ...]


def read_list(text: bytes) -> list[str]:
    """Return the paths of a list, one a line or with NUL after each; blank lines are passed over.

    A line in quotation marks is read as a string of C (ISO/IEC 9899, 6.4.4.4: a backslash and up to three octal digits
    are a byte), unless a file has that very name.
    """
    if text.startswith(_MARKS[1:]):
        text = text.decode("utf-16", "replace").encode()
    text = text.removeprefix(_MARKS[0])
    if b"\0" in text:
        return [os.fsdecode(row) for row in text.split(b"\0") if row.strip()]
    rows = (row.rstrip(b"\r") for row in text.split(b"\n"))
    return [os.fsdecode(_plain(row)) for row in rows if row.strip()]


def _plain(row: bytes) -> bytes:
    """Return the name that a line holds."""
    quoted = _QUOTED.fullmatch(row.strip())
    if quoted is None or os.path.lexists(row):
        return row
    return _ESCAPE.sub(lambda m: bytes([_code(m[1].decode())]), quoted[1])


def _code(escape: str) -> int:
    """Return the byte of an escape."""
    return int(escape, 8) & 255 if escape.isdigit() else _ESCAPES.get(escape, ord(escape))


def bases(paths: Iterable[str]) -> list[str]:
    """Return where paths of a list may count from: here, and the roots of the repositories around here and ``paths``.

    Where one repository lies in another, both count.
    """
    out = {str(Path.cwd()): None}
    for start in (".", *paths):
        whole = Path(os.path.realpath(start))
        out |= {str(p): None for p in (whole, *whole.parents) if any(os.path.lexists(p / mark) for mark in ROOTS)}
    return list(out)


def changed_only(
    names: Iterable[str], entries: Sequence[str], inputs_of: Mapping[str, tuple[str, ...]], places: Sequence[str]
) -> Changed:
    """Return which of ``names`` are in a list, or lie in a folder of it, or have an input file there.

    ``inputs_of`` holds, for each name, the files that it is judged with (machine, tools, setup, policy); ``places``
    where paths count from (see ``bases``). An entry that is there from several of them means all of these files.
    """
    there: dict[str, list[str]] = {entry: list(_there(entry, places)) for entry in entries}
    known: dict[str, set[str]] = {}
    for entry, paths in there.items():
        for path in paths:
            known.setdefault(path, set()).add(entry)
    real = lru_cache(maxsize=4096)(os.path.realpath)
    used: set[str] = set()
    out = []
    for name in names:
        mine = [os.path.realpath(name), *(real(i) for i in inputs_of[name])]
        hits = [known[p] for file in mine for p in (file, *_folders(file)) if p in known]
        used.update(*hits)
        out += [name] if hits else []
    missing = tuple(entry for entry, paths in there.items() if not paths)
    return Changed(
        names=tuple(out), entries=len(there), elsewhere=len(there) - len(missing) - len(used), missing=missing
    )


def _there(entry: str, places: Sequence[str]) -> Iterator[str]:
    """Yield the files that an entry may mean; names of other tools may be composed in another way (Unicode)."""
    forms = dict.fromkeys([entry, *(unicodedata.normalize(form, entry) for form in ("NFC", "NFD"))])
    for place in places:
        paths = (os.path.join(place, form) for form in forms)  # noqa: PTH118 - names of any bytes
        yield from (os.path.realpath(path) for path in paths if os.path.lexists(path))


def _folders(file: str) -> Iterator[str]:
    """Yield the folders around a file."""
    while (parent := os.path.dirname(file)) != file:  # noqa: PTH120 - a hundred thousand of them
        file = parent
        yield file
