"""Plain files alone are opened: links, folders and special files in place of files are refused before that."""

import hashlib
import json
import os
import stat
from collections.abc import Iterator
from pathlib import Path
from typing import Any, BinaryIO

from hexpost.errors import HexpostError

PIECE = 1 << 20
MOST_DOCUMENT = 1 << 28
"""Bytes of a JSON document, at most."""


def open_plain(path: Path, most: int, *, root: Path | None = None) -> BinaryIO:
    """Return the plain file at ``path``, of at most ``most`` bytes, open for reading.

    No folder between it and ``root`` may be a link.

    Raises
    ------
    HexpostError
        It is something else, longer, or cannot be read.
    """
    try:
        for folder in _between(path, root):
            if not stat.S_ISDIR(os.lstat(folder).st_mode):
                raise HexpostError(f"{folder}: expected a folder, found {_kind(os.lstat(folder).st_mode)}")
        before = os.lstat(path)
        if not stat.S_ISREG(before.st_mode):
            raise HexpostError(f"{path}: expected a plain file, found {_kind(before.st_mode)}")
        flags = os.O_RDONLY | getattr(os, "O_NOFOLLOW", 0) | getattr(os, "O_NONBLOCK", 0) | getattr(os, "O_BINARY", 0)
        number = os.open(path, flags)
    except OSError as error:
        raise HexpostError(f"{path}: cannot be read: {error.strerror or error}") from error
    file = os.fdopen(number, "rb")
    now = os.fstat(number)
    if not os.path.samestat(before, now) or now.st_size > most:
        file.close()
        raise HexpostError(f"{path}: expected at most {most:,} bytes, found {now.st_size:,}")
    return file


def document(path: Path, hint: str, root: Path | None = None) -> dict[str, Any]:
    """Return the JSON object in a file: every number finite, no key twice.

    Raises
    ------
    HexpostError
        It is something else; ``hint`` says what the file is for.
    """
    try:
        with open_plain(path, MOST_DOCUMENT, root=root) as file:
            found = json.loads(file.read(), parse_constant=_constant, object_pairs_hook=_once)
    except (ValueError, RecursionError) as error:
        raise HexpostError(f"{path}: expected JSON, found something else: {error}\n    hint: {hint}") from error
    if not isinstance(found, dict):
        raise HexpostError(f"{path}: expected a JSON object, found {type(found).__name__}")
    return found


def digest(path: Path, size: int, root: Path) -> str | None:
    """Return the SHA-256 of a plain file of ``size`` bytes; ``None`` where it has another size."""
    total = hashlib.sha256()
    with open_plain(path, 1 << 62, root=root) as file:
        if os.fstat(file.fileno()).st_size != size:
            return None
        while piece := file.read(PIECE):
            total.update(piece)
    return total.hexdigest()


def entries(root: Path) -> Iterator[str]:
    """Yield everything in a folder and its folders as names with ``/``; links are named, never followed."""
    waiting = [root]
    while waiting:
        folder = waiting.pop()
        with os.scandir(folder) as found:
            for entry in found:
                path = folder / entry.name
                yield path.relative_to(root).as_posix()
                if entry.is_dir(follow_symlinks=False):
                    waiting.append(path)


def _between(path: Path, root: Path | None) -> list[Path]:
    if root is None:
        return []
    return [folder for folder in path.parents if root in folder.parents]


def _kind(mode: int) -> str:
    for is_it, name in ((stat.S_ISLNK, "a link"), (stat.S_ISDIR, "a folder"), (stat.S_ISREG, "a file")):
        if is_it(mode):
            return name
    return "a special file"


def _constant(name: str) -> float:
    raise ValueError(f"{name} is no number")


def _once(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    out = dict(pairs)
    if len(out) != len(pairs):
        raise ValueError("a key is there twice")
    return out
