"""What is said of findings and mistakes, in one sentence each."""

from hexpost.audit.model import PROGRAM_RULES
from hexpost.library.model import CYCLE_TIME, Case, Found, Judged, Mistake

MEANING = {
    "stroke": "A strut runs out of its stroke.",
    "speed": "A strut is asked for more speed than it has.",
    "acceleration": "A strut is asked for more acceleration than it has.",
    "jerk": "A strut is asked for more jerk than it has.",
    "joint-angle": "A joint is bent beyond its range.",
    "thrust": "A strut is asked for more thrust than it has.",
    "torque": "A motor is asked for more torque than it has.",
    "critical-speed": "A screw turns faster than its critical speed allows.",
    "buckling": "A strut is loaded beyond what its screw bears without buckling.",
    "conditioning": "The machine comes too near to a singular pose.",
    "clearance": "Struts come too near to each other or to the machine.",
    "deviation": "The tool leaves the programmed path between setpoints by more than is allowed.",
    "tool-length": "A cutting move has no tool length active.",
    "tool-number": "The tool length is not that of the tool in the spindle.",
    "pallet": "The tool tip goes below the top of the pallet.",
    "retract": "A retract in machine coordinates moves down.",
    CYCLE_TIME: "The program takes longer than the policy allows.",
}
"""What it means to break a limit."""

STATES = {
    "new": "",
    "worse": "worse than accepted",
    "expired": "no longer accepted",
    "accepted": "accepted",
    "warning": "warning",
}


def found_sentence(f: Found) -> str:
    """Return limit, strut, what was reached, what is allowed, and the advice; of a rule, what is broken."""
    if f.limit in PROGRAM_RULES:
        return f"{f.limit}: {MEANING[f.limit]} {f.advice}".rstrip()
    who = f"{f.limit} of strut {f.strut}" if f.strut else f.limit
    unit = "" if f.unit == "1" else f" {f.unit}"
    use = f" ({share(f.use)} of the limit)"
    also = f"; {f.blocks} blocks break this limit, this one most" if f.blocks > 1 else ""
    advice = f" {f.advice}" if f.advice else ""
    turns = "degrees per minute" in f.advice
    feed = "" if f.advice_feed_mm_min is None or turns else f" Advised feed: {f.advice_feed_mm_min:g} mm/min."
    return f"{who}: {f.peak:.6g}{unit} reached, {f.allowed:.6g}{unit} allowed{use}{also}.{advice}{feed}"


def judged_sentence(j: Judged) -> str:
    """Return the sentence of a finding, with what policy and baseline say of it."""
    state = ": ".join(x for x in (STATES[j.state], j.reason if j.reason != STATES[j.state] else "") if x)
    return found_sentence(j.found) + (f" [{state}]" if state else "")


def mistake_sentence(m: Mistake) -> str:
    """Return what is wrong, where if it is not the program itself, and the hint."""
    where = f"{m.file}: " if m.file else ""
    hint = f" Hint: {m.hint}" if m.hint else ""
    return f"{where}{m.what}{'' if m.what.endswith('.') else '.'}{hint}"


def share(use: float) -> str:
    """Return a use in per cent with one decimal; what is over never reads 100 per cent."""
    shown = f"{100.0 * use:,.1f} %"
    return "> 100 %" if use > 1.0 and shown == "100.0 %" else shown


def worst_first(case: Case) -> tuple[int, float, str]:
    """Return a key that sorts cases: not understood, failing, passing; the largest use first."""
    return ({"error": 0, "fail": 1, "pass": 2}[case.verdict], -case.worst[0], case.name)
