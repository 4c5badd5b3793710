"""The version of the package, and a digest of its code: what made a result can be proven, and told apart.

Nothing else is imported with it: ``import hexpost`` runs before an interruption can be met, and takes no time.
"""

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
    from importlib.metadata import version
    from pathlib import Path

    others = platform.python_version(), version("numpy"), version("scipy")
    total = hashlib.sha256(" ".join((VERSION, *others)).encode())
    root = Path(__file__).parent
    grammars = root / "grammars" if (root / "grammars").is_dir() else root.parent / "grammars"
    for folder in (root, grammars):
        for path in sorted(p for p in folder.rglob("*") if p.suffix in _CODE and p.is_file()):
            total.update(f"{path.relative_to(folder)}\n".encode() + path.read_bytes())
            if _LOADED < path.stat().st_ctime <= time.time():
                total.update(f"changed while process {_LOADED} ran".encode())
    return total.hexdigest()


def made_by() -> str:
    """Return a hash of code and processor instructions: where it is the same, the same inputs make the same bytes."""
    import hashlib

    import numpy as np

    found = np.show_config(mode="dicts")["SIMD Extensions"].get("found", [])
    return hashlib.sha256(" ".join((code_digest(), *sorted(found))).encode()).hexdigest()


def identity() -> str:
    """Return the version and the digest of the code: what a worker proves before its results count."""
    return f"hexpost {VERSION}, code {code_digest()}"
