"""The policy file of a library (``gate.toml``): which files and limits hold for which programs."""

import os
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from itertools import chain
from pathlib import Path
from types import MappingProxyType

from hexpost.audit.model import Limit, Limits
from hexpost.errors import Fault, HexpostError, InputError, unknown
from hexpost.library.model import GATE_LIMITS, POLICY_LIMITS
from hexpost.library.patterns import fits
from hexpost.library.programs import SUFFIXES
from hexpost.library.settings import LEVELS, LimitRule, Settings, merged
from hexpost.machine.feed_caps import FeedCap, feed_caps
from hexpost.machine.reading import parse, read_bytes
from hexpost.machine.table import Table
from hexpost.machine.tables import period
from hexpost.pipeline import ALL_LIMITS, Checking

UNITS = ("mm", "inch")
FEEDS = ("as-programmed", "strut-limited")
FILES = ("machine", "tools", "setup")
MARGINS = ("fail_above_percent", "warn_above_percent")
_PLACES = {
    **{key: f"all.limit.NAME.{key}" for key in (*MARGINS, "level")},
    **{key: key for key in ("programs", "strict", "where.path")},
    **{
        key: f"all.{key}"
        for key in (*FILES, "feed", "period_ms", "units", "longest_cycle_s", "time_limit_s", "skip", "at_most",
                    "must_check", "machine_required", "limit")
    },
}  # fmt: skip
"""Where each key belongs, for whoever writes it into another table."""
_PERCENT = 100.0
MOST_FILES = 200_000
"""So many files in the folder of a policy are looked at to see what fits a pattern."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Where:
    """Settings of the programs whose path fits one of the patterns; ``key`` is the path of the table."""

    key: str
    patterns: tuple[str, ...]
    settings: Settings


@dataclass(frozen=True, slots=True, kw_only=True)
class Policy:
    """A policy: what holds for all programs, then for some; ``over`` (the command line) counts last.

    Patterns see paths from ``folder``, where the policy file is. ``checking``: what programs are checked for;
    ``strict``: a pattern that fits no program is a fault.
    """

    folder: Path = field(default_factory=Path.cwd)
    file: str | None = None
    programs: tuple[str, ...] = SUFFIXES
    strict: bool = False
    everywhere: Settings = field(default_factory=Settings)
    where: tuple[Where, ...] = ()
    over: Settings = field(default_factory=Settings)
    checking: Checking = ALL_LIMITS
    _known: dict[tuple[int, ...], Settings] = field(default_factory=dict, compare=False)

    @property
    def limits(self) -> Limits:
        """Return what programs are judged by."""
        return self.checking.limits.and_more(*GATE_LIMITS)

    def settings(self, name: str) -> Settings:
        """Return the settings of the program ``name`` (a path from the working directory)."""
        path = self._seen(name) if self.where else name
        hits = tuple(i for i, w in enumerate(self.where) if any(fits(path, p) for p in w.patterns))
        if hits not in self._known:
            chosen = [self.where[i].settings for i in hits]
            self._known[hits] = merged([self.everywhere, *chosen, self.over])
        return self._known[hits]

    def faults(self, names: Iterable[str]) -> list[Fault]:
        """Return where tables of the policy contradict each other about a program of the library."""
        out: dict[int, Fault] = {}
        for name in names:
            settings = self.settings(name)
            for limit in () if id(settings) in out else settings.contradictions:
                rule = settings.rule(limit)
                says = f"fails above {100 * rule.fails_above:g} % and warns above {100 * (rule.warn_above or 0):g} %"
                what = f"for {name} the tables add up to a limit.{limit} that {says}; say both in one table"
                out[id(settings)] = Fault(file=self.file or "", what=what, code="contradiction")
        return list(out.values())

    def unfit(self, names: Iterable[str]) -> list[str]:
        """Return a sentence for each pattern that fits no program: neither of ``names`` nor in the policy's folder."""
        left = {(w.key, i + 1): p for w in self.where for i, p in enumerate(w.patterns)}
        for path in chain((self._seen(name) for name in names), self._files()):
            if not left:
                break
            left = {key: p for key, p in left.items() if not fits(path, p)}
        return [f"{key}.path[{i}] fits no program: {p}" for (key, i), p in left.items()]

    def _seen(self, name: str) -> str:
        return os.path.relpath(name, self.folder).replace(os.sep, "/")

    def _files(self) -> Iterator[str]:
        """Yield the programs in the folder of the policy; of a large folder not all."""
        seen = 0
        for root, folders, files in os.walk(self.folder):
            folders[:] = [f for f in folders if not f.startswith(".")]
            seen += len(files)
            if seen > MOST_FILES:
                return
            paths = (self._seen(os.path.join(root, file)) for file in files)  # noqa: PTH118 - os.walk speaks strings
            yield from (path for path in paths if any(fits(path.lower(), kind.lower()) for kind in self.programs))


