"""What would mend a broken job as a whole: the commands that do it, and the blocks with all their broken limits."""

from collections.abc import Iterable

from hexpost.report.model import FindingRow, Report
from hexpost.report.verdict import RULES, feed_advice, limit, what, where
from hexpost.report.words import percent

PLACED = frozenset({"stroke", "joint-angle", "clearance", "conditioning", "buckling"})
"""Limits that another place on the pallet may mend."""
MOST_LIMITS = 3
"""So many limits of a block stand in its row."""

SETUP = "Setup: no file was given (`--setup FILE`), so every work offset is the pallet frame."
FEEDS = (
    "Feeds: `hexpost refeed PROGRAM -o NEW` lowers F where that helps (`--split`: in a part of a long block alone); "
    "`--feed strut-limited` plans a job that keeps the limits of the struts."
)
PLACES = "Place: `hexpost place PROGRAM` searches the pallet for where the job breaks no limit."


def mending(report: Report) -> list[str]:
    """Return what to try, a sentence each."""
    feeds = any(f.advice_feed is not None for f in report.findings)
    places = any(f.limit in PLACED for f in report.findings)
    bare = report.setup_file is None and (places or any(f.limit == "pallet" for f in report.findings))
    return [text for text, wanted in ((SETUP, bare), (FEEDS, feeds), (PLACES, places)) if wanted]


def block_rows(findings: Iterable[FindingRow]) -> list[str]:
    """Return a row for each block that breaks limits, worst first: what it breaks, and the lowest advised feed."""
    blocks: dict[int, list[FindingRow]] = {}
    for f in findings:
        blocks.setdefault(f.line, []).append(f)
    return [_block(found) for found in blocks.values()]


def lowest_feeds(findings: Iterable[FindingRow]) -> dict[int, FindingRow]:
    """Return, for each line, the finding with the lowest advised feed, if there is one."""
    out: dict[int, FindingRow] = {}
    for f in findings:
        if f.advice_feed is not None:
            out[f.line] = min(out.get(f.line, f), f, key=lambda x: x.advice_feed or 0.0)
    return out


def advised(f: FindingRow, lowest: dict[int, FindingRow]) -> str:
    """Return the advised feed of a finding in parentheses, and that which also mends the others of its line."""
    if f.advice_feed is None:
        return ""
    least = lowest.get(f.line, f)
    also = (
        ""
        if least.advice_feed == f.advice_feed
        else f"; for all of line {f.line}: {feed_advice(least).removeprefix('advised: ')}"
    )
    return f"({feed_advice(f)}{also})"


def _block(found: list[FindingRow]) -> str:
    said: dict[str, str] = {}
    for f in found:
        said.setdefault(limit(f), what(f) if f.limit in RULES else f"{limit(f)}, {percent(f.ratio)}")
    parts = list(said.values())
    more = len(parts) - MOST_LIMITS
    lowest = lowest_feeds(found).get(found[0].line)
    tail = [f"and {more} more"] if more > 0 else []
    feed = "" if lowest is None else f", {feed_advice(lowest)}"
    return f"{where(found[0])}{feed}: {'; '.join([*parts[:MOST_LIMITS], *tail])}"
