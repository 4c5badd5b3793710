"""The programs and the policy that a command line means, for every command that takes a library."""

import sys
from collections.abc import Sequence
from pathlib import Path

from hexpost.library.changed import read_list
from hexpost.library.policy import Policy, load_policy
from hexpost.library.programs import Found, find
from hexpost.library.settings import Settings
from hexpost.tables.ours import listed

POLICY = "gate.toml"


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
