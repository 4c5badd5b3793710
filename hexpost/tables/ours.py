"""Which files of a folder are those of a job, finished or not: nothing else is ever removed."""

import hashlib
import json
import os
import re
from collections.abc import Mapping
from contextlib import suppress
from pathlib import Path, PurePosixPath

from hexpost.errors import OutputError
from hexpost.tables.exchange import Claim
from hexpost.tables.whole import digest_of

MANIFEST = "manifest.json"
UNFINISHED = ".unfinished-job"
"""Is in a job folder while it is written: SHA-256 (of a part: -) and name of each file, before it is there."""

_PART = re.compile(r"\..+\.[0-9a-f]+\.part")
_MARK = re.compile(r"(-|[0-9a-f]{64})  ([^\n]+)\n")
_MOST_BYTES = 1 << 26


def sides(path: Path) -> tuple[Path, Path]:
    """Return where a job that takes the place of another is built, and where the other one waits meanwhile."""
    return path.with_name(f".{path.name}.new-job"), path.with_name(f".{path.name}.old-job")


def listed(folder: Path) -> dict[str, str] | None:
    """Return SHA-256 (of a part: ``-``) by name, as the mark or the manifest of a job lists them; ``None``: no job."""
    out: dict[str, str] | None = None
    for name in (MANIFEST, UNFINISHED):
        file = folder / name
        if file.is_symlink() or not file.is_file() or file.stat().st_size > _MOST_BYTES:
            continue
        told = file.read_bytes()
        found = _of_mark(told) if name == UNFINISHED and not told.startswith(b"{") else _of_manifest(told)
        if found is not None:
            out = {**(out or {}), **found, name: hashlib.sha256(told).hexdigest()}
    return out


def _of_mark(told: bytes) -> dict[str, str]:
    """Return what a mark lists; a last line that was cut off belongs to a file that was never made."""
    return {name: digest for digest, name in _MARK.findall(told.decode("utf-8", "surrogateescape"))}


def _of_manifest(told: bytes) -> dict[str, str] | None:
    """Return what a manifest of a job lists; one of somebody else lists nothing."""
    with suppress(ValueError, RecursionError, AttributeError, TypeError, KeyError):
        manifest = json.loads(told)
        if manifest["job"] == "hexpost":
            return {name: str(file["sha256"]) for name, file in manifest["files"].items()}
    return None


def present(folder: Path) -> list[str]:
    """Return everything in a folder but ``inputs`` itself, as names relative to it."""
    out = []
    for entry in sorted(folder.iterdir()):
        if entry.name == "inputs" and entry.is_dir() and not entry.is_symlink():
            out += [f"inputs/{e.name}" for e in sorted(entry.iterdir())]
        else:
            out.append(entry.name)
    return out


def signature(folder: Path) -> dict[str, tuple[int, int, int]]:
    """Return size, time of change and number of each file in a folder: other values mean that it was written to."""
    seen = {name: os.lstat(folder / name) for name in present(folder)}
    return {name: (s.st_size, s.st_mtime_ns, s.st_ino) for name, s in seen.items()}


def look(path: Path, *, overwrite: bool) -> dict[str, str]:
    """Return what the job lists that is at ``path``: nothing where nothing is there.

    Raises
    ------
    OutputError
        It is no folder, holds no job, or one that is finished and may not be replaced.
    """
    if path.is_symlink():
        raise OutputError(f"{path}: is a symbolic link; choose a folder with --out")
    if not path.exists():
        return {}
    if not path.is_dir():
        raise OutputError(f"{path}: is a file; choose a folder with --out")
    if not (there := present(path)):
        return {}
    known = listed(path)
    if known is None:
        raise OutputError(
            f"{path}: holds other files than a job ({there[0]})\n    hint: choose another folder with --out"
        )
    if MANIFEST in known and not overwrite:
        raise OutputError(f"{path}: already holds a job\n    hint: use --overwrite to replace it, or another --out")
    return known


def refuse_others(folder: Path, known: Mapping[str, str]) -> None:
    """Refuse a folder in which a file is not one that is ``known``, byte for byte.

    Raises
    ------
    OutputError
        Names the file.
    """
    advice = "\n    hint: move it away, or choose another folder with --out"
    for name in present(folder):
        file = folder / name
        if file.is_symlink() or not file.is_file():
            raise OutputError(f"{file}: is a link or a special file, not a file of the old job{advice}")
        part = known.get(name) == "-" and _PART.fullmatch(PurePosixPath(name).name)
        if name not in known or (known[name] == "-" and not part):
            raise OutputError(f"{file}: is not listed by the old job{advice}")
        if not part and digest_of(file) != known[name]:
            raise OutputError(f"{file}: has changed since the old job was written{advice}")


def discard(folder: Path, *, keep: bool = False) -> None:
    """Remove the files of a job, finished or not; its list goes last, so that after a kill the next run can go on.

    The folder itself goes, too, unless ``keep``. A file that the job does not list stays, and an ``OSError`` says so.
    """
    known = listed(folder) or {}
    if MANIFEST in known:
        (folder / MANIFEST).replace(folder / UNFINISHED)  # from here on it is no job
    for name in present(folder):
        if name in known and name != UNFINISHED:
            (folder / name).unlink()
    (folder / UNFINISHED).unlink(missing_ok=True)
    with suppress(FileNotFoundError):
        (folder / "inputs").rmdir()
    if not keep:
        folder.rmdir()


def settle(path: Path) -> None:
    """Bring in order what a run that was stopped left beside ``path``.

    A whole job is put back where none is under its name; everything else of ours is removed.

    Raises
    ------
    OutputError
        Another run is at work, or somebody else's files are there.
    """
    new, old = sides(path)
    for side in (old, new):
        if not os.path.lexists(side):
            continue
        if side.is_symlink() or not side.is_dir():
            raise OutputError(f"{side}: is a link or a file in the way; move it away")
        claim = Claim(side)
        try:
            if _is_whole(side) and (not path.exists() or (path.is_dir() and not present(path))):
                side.rename(path)
            else:
                refuse_others(side, listed(side) or {})
                discard(side)
        finally:
            claim.close()


def _is_whole(folder: Path) -> bool:
    """Return whether a folder is a finished job with every file that its manifest lists."""
    known = listed(folder) or {}
    return MANIFEST in known and all((folder / n).is_file() and digest_of(folder / n) == d for n, d in known.items())
