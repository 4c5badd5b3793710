"""Records kept by content: what the same program did with the same files, settings and code need not be done again."""

import hashlib
import hmac
import json
import os
import random
import tempfile
from contextlib import suppress
from pathlib import Path

from hexpost.audit.model import LIMITS, Limits
from hexpost.errors import OutputError
from hexpost.library.model import CheckTask, Record
from hexpost.library.records import from_bytes
from hexpost.library.seal import look, own_folder, own_key, seal
from hexpost.version import code_digest

FORMAT = 4
MOST_BYTES = 1 << 26
"""A record is not longer than this."""
_ODD = (ValueError, KeyError, IndexError, TypeError, AttributeError, RuntimeError)
"""What reading a record raises that is none; a limit of no table, or lists nested too deep, too."""

_CHANCE = random.SystemRandom()


class Cache:
    """A folder of records, one file each, safe with several gates at once: files appear whole and never change.

    A file begins with its seal, made with ``key`` (by default the user's own). Whatever else is there under its name,
    another's record, a damaged one, a pipe, a link, is passed over and written anew. ``recheck`` is the share of
    records that are to be computed again although they are here.

    Raises
    ------
    OutputError
        If the folder cannot be made or written.
    HexpostError
        If there is no key.
    """

    def __init__(self, folder: Path, key: bytes | None = None, *, recheck: float = 0.0) -> None:
        self.folder = str(folder)
        self._key = own_key() if key is None else key
        self._recheck = recheck
        try:
            folder.mkdir(parents=True, exist_ok=True)
            _mark(folder)
        except OSError as error:
            what = f"the cache cannot be written here: {error.strerror or error}"
            raise OutputError(
                f"{folder}: {what}\n    hint: --cache DIR names another, --no-cache does without"
            ) from None

    def get(self, key: str, limits: Limits = LIMITS) -> Record | None:
        """Return the record kept under ``key``; ``None`` if there is none or it is damaged."""
        try:
            _, content = look(self._path(key), MOST_BYTES)
        except OSError:
            return None
        head, _, text = content.partition(b"\n")
        if not hmac.compare_digest(head, seal(self._key, key, text)):
            return None
        try:
            return from_bytes(text, limits)
        except _ODD:
            return None

    def doubts(self) -> bool:
        """Return whether the record at hand is one of those that are computed again; nobody can know beforehand."""
        return self._recheck > 0.0 and _CHANCE.random() < self._recheck

    def put(self, key: str, record: bytes) -> None:
        """Keep a record, unless the folder cannot take it: a cache that fails costs time and nothing else."""
        path = self._path(key)
        with suppress(OSError):
            os.makedirs(os.path.dirname(path), exist_ok=True)  # noqa: PTH103, PTH120 - as in get
            handle, part = tempfile.mkstemp(dir=os.path.dirname(path), suffix=".part")  # noqa: PTH120
            try:
                with os.fdopen(handle, "wb") as file:
                    file.write(seal(self._key, key, record) + b"\n" + record)
                os.replace(part, path)  # noqa: PTH105
            except BaseException:
                os.unlink(part)  # noqa: PTH108
                raise

    def _path(self, key: str) -> str:
        return f"{self.folder}/{key[:2]}/{key[2:]}"


def _mark(folder: Path) -> None:
    """Tell tools that keep copies that the folder holds nothing of worth (Cache Directory Tagging, bford.info 2004)."""
    tag = folder / "CACHEDIR.TAG"
    if not os.path.lexists(tag):
        tag.write_text("Signature: 8a477f597d28d172789f06886806bc55\n# Records of hexpost gate; may be deleted.\n")


def task_key(task: CheckTask) -> str:
    """Return what all programs of the same files and settings have in common; the place of the files is not in it."""
    files = [f.sha256 if f else None for f in (task.machine, task.tools, task.setup)]
    said = [
        FORMAT,
        code_digest(),
        files,
        task.feed,
        task.period,
        task.units,
        list(task.margins),
        [c.text for c in task.at_most],
    ]
    return hashlib.sha256(json.dumps(said).encode()).hexdigest()


def key_of(common: str, program_sha256: str) -> str:
    """Return the key of a program's record."""
    return hashlib.sha256(f"{common}\n{program_sha256}".encode()).hexdigest()


def default_folder() -> Path:
    """Return where caches of the user lie (XDG Base Directory Specification)."""
    return own_folder("XDG_CACHE_HOME", ".cache") / "gate"
