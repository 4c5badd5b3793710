"""The version of the package, and a digest of its code: what made a result can be proven, and told apart.

Nothing else is imported with it: ``import hexpost`` runs before an interruption can be met, and takes no time.
"""

import os
import sys
import time

VERSION = "0.1.0"

_LOADED = time.time()
"""When this process began to load the package: files that changed later are not what it runs.

A file that is newer than the clock says nothing: the clock is behind.
"""
_CODE = (".py", ".toml", ".lark", ".css", ".js")
_known: list[str] = []


def code_digest() -> str:
    """Return a hash of the version, this package's files, Python, numpy and scipy: other code, other results."""
    if not _known:
        _known.append(digest_of_files())
    return _known[0]


def digest_of_files() -> str:
    """Return the hash of the files as they are now."""
    import hashlib
    import platform
    from pathlib import Path

    others = platform.python_version(), installed("numpy"), installed("scipy")
    total = hashlib.sha256(" ".join((VERSION, *others)).encode())
    root = Path(__file__).parent
    grammars = root / "grammars" if (root / "grammars").is_dir() else root.parent / "grammars"
    for folder in (str(root), str(grammars)):
        for name in code_files(folder):
            path = Path(folder, name)
            total.update(f"{name}\n".encode() + path.read_bytes())
            changed = path.stat().st_ctime
            if _LOADED < changed <= time.time():
                total.update(f"changed while process {_LOADED} ran".encode())
    return total.hexdigest()


def code_files(folder: str) -> list[str]:
    """Return the files of code in a folder and below, in their order, with ``/`` between folders."""
    found, left = [], [""]
    while left:
        inner = left.pop()
        with os.scandir(f"{folder}/{inner}") as entries:
            for entry in entries:
                if entry.name.endswith(_CODE) and entry.is_file():
                    found.append(inner + entry.name)
                elif entry.name != "__pycache__" and entry.is_dir():
                    left.append(f"{inner}{entry.name}/")
    return sorted(found)


def installed(name: str) -> str:
    """Return the version of an installed distribution, ``unknown`` where there is none.

    It is in the name of the folder of its metadata (PEP 376); the standard library, which is asked where there is no
    such folder, loads the parser of mails for it.
    """
    from pathlib import Path

    for place in sys.path:
        for found in sorted(Path(place).glob(f"{name}-*.dist-info")):
            return found.stem.removeprefix(f"{name}-")
    from importlib.metadata import PackageNotFoundError, version

    try:
        return version(name)
    except PackageNotFoundError:
        return "unknown"


def made_by() -> str:
    """Return a hash of code and processor instructions: where it is the same, the same inputs make the same bytes."""
    import hashlib

    import numpy as np

    found = np.show_config(mode="dicts")["SIMD Extensions"].get("found", [])
    return hashlib.sha256(" ".join((code_digest(), *sorted(found))).encode()).hexdigest()


def identity() -> str:
    """Return the version and the digest of the code: what a worker proves before its results count."""
    return f"hexpost {VERSION}, code {code_digest()}"