def load_policy(
    path: str | Path, over: Settings, checking: Checking = ALL_LIMITS, *, root: str | Path | None = None
) -> Policy:
    """Return the policy of the file at ``path``; ``over`` counts before all that it says.

    ``checking``: what programs are checked for; its limits are keys of the file. The files that it names lie in the
    folder ``root`` or below, by default its own.

    Raises
    ------
    InputError
        With every fault of the file.
    """
    top = parse(read_bytes(path), str(path))
    folder = Path(path).parent
    reader = _Reader(folder, folder if root is None else Path(root), checking.limits.and_more(*POLICY_LIMITS))
    programs = top.texts("programs", SUFFIXES)
    strict = top.flag("strict")
    everywhere = reader.settings(top.table("all", optional=True))
    where = tuple(reader.where(t) for t in (top.tables("where") if top.has("where") else ()))
    top.close(reader.places)
    if top.faults:
        raise InputError(top.faults)
    return Policy(
        folder=folder, file=str(path), programs=programs, strict=strict, everywhere=everywhere, where=where, over=over,
        checking=checking,
    )  # fmt: skip


class _Reader:
    """Reads the tables of a policy: files are meant from its folder, and lie below ``root``."""

    def __init__(self, folder: Path, root: Path, limits: Limits) -> None:
        self.folder, self.root, self.limits = folder, Path(os.path.realpath(root)), limits
        self.places = {**{limit.name: f"all.limit.{limit.name}" for limit in limits}, **_PLACES}

    def where(self, t: Table) -> Where:
        """Return one ``[[where]]`` table."""
        return Where(key=t.path, patterns=t.texts("path"), settings=self.settings(t))

    def settings(self, t: Table) -> Settings:
        """Return the settings of one table."""
        files = {key: self._file(t, key) for key in FILES if t.has(key)}
        settings = Settings(
            **files,
            feed=t.choice("feed", FEEDS, None) if t.has("feed") else None,
            period=period(t) if t.has("period_ms") else None,
            units=t.choice("units", UNITS, None) if t.has("units") else None,
            longest=_positive(t, "longest_cycle_s"),
            time_limit=_positive(t, "time_limit_s"),
            skip=_flag(t, "skip"),
            at_most=_feed_caps(t) if t.has("at_most") else None,
            must_check=self._must_check(t) if t.has("must_check") else None,
            machine_required=_flag(t, "machine_required"),
            limits=MappingProxyType(self._rules(t.table("limit", optional=True))),
        )
        for name in settings.must_check or ():
            if settings.rule(name).level == "ignore":
                t.fault("must_check", f"lists {name}, and limit.{name} ignores it; take one out", "contradiction")
        t.close(self.places)
        return settings

    def _must_check(self, t: Table) -> tuple[str, ...]:
        """Return the limits that must be looked at; others than those of the audit are refused."""
        names, known = t.texts("must_check"), [row.name for row in self.limits if row not in POLICY_LIMITS]
        for name in (x for x in names if x not in known):
            t.fault("must_check", f"lists an {unknown('limit', name[:80], known)}", "bad-value")
        return names

    def _file(self, t: Table, key: str) -> str:
        """Return the path of a file that a policy names; one outside of the root is refused, by whatever link."""
        given = t.text(key)
        name = given.replace("\\", "/")
        path = self.folder / given
        foreign = name != given and (".." in name.split("/") or name.startswith("/"))  # as other systems write it
        if foreign or ":" in name.split("/")[0] or not Path(os.path.realpath(path)).is_relative_to(self.root):
            says = "leads out of the folder of the policy; name a file in it or below, or allow another with --root DIR"
            t.fault(key, says, "bad-value")
        return str(path)

    def _rules(self, t: Table) -> dict[str, LimitRule]:
        """Return the rules of the limits that are named."""
        out = {limit.name: self._rule(t.table(limit.name), limit) for limit in self.limits if t.has(limit.name)}
        t.close(self.places)
        return out

    def _rule(self, t: Table, limit: Limit) -> LimitRule:
        """Return the rule of one limit."""
        level = t.choice("level", LEVELS, None) if t.has("level") else None
        keys = [key for key in MARGINS if t.has(key)]
        shares = {key.removesuffix("_percent"): t.positive(key, most=_PERCENT) / _PERCENT for key in keys}
        if keys and not limit.margin:
            names = ", ".join(row.name for row in self.limits if row.margin)
            t.fault(keys[0], f"is a margin, and {limit.name} has none; these have: {names}", "bad-value")
        if keys and (level == "ignore" or (level == "warn" and keys[0] == MARGINS[0])):
            t.fault(keys[0], f'has no effect beside level = "{level}"; take one out', "contradiction")
        fail, warn = (shares.get(key.removesuffix("_percent"), 1.0) for key in MARGINS)
        if len(keys) == 2 and fail < warn:
            says = f"is {fail * _PERCENT:g}, below warn_above_percent ({warn * _PERCENT:g}): it would never warn; "
            t.fault(keys[0], f"{says}make it the larger one", "contradiction")
        t.close(self.places)
        return LimitRule(level=level, **shares)


def _feed_caps(t: Table) -> tuple[FeedCap, ...]:
    """Return the feeds that are not to be passed in some lines."""
    try:
        return feed_caps(t.texts("at_most"))
    except HexpostError as error:
        t.fault("at_most", f"holds {error}", "bad-value")
        return ()


def _flag(t: Table, key: str) -> bool | None:
    """Return true or false, ``None`` where the key is missing."""
    return t.flag(key) if t.has(key) else None


def _positive(t: Table, key: str) -> float | None:
    """Return a number above zero, ``None`` where the key is missing."""
    return t.positive(key) if t.has(key) else None


def input_files(settings: Settings, *others: str | None) -> tuple[str, ...]:
    """Return the files that a program is judged with: its own and ``others``."""
    files: Sequence[str | None] = (settings.machine, settings.tools, settings.setup, *others)
    return tuple(f for f in files if f is not None)
