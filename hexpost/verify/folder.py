"""The folder itself: its manifest, and whether every file is the one that the manifest lists."""

import hashlib
import json
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from hexpost.errors import HexpostError
from hexpost.verify.model import Check, Faults

MANIFEST = "manifest.json"
KNOWN_VERSION = 1
_PIECE = 1 << 20
_MOST_BYTES = 1 << 28
_KEYS = {"files": dict, "inputs": dict, "tables": dict, "settings": dict, "runnable": bool}


@dataclass(frozen=True, slots=True, kw_only=True)
class Folder:
    """A job folder with what its manifest and its report say."""

    path: Path
    manifest: Mapping[str, Any]
    report: Mapping[str, Any]

    @property
    def tables(self) -> Mapping[str, Mapping[str, Any]]:
        """Return the setpoint tables: what the manifest says of each, by name, in the order of time."""
        told: Mapping[str, Mapping[str, Any]] = self.manifest["tables"]
        return told

    def input(self, role: str) -> Path | None:
        """Return the copy of an input (``program``, ``machine``, ``tools``, ``setup``), if there is one."""
        name = self.manifest["inputs"].get(role)
        return None if name is None else self.path / name


def open_folder(path: Path) -> Folder:
    """Return the folder of a job.

    Raises
    ------
    HexpostError
        It is no folder with a manifest and a report that can be read.
    """
    if not path.is_dir():
        raise HexpostError(f"{path}: expected the folder of a job, found no folder")
    manifest = _document(path / MANIFEST, "a folder without a manifest is not a job: it may be unfinished")
    version = manifest.get("schema_version")
    if manifest.get("job") != "hexpost" or version != KNOWN_VERSION:
        raise HexpostError(f"{path / MANIFEST}: expected schema_version {KNOWN_VERSION} of a job, found {version!r}")
    for key, kind in _KEYS.items():
        if not isinstance(manifest.get(key), kind):
            raise HexpostError(f"{path / MANIFEST}: {key}: expected {kind.__name__}, found {manifest.get(key)!r:.50}")
    names = [*manifest["files"], *manifest["tables"], *manifest["inputs"].values()]
    for name in names:
        if not isinstance(name, str) or not _inside(name):
            raise HexpostError(f"{path / MANIFEST}: expected names of files in the folder, found {name!r:.50}")
    return Folder(path=path, manifest=manifest, report=_document(path / "report.json", "it belongs to every job"))


def check_files(folder: Folder) -> Check:
    """Check that every file that the manifest lists is there, byte for byte, and no other."""
    faults = Faults()
    listed: Mapping[str, Any] = folder.manifest["files"]
    total = 0
    for name, told in listed.items():
        file = folder.path / name
        if not file.is_file() or file.is_symlink():
            faults.add(f"{name}: missing (or no plain file)")
            continue
        size, digest = _digest(file)
        total += size
        if size != told.get("bytes"):
            faults.add(f"{name}: has {size:,} bytes, the manifest says {told.get('bytes')}")
        elif digest != told.get("sha256"):
            faults.add(f"{name}: its SHA-256 is not the one in the manifest: the file was changed")
    for name in (*folder.tables, *folder.manifest["inputs"].values()):
        if name not in listed:
            faults.add(f"{name}: the manifest names it, but lists no hash of it")
    for file in sorted(folder.path.rglob("*")):
        name = file.relative_to(folder.path).as_posix()
        if name not in listed and name != MANIFEST and not (name == "inputs" and file.is_dir()):
            faults.add(f"{name}: does not belong to the job: the manifest does not list it")
    return Check(name="files", text=f"{len(listed)} files, {total:,} bytes, hashed", faults=faults.told())


def _document(path: Path, hint: str) -> dict[str, Any]:
    try:
        if path.stat().st_size > _MOST_BYTES:
            raise HexpostError(f"{path}: expected a document, found {path.stat().st_size:,} bytes")
        found = json.loads(path.read_bytes())
    except OSError as error:
        raise HexpostError(f"{path}: cannot be read: {error.strerror or error}\n    hint: {hint}") from error
    except (ValueError, RecursionError) as error:
        raise HexpostError(f"{path}: expected JSON, found something else\n    hint: {hint}") from error
    if not isinstance(found, dict):
        raise HexpostError(f"{path}: expected a JSON object, found {type(found).__name__}")
    return found


def _inside(name: str) -> bool:
    parts = name.split("/")
    return "\\" not in name and all(p not in ("", ".", "..") for p in parts) and not Path(name).is_absolute()


def _digest(file: Path) -> tuple[int, str]:
    total, size = hashlib.sha256(), 0
    with file.open("rb") as stream:
        while piece := stream.read(_PIECE):
            total.update(piece)
            size += len(piece)
    return size, total.hexdigest()
