"""What changes when the same library runs on another machine file."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from hexpost.documents import measured, seconds
from hexpost.library.model import Case, GateResult
from hexpost.library.policy import Policy


@dataclass(frozen=True, slots=True, kw_only=True)
class Comparison:
    """One program on both machines."""

    before: Case
    after: Case

    @property
    def kind(self) -> str:
        """Return ``newly-fails``, ``newly-passes`` or ``same``."""
        was, is_now = (("pass", "fail", "error").index(c.verdict) for c in (self.before, self.after))
        if is_now > was:
            return "newly-fails"
        return "newly-passes" if is_now == 0 < was else "same"


def on_machine(policy: Policy, machine: str) -> Policy:
    """Return the policy with every program on ``machine``."""
    over = replace(policy.over, machine=str(Path(machine)))
    return replace(policy, over=over, _known={})


def changes(before: GateResult, after: GateResult) -> tuple[Comparison, ...]:
    """Return each program with both of its cases, in order of path."""
    return tuple(Comparison(before=b, after=a) for b, a in zip(before.cases, after.cases, strict=True))


def exit_code(found: Sequence[Comparison]) -> int:
    """Return 1 if a program newly breaks a limit, 2 if one is newly not understood, else 0."""
    worse = {c.after.verdict for c in found if c.kind == "newly-fails"}
    return 2 if "error" in worse else int("fail" in worse)


def document(found: Sequence[Comparison], machine: str) -> dict[str, object]:
    """Return the comparison as plain values."""
    return {
        "verdict": ("clean", "broken", "error")[exit_code(found)],
        "against": machine,
        "programs": len(found),
        "newly_failing": sum(c.kind == "newly-fails" for c in found),
        "newly_passing": sum(c.kind == "newly-passes" for c in found),
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
    }


def _seconds(case: Case) -> float | None:
    return None if case.record.mistakes else case.record.duration_s
