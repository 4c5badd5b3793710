"""The verdict in one sentence, and the names of what was judged."""

from hexpost.proving import MARK
from hexpost.report.model import Report
from hexpost.voice import duration, number, plural, what, where


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


def remarks(report: Report) -> list[str]:
    """Return what was noticed, assumed or ignored, a sentence each."""
    notice = proving_notice(report)
    ignored = [
        f"Ignored: {r.text}, first in line {r.line}{f' ({r.count:,} times in all)' * (r.count > 1)}."
        for r in report.ignored
    ]
    return [*(w for w in report.warnings if w != notice), *ignored]


def feed_name(report: Report) -> str:
    """Return how the schedule was made, with the period."""
    return f"{report.feed.replace('-', ' ')}, period {number(report.period * 1e3)} ms"


def machine_name(report: Report) -> str:
    """Return name and revision, and whether it is the demonstration machine."""
    m = report.machine
    return f"{m.name}, revision {m.revision}" + (" (built-in demonstration machine)" if m.demonstration else "")
