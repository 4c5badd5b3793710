"""The policy file of a library (``gate.toml``): which files and limits hold for which programs."""

import os
from collections.abc import Sequence
from dataclasses import dataclass, field
from pathlib import Path
from types import MappingProxyType

from hexpost.audit.model import Limit, Limits
from hexpost.errors import InputError, unknown
from hexpost.library.model import POLICY_LIMITS
from hexpost.library.patterns import fits
from hexpost.library.programs import SUFFIXES
from hexpost.library.settings import LEVELS, LimitRule, Settings, merged
from hexpost.machine.reading import parse, read_bytes
from hexpost.machine.table import Table
from hexpost.machine.tables import period
from hexpost.pipeline import ALL_LIMITS, Checking

UNITS = ("mm", "inch")
FEEDS = ("as-programmed", "strut-limited")
_PERCENT = 100.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Where:
    """Settings of the programs whose path fits one of the patterns."""

    patterns: tuple[str, ...]
    settings: Settings


@dataclass(frozen=True, slots=True, kw_only=True)
class Policy:
    """A policy: what holds for all programs, then for some; ``over`` (the command line) counts last.

    Patterns see paths from ``folder``, where the policy file is. ``checking``: what programs are checked for.
    """

    folder: Path = field(default_factory=Path.cwd)
    file: str | None = None
    programs: tuple[str, ...] = SUFFIXES
    everywhere: Settings = field(default_factory=Settings)
    where: tuple[Where, ...] = ()
    over: Settings = field(default_factory=Settings)
    checking: Checking = ALL_LIMITS
    _known: dict[tuple[int, ...], Settings] = field(default_factory=dict, compare=False)

    @property
    def limits(self) -> Limits:
        """Return what programs are judged by."""
        return self.checking.limits.and_more(*POLICY_LIMITS)

    def settings(self, name: str) -> Settings:
        """Return the settings of the program ``name`` (a path from the working directory)."""
        path = os.path.relpath(name, self.folder).replace(os.sep, "/") if self.where else name
        hits = tuple(i for i, w in enumerate(self.where) if any(fits(path, p) for p in w.patterns))
        if hits not in self._known:
            chosen = [self.where[i].settings for i in hits]
            self._known[hits] = merged([self.everywhere, *chosen, self.over])
        return self._known[hits]


def load_policy(path: str | Path, over: Settings, checking: Checking = ALL_LIMITS) -> Policy:
    """Return the policy of the file at ``path``; ``over`` counts before all that it says.

    ``checking``: what programs are checked for; its limits are keys of the file.

    Raises
    ------
    InputError
        With every fault of the file.
    """
    root = parse(read_bytes(path), str(path))
    folder = Path(path).parent
    programs = root.texts("programs", SUFFIXES)
    limits = checking.limits.and_more(*POLICY_LIMITS)
    everywhere = _settings(root.table("all", optional=True), folder, limits)
    where = tuple(_where(t, folder, limits) for t in (root.tables("where") if root.has("where") else ()))
    root.close()
    if root.faults:
        raise InputError(root.faults)
    return Policy(
        folder=folder, file=str(path), programs=programs, everywhere=everywhere, where=where, over=over,
        checking=checking,
    )  # fmt: skip


def _where(t: Table, folder: Path, limits: Limits) -> Where:
    """Return one ``[[where]]`` table."""
    patterns = t.texts("path")
    return Where(patterns=patterns, settings=_settings(t, folder, limits))


def _settings(t: Table, folder: Path, limits: Limits) -> Settings:
    """Return the settings of one table; files are meant from the folder of the policy."""
    files = {key: _inside(t, key, folder) for key in ("machine", "tools", "setup") if t.has(key)}
    settings = Settings(
        **files,
        feed=t.choice("feed", FEEDS, None) if t.has("feed") else None,
        period=period(t) if t.has("period_ms") else None,
        units=t.choice("units", UNITS, None) if t.has("units") else None,
        longest=_positive(t, "longest_cycle_s"),
        time_limit=_positive(t, "time_limit_s"),
        skip=t.flag("skip") if t.has("skip") else None,
        must_check=_must_check(t, limits) if t.has("must_check") else None,
        limits=MappingProxyType(_rules(t.table("limit", optional=True), limits)),
    )
    t.close()
    return settings


def _must_check(t: Table, limits: Limits) -> tuple[str, ...]:
    """Return the limits that must be looked at; others than those of the audit are refused."""
    names, known = t.texts("must_check"), [row.name for row in limits if row not in POLICY_LIMITS]
    for name in (x for x in names if x not in known):
        t.fault("must_check", f"lists an {unknown('limit', name[:80], known)}", "bad-value")
    return names


def _inside(t: Table, key: str, folder: Path) -> str:
    """Return the path of a file that a policy names; one that leaves the folder of the policy is refused."""
    given = t.text(key)
    name = given.replace("\\", "/")
    if name.startswith("/") or ".." in name.split("/") or ":" in name.split("/")[0]:
        t.fault(key, "leads out of the folder of the policy; name a file in it or below", "bad-value")
        return str(folder)
    return str(folder / given)


def _rules(t: Table, limits: Limits) -> dict[str, LimitRule]:
    """Return the rules of the limits that are named."""
    out = {limit.name: _rule(t.table(limit.name), limit, limits) for limit in limits if t.has(limit.name)}
    t.close()
    return out


def _rule(t: Table, limit: Limit, limits: Limits) -> LimitRule:
    """Return the rule of one limit."""
    level = t.choice("level", LEVELS, None) if t.has("level") else None
    keys = [key for key in ("fail_above_percent", "warn_above_percent") if t.has(key)]
    shares = {key.removesuffix("_percent"): t.positive(key, most=_PERCENT) / _PERCENT for key in keys}
    if keys and not limit.margin:
        names = ", ".join(row.name for row in limits if row.margin)
        t.fault(keys[0], f"is a margin, and {limit.name} has none; these have: {names}", "bad-value")
    t.close()
    return LimitRule(level=level, **shares)


def _positive(t: Table, key: str) -> float | None:
    """Return a number above zero, ``None`` where the key is missing."""
    return t.positive(key) if t.has(key) else None


def input_files(settings: Settings, *others: str | None) -> tuple[str, ...]:
    """Return the files that a program is judged with: its own and ``others``."""
    files: Sequence[str | None] = (settings.machine, settings.tools, settings.setup, *others)
    return tuple(f for f in files if f is not None)
