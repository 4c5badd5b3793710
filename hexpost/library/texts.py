"""What the gate says of findings and mistakes, in one sentence each."""

from hexpost.library.model import Case, Judged, ProgramFault
from hexpost.voice import advice, what

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


def worst_first(case: Case) -> tuple[int, float, str]:
    """Return a key that sorts cases: not understood, failing, passing; the largest use first."""
    return ({"error": 0, "fail": 1, "pass": 2}[case.verdict], -case.worst[0], case.name)
