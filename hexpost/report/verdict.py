"""The verdict in one sentence, the names of what was judged, and what to do about a broken job as a whole."""

from collections.abc import Iterable

from hexpost.audit.model import Finding, Place
from hexpost.proving import MARK
from hexpost.report.model import Report, Shown
from hexpost.voice import away, duration, feed_word, number, plural, short, what, where, whose

UNPROVEN = "NOT PROVEN: the proof was left out, so do not run this job. Convert it without --no-proof for one to run."
"""What is said of a table that nobody proved to be what the program asks for."""

AMBIGUOUS = "NOT PROVEN: near a singular pose the lengths of the struts mean more than one pose. Do not run this job."
"""What is said of a table that nobody can prove."""


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


def loud(report: Report) -> list[str]:
    """Return what must be read beside the verdict, a sentence each."""
    unproven = "" if report.proven else AMBIGUOUS if report.ambiguous else UNPROVEN
    return [notice for notice in (unproven, proving_notice(report)) if notice]


def shown_text(shown: Shown) -> str:
    """Return what was proven of the samples, and what was not."""
    why = f": {shown.why}" if shown.why else ""
    return f"proven: {', '.join(shown.proven) or 'nothing'} (not {', '.join(shown.left)}){why}"


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


MOST_LIMITS = 3
"""So many limits of a block are in its row."""

SETUP = "Setup: no file was given (`--setup FILE`), so every work offset is the pallet frame."
FEEDS = (
    "Feeds: `hexpost refeed PROGRAM -o NEW` lowers F where that helps (`--split`: in a part of a long block alone); "
    "`--feed strut-limited` plans a job that keeps the limits of the struts."
)
PLACES = "Place: {}`hexpost place PROGRAM` searches the pallet for where the job breaks no limit."


def mending(report: Report) -> list[str]:
    """Return what to try, a sentence each."""
    feeds = any(f.feed is not None for f in report.findings)
    found = {f.limit.place for f in report.findings}
    bare = report.setup_file is None and found != {Place.NONE}
    moved = {f.way: f for f in sorted(report.findings, key=lambda f: f.shift or 0.0) if f.shift is not None}
    far = f"move the work at least {away(*moved.values())}; " if len(moved) == 1 else ""
    wanted = ((SETUP, bare), (FEEDS, feeds), (PLACES.format(far), Place.SEARCH in found))
    return [text for text, given in wanted if given] if report.findings else []


def block_rows(findings: Iterable[Finding]) -> list[str]:
    """Return a row for each block that breaks limits, worst first: what it breaks, and the F to write."""
    blocks: dict[int, list[Finding]] = {}
    for f in findings:
        blocks.setdefault(f.line, []).append(f)
    return [_block(found) for found in blocks.values()]


def _block(found: list[Finding]) -> str:
    said: dict[str, str] = {}
    for f in found:
        said.setdefault(whose(f), short(f))
    parts = list(said.values())
    more = len(parts) - MOST_LIMITS
    fed = next((f for f in found if f.feed is not None), None)
    tail = [f"and {more} more"] if more > 0 else []
    feed = "" if fed is None else f", {feed_word(fed, fed.feed, full=False)}"
    return f"{where(found[0])}{feed}: {'; '.join([*parts[:MOST_LIMITS], *tail])}"
