"""What ``hexpost gate`` does with its options: programs found, checked, judged; files written; exit code."""

import re
import sys
from dataclasses import dataclass, replace
from datetime import date, datetime
from pathlib import Path

import click

from hexpost.cli.documents import tell
from hexpost.cli.gate_text import changed_text, failures, table
from hexpost.cli.library import LibraryOptions, policy_of, programs_of
from hexpost.cli.outputs import write_all
from hexpost.cli.progress import watched
from hexpost.cli.terminal import say
from hexpost.errors import Fault, InputError
from hexpost.library import compare
from hexpost.library.baseline import Acceptance, Baseline, load_baseline, updated
from hexpost.library.cache import Cache, default_folder
from hexpost.library.changed import Changed, bases, changed_only, read_list
from hexpost.library.document import to_json
from hexpost.library.gate import Shard, gate, judged, select
from hexpost.library.junit import to_junit
from hexpost.library.markdown import to_markdown
from hexpost.library.model import GateResult, Scope
from hexpost.library.page import to_page
from hexpost.library.policy import Policy, input_files
from hexpost.library.sarif import to_sarif
from hexpost.library.seal import own_key
from hexpost.library.settings import Settings
from hexpost.library.texts import MOST_NAMES
from hexpost.voice import plural

_STATUS = re.compile(r"[ A-Z?!]{1,3}\d*[ \t]")
"""How lists begin their lines that have more than names."""


@dataclass(frozen=True, slots=True, kw_only=True)
class GateOptions(LibraryOptions):
    """The command line of the gate."""

    feed: str | None
    root: str | None
    changed: bool
    allow_empty: bool
    shard: str | None
    against: str | None
    baseline: str | None
    update_baseline: bool
    reason: str
    expires: datetime | None
    sarif: str | None
    junit: str | None
    markdown: str | None
    cache: str | None
    no_cache: bool
    cache_key: str | None
    recheck: float

    def check(self) -> None:
        """Refuse options that do not go together."""
        files = [name for name in ("sarif", "junit", "html", "markdown") if getattr(self, name)]
        for wrong, text in (
            (self.update_baseline and not self.baseline, "--update-baseline needs --baseline FILE"),
            (self.reason and not self.update_baseline, "--reason goes with --update-baseline"),
            (self.expires and not self.update_baseline, "--expires goes with --update-baseline"),
            (self.expires and self.expires.date() < _today(), "--expires is a day that has passed"),
            (self.allow_empty and not self.changed, "--allow-empty goes with --changed"),
            (self.against and (files or self.baseline), "--against goes with the table and --json only"),
            (self.changed and "-" in self.paths, "standard input is one list: give - or --changed"),
            (self.no_cache and self.cache, "give one of --cache and --no-cache"),
            (self.no_cache and self.cache_key, "give one of --cache-key and --no-cache"),
        ):
            if wrong:
                raise click.UsageError(text)


def main(o: GateOptions) -> int:
    """Run the gate; return the exit code."""
    shard = _shard(o.shard)
    policy = _policy(o)
    names, scope = _names(o, policy)
    names = select(names, shard)
    baseline = _baseline(o)
    cache = _cache(o)
    whole = not o.changed and shard is None
    with o.engine("hexpost.library.check") as engine, watched("programs", len(names)) as progress:
        result = gate(
            names, policy, engine, cache=cache, baseline=baseline, whole=whole, scope=scope, progress=progress.reach
        )
        if o.against:
            moved = compare.on_machine(policy, o.against)
            other = gate(names, moved, engine, cache=cache, scope=scope, progress=progress.reach)
            return _compare(o, result, other, moved)
    if o.update_baseline and o.baseline and baseline is not None:
        said = Acceptance(reason=o.reason, expires=o.expires.date().isoformat() if o.expires else "")
        renewed = updated(baseline.renamed(result.renamed), result.cases, result.mended, said)
        if write_all((o.baseline, lambda: renewed)):
            found = {case.name: case.record for case in result.cases}
            accepted = load_baseline(Path(o.baseline))
            again = judged(found, policy, accepted, skipped=result.skipped, whole=whole, scope=scope)
            result = replace(again, mended=result.mended, renamed=result.renamed)
    _write(o, result)
    if o.as_json:
        click.echo(to_json(result), nl=False)
    else:
        say(table(result), quiet=failures(result))
    return result.exit_code


