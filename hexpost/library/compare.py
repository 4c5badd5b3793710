"""What changes when the same library runs on another machine file: program by program, finding by finding."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from hexpost.documents import measured, seconds
from hexpost.library.baseline import accepting
from hexpost.library.document import of_judged
from hexpost.library.gate import judged
from hexpost.library.model import Case, GateResult, Judged
from hexpost.library.policy import Policy


@dataclass(frozen=True, slots=True, kw_only=True)
class Comparison:
    """One program on both machines.

    ``news``: what fails after and did not, or did less, before; ``gone``: how many findings fail no more.
    """

    before: Case
    after: Case
    news: tuple[Judged, ...] = ()
    gone: int = 0

    @property
    def kind(self) -> str:
        """Return one of ``KINDS``: the first that is so."""
        was, is_now = self.before.verdict, self.after.verdict
        if is_now == "error":
            return "not-compared" if was == "error" else "newly-fails"
        if was == "pass" and is_now == "fail":
            return "newly-fails"
        if is_now == "pass" != was:
            return "newly-passes"
        return "breaks-more" if self.news else "breaks-less" if self.gone else "same"


KINDS = ("newly-fails", "breaks-more", "not-compared", "newly-passes", "breaks-less", "same")
"""What another machine means to a program. It newly fails where it passed, or is not understood any more; it is not
compared where it is understood on neither machine. A program that fails on both breaks more if one of its findings is
new or worse, whatever else it breaks no more, and less if findings are only gone."""


def on_machine(policy: Policy, machine: str) -> Policy:
    """Return the policy with every program on ``machine``."""
    over = replace(policy.over, machine=str(Path(machine)))
    return replace(policy, over=over, _known={})


def changes(before: GateResult, after: GateResult, policy: Policy) -> tuple[Comparison, ...]:
    """Return each program with both of its cases, in order of path; ``policy`` is that of ``after``.

    What fails before counts as accepted, by fingerprint and use: a baseline for what fails after.
    """
    known = accepting(before.cases)
    again = judged({case.name: case.record for case in after.cases}, policy, known, whole=False)
    lost = {x.program: 0 for x in again.mended}
    for entry in again.mended:
        lost[entry.program] += 1
    return tuple(
        Comparison(before=b, after=a, news=tuple(j for j in n.findings if j.fails), gone=lost.get(b.name, 0))
        for b, a, n in zip(before.cases, after.cases, again.cases, strict=True)
    )


def count(found: Sequence[Comparison], kind: str) -> int:
    """Return how many programs are of a kind."""
    return sum(c.kind == kind for c in found)


def exit_code(found: Sequence[Comparison]) -> int:
    """Return 2 if a program is not understood on the other machine, else 1 if one breaks what it did not, else 0."""
    if any(c.after.verdict == "error" for c in found):
        return 2
    return int(any(c.kind in ("newly-fails", "breaks-more") for c in found))


def document(found: Sequence[Comparison], machine: str, programs: int) -> dict[str, object]:
    """Return the comparison as plain values; ``programs`` of the library, compared or not."""
    return {
        "verdict": ("clean", "broken", "error")[exit_code(found)],
        "against": machine,
        "programs": programs,
        "checked": len(found),
        "newly_failing": count(found, "newly-fails"),
        "breaking_more": count(found, "breaks-more"),
        "not_compared": count(found, "not-compared"),
        "newly_passing": count(found, "newly-passes"),
        "breaking_less": count(found, "breaks-less"),
        "duration_before_s": seconds(sum(c.before.record.duration_s for c in found)),
        "duration_after_s": seconds(sum(c.after.record.duration_s for c in found)),
        "cases": [_case(c) for c in found],
    }


def _case(c: Comparison) -> dict[str, object]:
    return {
        "program": c.before.name,
        "change": c.kind,
        "verdict_before": c.before.verdict,
        "verdict_after": c.after.verdict,
        "duration_before_s": _seconds(c.before),
        "duration_after_s": _seconds(c.after),
        "worst_ratio_before": measured(c.before.worst[0], beside=1.0),
        "worst_ratio_after": measured(c.after.worst[0], beside=1.0),
        "new_findings": [of_judged(j) for j in c.news],
        "gone_findings": c.gone,
    }


def _seconds(case: Case) -> float | None:
    return None if case.record.mistakes else case.record.duration_s
