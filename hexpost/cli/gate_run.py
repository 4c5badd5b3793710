"""What ``hexpost gate`` does with its options: programs found, checked, judged; files written; exit code."""

import json
import re
import sys
from collections.abc import Iterator, Mapping
from contextlib import AbstractContextManager, contextmanager
from dataclasses import dataclass, fields, replace
from pathlib import Path
from typing import Any, Self

import click

from hexpost.cli.gate_text import changed_text, table
from hexpost.cli.outputs import write_all
from hexpost.cli.workers import engine_of
from hexpost.library import compare
from hexpost.library.baseline import Baseline, load_baseline, updated
from hexpost.library.cache import Cache, default_folder
from hexpost.library.document import to_json
from hexpost.library.gate import Progress, Shard, gate, judged, select
from hexpost.library.junit import to_junit
from hexpost.library.model import GateResult
from hexpost.library.page import to_page
from hexpost.library.policy import Policy, input_files, load_policy
from hexpost.library.programs import changed_only, find, listed
from hexpost.library.sarif import to_sarif
from hexpost.library.seal import own_key
from hexpost.library.settings import Settings
from hexpost.workers.engines import Engine

POLICY = "gate.toml"


@dataclass(frozen=True, slots=True, kw_only=True)
class Options:
    """The command line, as click hands it on."""

    paths: tuple[str, ...]
    machine: str | None
    tools: str | None
    setup: str | None
    feed: str | None
    units: str | None
    policy: str | None
    changed: bool
    shard: str | None
    against: str | None
    baseline: str | None
    update_baseline: bool
    sarif: str | None
    junit: str | None
    html: str | None
    cache: str | None
    no_cache: bool
    cache_key: str | None
    recheck: float
    jobs: int | None
    serial: bool
    cluster: str | None
    memory_mb: int | None
    as_json: bool

    @classmethod
    def of(cls, options: Mapping[str, Any]) -> Self:
        """Return the options, once they are known to go together."""
        out = cls(**{f.name: options[f.name] for f in fields(cls)})
        files = [o for o, given in (("--sarif", out.sarif), ("--junit", out.junit), ("--html", out.html)) if given]
        for wrong, text in (
            (out.update_baseline and not out.baseline, "--update-baseline needs --baseline FILE"),
            (out.against and (files or out.baseline), "--against goes with the table and --json only"),
            (out.changed and "-" in out.paths, "standard input is one list: give - or --changed"),
            (out.no_cache and out.cache, "give one of --cache and --no-cache"),
            (out.no_cache and out.cache_key, "give one of --cache-key and --no-cache"),
        ):
            if wrong:
                raise click.UsageError(text)
        return out


def main(o: Options) -> int:
    """Run the gate; return the exit code."""
    shard = _shard(o.shard)
    policy = _policy(o)
    names = select(_names(o, policy), shard)
    baseline = _baseline(o)
    cache = _cache(o)
    whole = not o.changed and shard is None
    with _engine(o) as engine, _progress(len(names)) as progress:
        result = gate(names, policy, engine, cache=cache, baseline=baseline, whole=whole, progress=progress)
        other = None
        if o.against:
            moved = compare.on_machine(policy, o.against)
            other = gate(names, moved, engine, cache=cache, progress=progress)
    if other is not None:
        return _compare(o, result, other)
    renewed = updated(baseline, result.cases, result.mended) if o.update_baseline and baseline is not None else b""
    if renewed and o.baseline and write_all((o.baseline, lambda: renewed)):
        found = {case.name: case.record for case in result.cases}
        again = judged(found, policy, load_baseline(Path(o.baseline)), skipped=result.skipped, whole=whole)
        result = replace(again, mended=result.mended)
    _write(o, result)
    click.echo(to_json(result) if o.as_json else table(result), nl=False)
    return result.exit_code


def _cache(o: Options) -> Cache | None:
    """Return where results are kept, sealed with a key that only their owner can read."""
    if o.no_cache:
        return None
    key = own_key(Path(o.cache_key) if o.cache_key else None)
    return Cache(Path(o.cache) if o.cache else default_folder(), key, recheck=o.recheck / 100.0)


def _policy(o: Options) -> Policy:
    """Return the policy, the command line on top of it."""
    over = Settings(machine=o.machine, tools=o.tools, setup=o.setup, feed=o.feed, units=o.units)
    if o.policy:
        return load_policy(o.policy, over)
    return load_policy(POLICY, over) if Path(POLICY).is_file() else Policy(over=over)


def _names(o: Options, policy: Policy) -> list[str]:
    """Return the programs that the command line means."""
    paths = [p for p in o.paths if p != "-"]
    if "-" in o.paths:
        paths += listed(sys.stdin.buffer.read())
    names = find(paths, policy.programs)
    if o.changed:
        inputs = {n: input_files(policy.settings(n), policy.file, o.baseline) for n in names}
        names = changed_only(names, listed(sys.stdin.buffer.read()), inputs)
    elif not names:
        raise click.UsageError("no program found; folders are searched for " + ", ".join(policy.programs))
    return names


def _shard(text: str | None) -> Shard | None:
    """Return the part of the library that is meant."""
    if text is None:
        return None
    found = re.fullmatch(r"(\d{1,6})/(\d{1,6})", text)
    if not found or not 1 <= int(found[1]) <= int(found[2]):
        raise click.BadParameter(
            f"{text} is no share; write I/N, for example 1/4, with I from 1 to N", param_hint="--shard"
        )
    return Shard(index=int(found[1]), count=int(found[2]))


def _baseline(o: Options) -> Baseline | None:
    """Return the baseline; one that is to be written may not be there yet."""
    if o.baseline is None:
        return None
    if o.update_baseline and not Path(o.baseline).exists():
        return Baseline(entries={})
    return load_baseline(Path(o.baseline))


def _engine(o: Options) -> AbstractContextManager[Engine]:
    """Return what runs the checks."""
    return engine_of(
        loads="hexpost.library.check", jobs=o.jobs, alone=o.serial, address=o.cluster, memory_mb=o.memory_mb
    )


@contextmanager
def _progress(total: int) -> Iterator[Progress | None]:
    """Count programs on standard error, and only on a terminal."""
    if total < 2 or not sys.stderr.isatty():
        yield None
        return

    def show(done: int) -> None:
        click.echo(f"\r{done:,} of {total:,} programs", err=True, nl=False)

    yield show
    click.echo("\r\x1b[K", err=True, nl=False)


def _write(o: Options, result: GateResult) -> None:
    """Write the files that were asked for, each whole or not at all."""
    write_all(
        (o.sarif, lambda: to_sarif(result).encode("utf-8", "replace")),
        (o.junit, lambda: to_junit(result).encode("utf-8", "replace")),
        (o.html, lambda: to_page(result, Path(o.html or "")).encode("utf-8", "replace")),
    )


def _compare(o: Options, before: GateResult, after: GateResult) -> int:
    """Show what another machine file changes."""
    found = compare.changes(before, after)
    against = str(o.against)
    if o.as_json:
        click.echo(json.dumps(compare.document(found, against), indent=1))
    else:
        click.echo(changed_text(found, against), nl=False)
    return compare.exit_code(found)