def _today() -> date:
    return date.today()  # noqa: DTZ011 - an entry expires where its people are


def _cache(o: GateOptions) -> Cache | None:
    """Return where results are kept, sealed with a key that only their owner can read."""
    if o.no_cache:
        return None
    key = own_key(Path(o.cache_key) if o.cache_key else None)
    return Cache(Path(o.cache) if o.cache else default_folder(), key, recheck=o.recheck / 100.0)


def _policy(o: GateOptions) -> Policy:
    """Return the policy, the command line on top of it."""
    over = Settings(machine=o.machine, tools=o.tools, setup=o.setup, feed=o.feed, units=o.units)
    return policy_of(o.policy, over, o.root)


def _names(o: GateOptions, policy: Policy) -> tuple[list[str], Scope]:
    """Return the programs that the command line means, and how they are related to the library."""
    paths, found = programs_of(o.paths, policy)
    names, unfit = list(found.names), policy.unfit(found.names)
    if unfit and policy.strict:
        raise InputError([Fault(file=policy.file or "", what=what, code="fits-nothing") for what in unfit])
    scope = Scope(
        programs=len(names),
        left=found.left,
        shard=o.shard or "",
        warnings=tuple(f"{policy.file}: {x}" for x in unfit),
        others=found.others,
    )
    if not names and not o.allow_empty:
        raise click.UsageError("no program found; folders are searched for " + ", ".join(policy.programs))
    if not o.changed:
        return names, scope
    inputs = {n: input_files(policy.settings(n), policy.file, o.baseline, o.against) for n in names}
    changed = changed_only(names, read_list(sys.stdin.buffer.read()), inputs, bases(paths))
    if len(changed.missing) == changed.entries and not o.allow_empty:
        raise InputError([_nothing(changed, len(names))])
    return list(changed.names), replace(
        scope, entries=changed.entries, elsewhere=changed.elsewhere, missing=changed.missing
    )


def _nothing(changed: Changed, programs: int) -> Fault:
    """Return the fault that no file of a list is there."""
    shown = ", ".join(changed.missing[:MOST_NAMES]) + (" ..." if len(changed.missing) > MOST_NAMES else "")
    what = f"no file of the list is there: {shown}" if changed.entries else "the list of changed files is empty"
    status = any(_STATUS.match(name) for name in changed.missing)
    hint = "give names alone, without a letter for what happened to each; " if status else ""
    hint += "paths count from the current folder or from the root of the repository; --allow-empty lets this pass"
    what = f"{what}. Checked 0 of {plural(programs, 'program')}"
    return Fault(file="standard input", what=what, code="nothing-changed", hint=hint)


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


def _baseline(o: GateOptions) -> Baseline | None:
    """Return the baseline; one that is to be written may not be there yet."""
    if o.baseline is None:
        return None
    if o.update_baseline and not Path(o.baseline).exists():
        return Baseline(entries={})
    return load_baseline(Path(o.baseline))


def _write(o: GateOptions, result: GateResult) -> None:
    """Write the files that were asked for, each whole or not at all."""
    write_all(
        (o.sarif, lambda: to_sarif(result).encode("utf-8", "replace")),
        (o.junit, lambda: to_junit(result).encode("utf-8", "replace")),
        (o.html, lambda: to_page(result, Path(o.html or "")).encode("utf-8", "replace")),
        (o.markdown, lambda: to_markdown(result).encode("utf-8", "replace")),
    )


def _compare(o: GateOptions, before: GateResult, after: GateResult, policy: Policy) -> int:
    """Show what another machine file changes."""
    found = compare.changes(before, after, policy)
    against = str(o.against)
    if o.as_json:
        tell(compare.document(found, against, after.meant.programs))
    else:
        text = changed_text(found, against, after)
        say(text, quiet=text if compare.exit_code(found) else "")
    return compare.exit_code(found)
