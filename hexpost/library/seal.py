"""The key that seals what a cache keeps: who cannot read it cannot make a record that counts."""

import errno
import hashlib
import hmac
import os
import secrets
import stat
import tempfile
from contextlib import suppress
from pathlib import Path

from hexpost.errors import HexpostError

KEY_BYTES = 32
_MOST_BYTES = 4096
_ONLY_LOOK = os.O_RDONLY | getattr(os, "O_NOFOLLOW", 0) | getattr(os, "O_NONBLOCK", 0) | getattr(os, "O_BINARY", 0)
"""How to open what may be anything: a pipe or a device opens at once, a link does not."""


def seal(key: bytes, name: str, text: bytes) -> bytes:
    """Return the seal of a record under its name: HMAC-SHA-256 (RFC 2104, FIPS 180-4), in hexadecimal."""
    return hmac.new(key, name.encode() + b"\n" + text, hashlib.sha256).hexdigest().encode()


def own_key(path: Path | None = None) -> bytes:
    """Return the key in a file, by default the user's own; it is made where there is none.

    Raises
    ------
    HexpostError
        The file cannot be read or made, is no regular file, or others can read it.
    """
    path = path or default_key()
    for _ in range(2):  # made here, or by another run in the same moment
        try:
            return _read(path)
        except FileNotFoundError:
            _make(path)
        except OSError as error:
            raise _refused(path, error.strerror or str(error)) from None
    raise _refused(path, "it comes and goes")


def look(path: str, most: int) -> tuple[os.stat_result, bytes]:
    """Return what is known of a regular file, and at most so many bytes of it; anything else raises ``OSError``."""
    handle = os.open(path, _ONLY_LOOK)
    try:
        found = os.fstat(handle)
        if not stat.S_ISREG(found.st_mode):
            raise OSError(errno.EINVAL, "it is not a regular file")
        with open(handle, "rb", closefd=False) as file:
            return found, file.read(most)
    finally:
        os.close(handle)


def default_key() -> Path:
    """Return where the user's key is (XDG Base Directory Specification)."""
    return own_folder("XDG_CONFIG_HOME", ".config") / "cache.key"


def own_folder(variable: str, usual: str) -> Path:
    """Return the user's folder that an absolute path in ``variable`` names, else the ``usual`` one at home.

    Raises
    ------
    HexpostError
        Nobody knows where this user is at home.
    """
    base = os.environ.get(variable, "")
    try:
        return (Path(base) if os.path.isabs(base) else Path.home() / usual) / "hexpost"  # noqa: PTH117
    except RuntimeError:
        hint = "    hint: --no-cache does without a cache; or name the folder in HOME"
        raise HexpostError(f"this user has no home folder, where results would be kept\n{hint}") from None


def _read(path: Path) -> bytes:
    """Return the key in a file that only its owner can read."""
    found, key = look(str(path), _MOST_BYTES)
    if hasattr(os, "geteuid"):
        if found.st_uid not in (os.geteuid(), 0):
            raise _refused(path, "it belongs to somebody else")
        if found.st_mode & 0o077:
            hint = f"    hint: chmod 600 {path}; if others may have read it, delete it and the cache"
            raise HexpostError(f"{path}: others can read or change this key\n{hint}")
    if len(key) < KEY_BYTES:
        raise _refused(path, f"it has {len(key)} bytes, not {KEY_BYTES} or more")
    return key


def _make(path: Path) -> None:
    """Write a new key, whole or not at all, unless there is one by then."""
    try:
        path.parent.mkdir(parents=True, exist_ok=True, mode=0o700)
        handle, part = tempfile.mkstemp(dir=path.parent, prefix=f".{path.name}.")
        try:
            with os.fdopen(handle, "wb") as file:
                file.write(secrets.token_bytes(KEY_BYTES))
            with suppress(FileExistsError):
                os.link(part, path)
        finally:
            os.unlink(part)  # noqa: PTH108
    except OSError as error:
        raise _refused(path, error.strerror or str(error)) from None


def _refused(path: Path, why: str) -> HexpostError:
    """Return what is said of a key that cannot be used."""
    hint = "    hint: --cache-key FILE names another key, --no-cache does without a cache"
    return HexpostError(f"{path}: no key for the cache: {why}\n{hint}")
