"""What the gate says of findings and mistakes, in one sentence each."""

from collections import Counter

from hexpost.library.model import Case, GateResult, Judged, ProgramFault
from hexpost.voice import advice, not_looked_at, plural, what

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
    return f"{what(f)}{also}. {advice(f, j.lowest)}".rstrip() + (f" [{state}]" if state else "")


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


def worst_first(case: Case) -> tuple[int, float, str]:
    """Return a key that sorts cases: not understood, failing, passing; the largest use first."""
    return ({"error": 0, "fail": 1, "pass": 2}[case.verdict], -case.worst[0], case.name)
