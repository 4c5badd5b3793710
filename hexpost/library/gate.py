"""The gate: programs in, cases out, in order of path whatever finishes first."""

import hashlib
import os
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date
from functools import partial
from pathlib import Path

from hexpost.audit.model import LIMITS, Limits
from hexpost.errors import Fault, HexpostError, InputError
from hexpost.library.baseline import Baseline
from hexpost.library.cache import Cache, key_of, task_key
from hexpost.library.check import check, input_file
from hexpost.library.judge import judge, mended
from hexpost.library.model import LOST, CheckTask, GateResult, InputFile, ProgramFault, Record, Scope
from hexpost.library.policy import Policy
from hexpost.library.records import from_bytes
from hexpost.library.settings import TIME_LIMIT_S, Settings
from hexpost.machine.load import load_machine, load_setup, load_tools
from hexpost.pipeline import ALL_LIMITS
from hexpost.workers.engines import Engine
from hexpost.workers.run import Lost, Runner

Check = Callable[[CheckTask], tuple[str, bytes]]
Progress = Callable[[int], None]


@dataclass(frozen=True, slots=True, kw_only=True)
class Shard:
    """One of ``count`` parts of a library, by a hash of the path; ``index`` counts from 1."""

    index: int
    count: int

    def has(self, name: str) -> bool:
        """Return whether the program belongs to this part."""
        return int(hashlib.sha256(os.fsencode(name)).hexdigest()[:15], 16) % self.count == self.index - 1


def gate(
    names: Sequence[str],
    policy: Policy,
    engine: Engine,
    *,
    cache: Cache | None = None,
    baseline: Baseline | None = None,
    whole: bool = True,
    scope: Scope | None = None,
    today: date | None = None,
    checker: Check | None = None,
    progress: Progress | None = None,
) -> GateResult:
    """Check the programs ``names`` and judge them; ``whole``: they are all that the library has, see ``scope``.

    Raises
    ------
    InputError
        With every fault of the machine, tools and setup files that the policy names, or where it contradicts itself.
    """
    names = sorted(set(names))
    skipped = tuple(n for n in names if policy.settings(n).skip)
    names = [n for n in names if not policy.settings(n).skip]
    tasks = make_tasks(names, policy)
    if policy.checking != ALL_LIMITS:  # what the cache holds was checked for all limits and no more
        cache, checker = None, checker or partial(check, checking=policy.checking)
    found = records(tasks, engine, cache, checker or check, progress, limits=policy.limits)
    named = dict(zip(names, found, strict=True))
    return judged(named, policy, baseline, skipped=skipped, whole=whole, scope=scope, today=today)


def judged(
    found: Mapping[str, Record],
    policy: Policy,
    baseline: Baseline | None,
    *,
    skipped: tuple[str, ...] = (),
    whole: bool = True,
    scope: Scope | None = None,
    today: date | None = None,
) -> GateResult:
    """Return the result for records by name; accepted findings follow programs that have new names."""
    day = today or date.today()  # noqa: DTZ011 - an entry expires where its people are
    renames = () if baseline is None else baseline.renames(found)
    baseline = None if baseline is None else baseline.renamed(renames)
    cases = tuple(judge(name, record, policy.settings(name), baseline, day) for name, record in found.items())
    fixed = () if baseline is None else mended(cases, baseline, whole=whole)
    return GateResult(
        cases=cases,
        mended=fixed,
        skipped=skipped,
        with_baseline=baseline is not None,
        limits=policy.limits,
        scope=scope,
        expiring=() if baseline is None else tuple(x for x in baseline.expiring(day) if x[0] not in fixed),
        renamed=renames,
        policy=policy.file or "",
        day="" if baseline is None else day.isoformat(),
    )


