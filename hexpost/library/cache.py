"""Records kept by content: what the same program did with the same files, settings and code need not be done again."""

import hashlib
import json
import os
import tempfile
from contextlib import suppress
from pathlib import Path

from hexpost.audit.model import LIMITS, Limits
from hexpost.errors import OutputError
from hexpost.library.model import CheckTask, Record
from hexpost.library.records import from_bytes
from hexpost.version import code_digest

FORMAT = 1


class Cache:
    """A folder of records, one file each, safe with several gates at once: files appear whole and never change.

    A file holds its own SHA-256 and its key; one that does not fit them is passed over and written anew.

    Raises
    ------
    OutputError
        If the folder cannot be made or written.
    """

    def __init__(self, folder: Path) -> None:
        self._folder = str(folder)
        try:
            folder.mkdir(parents=True, exist_ok=True)
            _mark(folder)
        except OSError as error:
            reason = error.strerror or str(error)
            raise OutputError(f"{folder}: expected a folder for the cache that can be written: {reason}") from None

    def get(self, key: str, limits: Limits = LIMITS) -> Record | None:
        """Return the record kept under ``key``; ``None`` if there is none or it is damaged."""
        try:
            with open(self._path(key), "rb") as file:  # noqa: PTH123 - a third of the time of a cached run
                content = file.read()
        except OSError:
            return None
        head, _, text = content.partition(b"\n")
        if head != _seal(key, text):
            return None
        return from_bytes(text, limits)

    def put(self, key: str, record: bytes) -> None:
        """Keep a record, unless the folder cannot take it: a cache that fails costs time and nothing else."""
        path = self._path(key)
        with suppress(OSError):
            os.makedirs(os.path.dirname(path), exist_ok=True)  # noqa: PTH103, PTH120 - as in get
            handle, part = tempfile.mkstemp(dir=os.path.dirname(path), suffix=".part")  # noqa: PTH120
            try:
                with os.fdopen(handle, "wb") as file:
                    file.write(_seal(key, record) + b"\n" + record)
                os.replace(part, path)  # noqa: PTH105
            except BaseException:
                os.unlink(part)  # noqa: PTH108
                raise

    def _path(self, key: str) -> str:
        return f"{self._folder}/{key[:2]}/{key[2:]}"


def _mark(folder: Path) -> None:
    """Tell tools that keep copies that the folder holds nothing of worth (Cache Directory Tagging, bford.info 2004)."""
    tag = folder / "CACHEDIR.TAG"
    if not tag.exists():
        tag.write_text("Signature: 8a477f597d28d172789f06886806bc55\n# Records of hexpost gate; may be deleted.\n")


def _seal(key: str, text: bytes) -> bytes:
    return hashlib.sha256(key.encode() + b"\n" + text).hexdigest().encode()


def task_key(task: CheckTask) -> str:
    """Return what all programs of the same files and settings have in common; the place of the files is not in it."""
    files = [f.sha256 if f else None for f in (task.machine, task.tools, task.setup)]
    said = [FORMAT, code_digest(), files, task.feed, task.period, list(task.margins)]
    return hashlib.sha256(json.dumps(said).encode()).hexdigest()


def key_of(common: str, program_sha256: str) -> str:
    """Return the key of a program's record."""
    return hashlib.sha256(f"{common}\n{program_sha256}".encode()).hexdigest()


def default_folder() -> Path:
    """Return where caches of the user lie (XDG Base Directory Specification)."""
    base = os.environ.get("XDG_CACHE_HOME", "")
    return (Path(base) if os.path.isabs(base) else Path.home() / ".cache") / "hexpost" / "gate"  # noqa: PTH117
