"""The folder itself: its manifest, and whether every file is the one that the manifest lists."""

import os
import stat
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from hexpost.errors import HexpostError
from hexpost.verify.model import Check, Faults
from hexpost.verify.plain import digest, document, entries

MANIFEST = "manifest.json"
KNOWN_VERSION = 1
_KEYS = {"files": dict, "inputs": dict, "tables": dict, "settings": dict, "runnable": bool}
_TABLE_KEYS = {"rows": int, "period_us": int, "columns": list}
INPUTS = ("program", "machine", "tools", "setup", "compared")
_MOST_ENTRIES = 10_000
"""Files of a folder that are looked at: a job has some hundred at most."""


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
        """Return the copy of an input by its role (one of ``INPUTS``), if there is one."""
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
    if not (path / MANIFEST).exists():
        raise HexpostError(
            f"{path}: holds no job: it has no {MANIFEST}\n    hint: name a folder that convert has written"
        )
    manifest = document(path / MANIFEST, "name a folder that convert has written")
    version = manifest.get("schema_version")
    if manifest.get("job") != "hexpost" or version != KNOWN_VERSION:
        raise HexpostError(f"{path / MANIFEST}: expected schema_version {KNOWN_VERSION} of a job, found {version!r}")
    _has(path, "", manifest, _KEYS)
    for name in (*manifest["files"], *manifest["tables"], *manifest["inputs"].values()):
        if not isinstance(name, str) or not _inside(name):
            raise HexpostError(f"{path / MANIFEST}: expected names of files in the folder, found {name!r:.50}")
    for name, told in manifest["files"].items():
        _has(path, f"files.{name}", told, {"bytes": int, "sha256": str})
    for name, told in manifest["tables"].items():
        _has(path, f"tables.{name}", told, _TABLE_KEYS)
    for role in manifest["inputs"]:
        if role not in INPUTS:
            raise HexpostError(f"{path / MANIFEST}: inputs: expected {', '.join(INPUTS)}, found {role!r:.50}")
    return Folder(path=path, manifest=manifest, report=document(path / "report.json", "it belongs to every job"))


def check_files(folder: Folder, known: Mapping[str, str]) -> Check:
    """Check that every file that the manifest lists is there, byte for byte, and no other.

    ``known`` are the SHA-256 of files that were read already, by name.
    """
    faults = Faults()
    listed: Mapping[str, Any] = folder.manifest["files"]
    total = 0
    for name, told in listed.items():
        try:
            found = known.get(name) or digest(folder.path / name, told["bytes"], folder.path)
            size = os.lstat(folder.path / name).st_size
        except (HexpostError, OSError):
            faults.add(f"{name}: missing (or no plain file)")
            continue
        total += size
        if size != told["bytes"]:
            faults.add(f"{name}: has {size:,} bytes, the manifest says {told['bytes']:,}")
        elif found != told["sha256"]:
            faults.add(f"{name}: its SHA-256 is not the one in the manifest: the file was changed")
    for name in (*folder.tables, *folder.manifest["inputs"].values()):
        if name not in listed:
            faults.add(f"{name}: the manifest names it, but lists no hash of it")
    own = {"events.csv", "segments.json", "report.json", "report.txt", "report.html"}
    known_names = own | set(folder.tables) | set(folder.manifest["inputs"].values())
    if stride := folder.manifest["settings"].get("stride"):
        known_names.add(f"reading-every-{stride}.csv")
    if "knots_within_um" in folder.manifest["settings"]:
        known_names.add("knots.csv")
    for name in sorted(set(listed) ^ known_names):
        faults.add(f"{name}: " + ("is no file of a job" if name in listed else "belongs to the job, is not listed"))
    _strangers(folder, faults)
    return Check(name="files", text=f"{len(listed)} files, {total:,} bytes, hashed", faults=faults.told())


def _strangers(folder: Folder, faults: Faults) -> None:
    """Find what lies in the folder and is not listed; folders must hold listed files."""
    listed = folder.manifest["files"]
    holders = {parent.as_posix() for name in listed for parent in Path(name).parents}
    for count, name in enumerate(entries(folder.path)):
        mode = os.lstat(folder.path / name).st_mode
        known = name in holders if stat.S_ISDIR(mode) else name in listed or name == MANIFEST
        if not known or not (stat.S_ISDIR(mode) or stat.S_ISREG(mode)):
            faults.add(f"{name}: does not belong to the job: the manifest does not list it")
        if count >= _MOST_ENTRIES:
            faults.add(f"more than {_MOST_ENTRIES:,} entries: this is not the folder of a job alone")
            return


def _has(path: Path, where: str, table: Any, keys: Mapping[str, type]) -> None:  # noqa: ANN401 - from a JSON file
    """Refuse a part of the manifest that lacks ``keys`` of these types; whole numbers may not be below 0."""
    for key, kind in keys.items():
        value = table.get(key) if isinstance(table, dict) else None
        if not isinstance(value, kind) or (kind is int and (value is True or value is False or int(str(value)) < 0)):
            name = f"{where}.{key}".lstrip(".")
            raise HexpostError(f"{path / MANIFEST}: {name}: expected {kind.__name__}, found {value!r:.50}")


def _inside(name: str) -> bool:
    parts = name.split("/")
    return "\\" not in name and all(p not in ("", ".", "..") for p in parts) and not Path(name).is_absolute()
