"""The programs and the policy that a command line means, for every command that takes a library."""

import sys
from collections.abc import Mapping, Sequence
from contextlib import AbstractContextManager
from dataclasses import dataclass, fields
from pathlib import Path
from typing import Any, Self

from hexpost.cli.workers import engine_of
from hexpost.library.changed import read_list
from hexpost.library.policy import Policy, load_policy
from hexpost.library.programs import Found, find
from hexpost.library.settings import Settings
from hexpost.tables.ours import listed
from hexpost.workers.engines import Engine

POLICY = "gate.toml"


@dataclass(frozen=True, slots=True, kw_only=True)
class LibraryOptions:
    """What the command line of every command that takes a library holds, as click hands it on."""

    paths: tuple[str, ...]
    machine: str | None
    tools: str | None
    setup: str | None
    units: str | None
    policy: str | None
    html: str | None
    jobs: int | None
    serial: bool
    cluster: str | None
    memory_mb: int | None
    as_json: bool

    @classmethod
    def of(cls, options: Mapping[str, Any]) -> Self:
        """Return the options, once they are known to go together."""
        out = cls(**{f.name: options[f.name] for f in fields(cls)})
        out.check()
        return out

    def check(self) -> None:
        """Refuse options that do not go together."""

    def engine(self, loads: str) -> AbstractContextManager[Engine]:
        """Return what runs the work, in which every process ``loads`` a module first."""
        return engine_of(loads=loads, jobs=self.jobs, alone=self.serial, address=self.cluster, memory_mb=self.memory_mb)


def policy_of(file: str | None, over: Settings, root: str | None = None) -> Policy:
    """Return the policy in ``file``, by default that of the working directory, with ``over`` on top of it."""
    if file or Path(POLICY).is_file():
        return load_policy(file or POLICY, over, root=root)
    return Policy(over=over)


def programs_of(paths: Sequence[str], policy: Policy) -> tuple[list[str], Found]:
    """Return the paths that are meant, with those of standard input for ``-``, and the programs under them."""
    given = [p for p in paths if p != "-"]
    if "-" in paths:
        given += read_list(sys.stdin.buffer.read())
    return given, find(given, policy.programs, lambda folder: listed(folder) is not None)
