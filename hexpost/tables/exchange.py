"""Exchange two folders in one step where the system can, and claim a folder for one process."""

import os
from contextlib import suppress
from pathlib import Path

from hexpost.errors import OutputError

try:
    import fcntl
except ImportError:  # no such locks on this system
    fcntl = None  # type: ignore[assignment]

_HERE = -100  # AT_FDCWD, <fcntl.h> of Linux
_EXCHANGE = 2  # RENAME_EXCHANGE, renameat2(2)


def exchange(one: Path, other: Path) -> bool:
    """Exchange two folders by renameat2(2): at every moment both names are there. Return whether that was possible.

    Not every system and file system can; nothing has changed then.
    """
    import ctypes

    rename = getattr(ctypes.CDLL(None), "renameat2", None) if os.name == "posix" else None
    return rename is not None and rename(_HERE, os.fsencode(one), _HERE, os.fsencode(other), _EXCHANGE) == 0


class Claim:
    """The right to write in a folder, held by one process at a time and gone with it, however it ends.

    Raises
    ------
    OutputError
        Another process holds it, or the folder was exchanged in the meantime. A file system without such locks gives
        the right to everybody.
    """

    def __init__(self, folder: Path) -> None:
        self._descriptor: int | None = None
        if fcntl is None:
            return
        self._descriptor = os.open(folder, os.O_RDONLY)
        try:
            same = _locked(self._descriptor) and os.path.samestat(folder.stat(), os.fstat(self._descriptor))
        except BaseException:
            self.close()
            raise
        if not same:
            self.close()
            raise OutputError(
                f"{folder}: another run is at work here\n    hint: wait for it, or choose another folder with --out"
            )

    def close(self) -> None:
        """Give the right back."""
        if self._descriptor is not None:
            with suppress(OSError):
                os.close(self._descriptor)
            self._descriptor = None


def _locked(descriptor: int) -> bool:
    """Lock without waiting; return whether nobody else holds the lock."""
    try:
        fcntl.flock(descriptor, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except BlockingIOError:
        return False
    except OSError:  # there are no locks here
        return True
    return True
