"""What the manifest of a job says beside the hashes of its files, which the job folder adds."""

import platform
from collections.abc import Mapping
from dataclasses import dataclass

from hexpost.documents import seconds
from hexpost.machine.model import Machine
from hexpost.version import VERSION, installed, made_by

SCHEMA_VERSION = 1
"""Raised when a key changes its meaning or goes; new keys do not raise it."""

UNITS = {"length": "mm", "time": "s", "angle": "deg", "force": "N"}
"""Units of every file of the job, where a name does not say otherwise."""

_LIBRARIES = ("numpy", "scipy", "lark", "click")


@dataclass(frozen=True, slots=True, kw_only=True)
class JobFacts:
    """What is known of a finished job: whether it may be run, its inputs by role, its settings, its tables by name.

    ``inputs`` maps a role (``program``, ``machine``, ``tools``, ``setup``) to the file in the job folder.
    """

    runnable: bool
    inputs: Mapping[str, str]
    settings: Mapping[str, object]
    tables: Mapping[str, Mapping[str, object]]
    duration: float


def manifest(facts: JobFacts, machine: Machine) -> dict[str, object]:
    """Return the manifest without its file list; equal jobs on equal software have equal manifests (no clock in it)."""
    return {
        "schema_version": SCHEMA_VERSION,
        "job": "hexpost",
        "versions": _versions(parquet=facts.settings.get("table") == "parquet"),
        "made_by": made_by(),
        "runnable": facts.runnable,
        "demonstration": machine.demonstration,
        "machine": {"name": machine.name, "revision": machine.revision},
        "duration_s": seconds(facts.duration),
        "units": UNITS,
        "settings": dict(facts.settings),
        "inputs": dict(facts.inputs),
        "tables": {name: dict(told) for name, told in facts.tables.items()},
    }


def _versions(*, parquet: bool) -> dict[str, str]:
    """Return versions of everything that has a hand in the numbers (pyarrow only where it writes the table)."""
    names = (*_LIBRARIES, *(["pyarrow"] if parquet else []))
    return {"hexpost": VERSION, "python": platform.python_version(), **{name: installed(name) for name in names}}
