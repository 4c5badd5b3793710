"""The verdict in one sentence, and a finding in one line."""

from hexpost.audit.model import PROGRAM_RULES
from hexpost.proving import MARK
from hexpost.report.model import FindingRow, Report
from hexpost.report.words import duration, number, percent, plural

RULES = PROGRAM_RULES | {"clearance"}
"""Limits of which no share can be told: a rule about the program is kept or not, bodies are far enough or not."""

BROKEN_RULES = {
    "tool-length": "no tool length is active (the tool has {peak} mm)",
    "tool-number": "the length of tool {peak} is active, not of {allowed}",
    "pallet": "the tip goes {peak} mm below the top of the pallet",
    "retract": "goes {peak} mm down in machine coordinates",
}
"""What a block does that breaks a rule about the program."""


def verdict(report: Report) -> str:
    """Return the sentence that stands first in every form of the report."""
    if report.clean:
        return f"CLEAN: no limit is broken; the job takes {duration(report.duration)}."
    found = plural(report.findings_total, "finding")
    blocks = plural(report.blocks_total, "block")
    worst = report.findings[0]
    return f"BROKEN: {found} in {blocks}; do not run this job. Worst: {what(worst)}, {where(worst)}."


def proving_notice(report: Report) -> str:
    """Return the sentence that marks a job for proving out, or nothing for one that cuts."""
    return next((w for w in report.warnings if w.startswith(MARK)), "")


def what(f: FindingRow) -> str:
    """Return which limit of which strut, how much, and how much is allowed."""
    if f.limit in BROKEN_RULES:
        return f"{limit(f)}: {broken_rule(f)}"
    unit = "" if f.unit == "1" else f" {f.unit}"
    use = "" if f.limit in RULES else f" ({percent(f.ratio)})"
    return f"{limit(f)}: {number(f.peak)}{unit}, {number(f.allowed)} allowed{use}"


def broken_rule(f: FindingRow) -> str:
    """Return what the block does that no block may do."""
    return BROKEN_RULES[f.limit].format(peak=number(abs(f.peak)), allowed=number(f.allowed))


def limit(f: FindingRow) -> str:
    """Return the limit and its strut."""
    end = f" ({f.joint} joint)" if f.joint else ""
    if f.bodies:
        return f"{f.limit} between {' and '.join(f.bodies)}"
    return f.limit if f.strut is None else f"{f.limit} of strut {f.strut}{end}"


def where(f: FindingRow) -> str:
    """Return the line and, where it has one, the block number."""
    return f"line {f.line} ({f.block})" if f.block else f"line {f.line}"


def feed_advice(f: FindingRow) -> str:
    """Return the advised feed as words, or nothing; for a pure rotation the words of the advice tell the unit."""
    if f.advice_feed is None:
        return ""
    return f"advised: {number(f.advice_feed)}" + ("" if "degrees per minute" in f.advice else " mm/min")


def feed_name(report: Report) -> str:
    """Return how the schedule was made, with the period."""
    return f"{report.feed.replace('-', ' ')}, period {number(report.period * 1e3)} ms"


def machine_name(report: Report) -> str:
    """Return name and revision, and whether it is the demonstration machine."""
    m = report.machine
    return f"{m.name}, revision {m.revision}" + (" (built-in demonstration machine)" if m.demonstration else "")
