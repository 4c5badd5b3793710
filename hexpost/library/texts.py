"""What the gate says of findings and mistakes, in one sentence each."""

from collections import Counter
from collections.abc import Iterator, Mapping, Sequence

from hexpost.library.model import Case, Entry, GateResult, Judged, Left, ProgramFault, Scope
from hexpost.version import VERSION
from hexpost.voice import advice, clean, not_looked_at, plural, what

MOST_NAMES = 20
"""So many names are listed in a sentence; the rest are counted."""
MOST_ENDINGS = 6
"""So many endings of files that are passed over are named."""

STATES = {
    "new": "",
    "worse": "worse than accepted",
    "expired": "no longer accepted",
    "accepted": "accepted",
    "warning": "warning",
}


def judged_sentence(j: Judged) -> str:
    """Return the finding, what to do, and what policy and baseline say of it."""
    f = j.found
    also = f"; {f.blocks} blocks break this limit, this one most" if f.blocks > 1 else ""
    state = ": ".join(x for x in (STATES[j.state], j.reason if j.reason != STATES[j.state] else "") if x)
    return f"{what(f)}{also}. {advice(f)}".rstrip() + (f" [{state}]" if state else "")


def mistake_sentence(m: ProgramFault) -> str:
    """Return what is wrong, where if it is not the program itself, and the hint."""
    where = f"{m.file}: " if m.file else ""
    hint = f" Hint: {m.hint}" if m.hint else ""
    return f"{where}{m.what}{'' if m.what.endswith('.') else '.'}{hint}"


def unseen_rows(result: GateResult) -> list[str]:
    """Return what was not looked at, a sentence for all programs that are alike in this."""
    alike = Counter(case.record.unseen for case in result.cases if case.record.unseen)
    every = {len(result.cases) - result.count("error")} == set(alike.values())
    return [
        not_looked_at(unseen) if every else f"{plural(count, 'program')}: {not_looked_at(unseen)}"
        for unseen, count in alike.items()
    ]


def summary(result: GateResult) -> str:
    """Return how many programs of how many were checked, and with what result: the last line of every output."""
    passed, failed, errors = result.count("pass"), result.count("fail"), result.count("error")
    return f"{checked(result)}: {passed:,} pass, {failed:,} fail, {errors:,} not understood."


def checked(result: GateResult) -> str:
    """Return how many programs of how many were checked."""
    return f"Checked {len(result.cases):,} of {plural(result.meant.programs, 'program')}"


def counts(result: GateResult) -> dict[str, int]:
    """Return the numbers that every output has."""
    states = Counter("failing" if j.fails else j.state for case in result.cases for j in case.findings)
    return {
        "programs": result.meant.programs,
        "checked": len(result.cases),
        "passed": result.count("pass"),
        "failed": result.count("fail"),
        "errors": result.count("error"),
        "findings_failing": states["failing"],
        "findings_accepted": states["accepted"],
        "findings_warning": states["warning"],
        "faults": sum(case.record.mistakes_total for case in result.cases),
    }


def notes(result: GateResult) -> list[str]:
    """Return what else is to be said: what was not checked and why, what the baseline and the policy say."""
    m, out = result.meant, [f"Warning: {warning}." for warning in result.meant.warnings]
    if m.entries is not None:
        out.append(f"{_entries(m)} in the list of changed files: {m.elsewhere:,} of them concern no program.")
    if m.missing:
        out.append(f"In the list, and not there (deleted?): {_some(m.missing)}.")
    for why, names in _by_reason(m.left).items():
        out.append(f"Not checked ({why}): {_some(names)}.")
    others = passed_over(m.others)
    out += [f"{others[0].upper()}{others[1:]}."] if others else []
    out += [f"Skipped by the policy: {_some(result.skipped)}."] if result.skipped else []
    out += [f"Only part {m.shard} of the programs was checked."] if m.shard else []
    no_machine = [case.name for case in result.cases if not case.machine]
    out += [f"Judged on the invented demonstration machine: {_some(no_machine)}."] if no_machine else []
    out += [f"Accepted findings follow a program with a new name: {old} is {new}." for old, new in result.renamed]
    out += _of_baseline(result)
    return out + unseen_rows(result)


def passed_over(endings: Mapping[str, int]) -> str:
    """Return the sentence on files in the folders that are no programs by their ending; nothing if there are none."""
    if not endings:
        return ""
    shown = ", ".join(f"{count:,} {clean(end) or 'without'}" for end, count in list(endings.items())[:MOST_ENDINGS])
    more = ", and others" if len(endings) > MOST_ENDINGS else ""
    return f"not looked at, by their ending: {shown}{more}; name such files, or their endings as programs in gate.toml"


def _of_baseline(result: GateResult) -> Iterator[str]:
    """Yield what there is to say of accepted findings."""
    accepted = sum(j.state == "accepted" for case in result.cases for j in case.findings)
    if result.with_baseline:
        yield f"{plural(accepted, 'finding')} accepted."
    if result.mended:
        yield f"{plural(len(result.mended), 'accepted finding')} fixed: --update-baseline drops them."
    soon: dict[str, list[str]] = {}
    for entry, days in result.expiring:
        left = "today" if days == 0 else f"in {plural(days, 'day')}, after {entry.expires}"
        soon.setdefault(left, []).append(f"{entry.program}: {entry.limit}{strut_of(entry)} in {entry.text}")
    for left, names in soon.items():
        yield f"{plural(len(names), 'accepted finding')} expire{'s' * (len(names) == 1)} {left}: {_some(names)}."


def strut_of(entry: Entry) -> str:
    """Return whose limit it is, where it is one of a strut."""
    return f" of strut {entry.strut}" if entry.strut else ""


def _entries(m: Scope) -> str:
    return plural(m.entries or 0, "entry", "entries")


def _by_reason(left: Sequence[Left]) -> dict[str, list[str]]:
    out: dict[str, list[str]] = {}
    for x in left:
        out.setdefault(x.why, []).append(x.name)
    return out


def _some(names: Sequence[str]) -> str:
    """Return the first of some names, and how many more there are."""
    more = f" and {len(names) - MOST_NAMES:,} more" if len(names) > MOST_NAMES else ""
    return ", ".join(names[:MOST_NAMES]) + more


def worst_first(case: Case) -> tuple[int, float, str]:
    """Return a key that sorts cases: not understood, failing, passing; the largest use first."""
    return ({"error": 0, "fail": 1, "pass": 2}[case.verdict], -case.worst[0], case.name)


def verdict_sentence(result: GateResult) -> tuple[str, str]:
    """Return the verdict on a library in a word, and what it is about."""
    failed, errors, n = result.count("fail"), result.count("error"), len(result.cases)
    of = f"of {plural(n, 'program')}"
    if errors:
        also = f"; {failed:,} more fail{'s' * (failed == 1)}" if failed else ""
        return "NOT UNDERSTOOD", f"{errors:,} {of}{also}"
    if failed:
        return "BROKEN", f"{failed:,} {of} fail{'s' * (failed == 1)}"
    return ("CLEAN", f"{plural(n, 'program')} pass{'es' * (n == 1)}") if n else ("NOTHING CHECKED", "no program")


def basis(result: GateResult) -> str:
    """Return by which version, policy and day programs were judged."""
    policy = f"policy {result.policy}" if result.policy else "no policy"
    day = f"; accepted findings as of {result.day}" if result.day else ""
    return f"hexpost {VERSION}; {policy}{day}"