def make_tasks(names: Sequence[str], policy: Policy) -> list[CheckTask]:
    """Return the task of each program; every input file of the policy is read once, and must be understood.

    Raises
    ------
    InputError
        With every fault of every such file.
    """
    faults: list[Fault] = policy.faults(names)
    known: dict[tuple[str, str | None], InputFile | None] = {}

    def file(kind: str, path: str | None) -> InputFile | None:
        if (kind, path) not in known:
            known[kind, path] = None if path is None else _understood(kind, path, faults)
        return known[kind, path]

    def template(settings: Settings) -> CheckTask:
        return CheckTask(
            name="",
            path="",
            machine=file("machine", settings.machine),
            tools=file("tools", settings.tools),
            setup=file("setup", settings.setup),
            feed=settings.feed or "as-programmed",
            period=settings.period,
            margins=settings.margins,
            time_limit_s=settings.time_limit or TIME_LIMIT_S,
            units=settings.units,
            at_most=settings.at_most or (),
        )

    templates: dict[int, CheckTask] = {}
    out = []
    for name in names:
        settings = policy.settings(name)
        if id(settings) not in templates:
            templates[id(settings)] = template(settings)
        out.append(replace(templates[id(settings)], name=name, path=os.path.abspath(name)))  # noqa: PTH100
    if faults:
        raise InputError(faults)
    return out


def _understood(kind: str, path: str, faults: list[Fault]) -> InputFile | None:
    """Return an input file that was loaded once to see that it can be; its faults are noted."""
    try:
        {"machine": load_machine, "tools": load_tools, "setup": load_setup}[kind](path)
        return input_file(path)
    except InputError as error:
        faults.extend(error.faults)
        return None


def records(
    tasks: Sequence[CheckTask],
    engine: Engine,
    cache: Cache | None,
    checker: Check = check,
    progress: Progress | None = None,
    *,
    limits: Limits = LIMITS,
) -> list[Record]:
    """Return the record of each task: from the cache, or checked and then kept there.

    Raises
    ------
    HexpostError
        A record of the cache, computed again, came out another.
    """
    kept: dict[int, tuple[str, Record]] = {}
    out: list[Record | None] = [None] * len(tasks)
    commons = _commons(tasks) if cache else []
    if cache:
        for i, task in enumerate(tasks):
            digest = _digest(task.path)
            out[i] = found = cache.get(key_of(commons[i], digest), limits) if digest else None
            if found is not None and cache.doubts():
                kept[i], out[i] = (str(digest), found), None
    other: list[str] = []
    left = [i for i, record in enumerate(out) if record is None]
    done = len(tasks) - len(left)
    with Runner(engine) as runner:
        for k, result in runner.run([tasks[i] for i in left], checker):
            i = left[k]
            done += 1
            if progress is not None:
                progress(done)
            if isinstance(result, Lost):
                out[i] = kept[i][1] if i in kept else _lost(result)
                continue
            digest, text = result
            record = out[i] = from_bytes(text, limits)
            if i in kept and kept[i][0] == digest:
                out[i] = record if record.lasting else kept[i][1]
                other += [tasks[i].name] * (out[i] != kept[i][1])
            elif cache and digest and record.lasting:
                cache.put(key_of(commons[i], digest), text)
    if cache and other:
        raise _false(cache, sorted(other))
    return [record for record in out if record is not None]


def _false(cache: Cache, names: Sequence[str]) -> HexpostError:
    """Return what is said of a cache that holds what is not so."""
    shown = ", ".join(names[:5]) + (f" and {len(names) - 5:,} more" if len(names) > 5 else "")
    hint = "    hint: trust nothing from it: delete the folder and its key, then run again"
    return HexpostError(f"{cache.folder}: kept results differ from those computed again: {shown}\n{hint}")


def _commons(tasks: Sequence[CheckTask]) -> list[str]:
    """Return the common part of each task's key; tasks of the same settings share it."""
    known: dict[tuple[object, ...], str] = {}
    out = []
    for t in tasks:
        said = (t.machine, t.tools, t.setup, t.feed, t.period, t.margins)
        if said not in known:
            known[said] = task_key(t)
        out.append(known[said])
    return out


def _digest(path: str) -> str | None:
    """Return the SHA-256 of a regular file, ``None`` if it cannot be had."""
    try:
        if not Path(path).is_file():
            return None
        with open(path, "rb") as file:  # noqa: PTH123 - cached runs do little else
            return hashlib.file_digest(file, "sha256").hexdigest()
    except OSError:
        return None


def _lost(lost: Lost) -> Record:
    """Return the record of a program whose worker died."""
    what = "the worker died over this program: killed, out of memory, or beyond its time"
    return Record(mistakes=(ProgramFault(code=LOST, what=f"{what} ({lost.why})"),), mistakes_total=1, lasting=False)


def select(names: Sequence[str], shard: Shard | None) -> list[str]:
    """Return the programs of a shard, all of them without one."""
    return [n for n in names if shard is None or shard.has(n)]
