"""What to do about a broken job as a whole: the commands that help, and the blocks with all their broken limits."""

from collections.abc import Iterable

from hexpost.audit.model import Finding, Place
from hexpost.report.model import Report
from hexpost.voice import feed_word, short, where, whose

MOST_LIMITS = 3
"""So many limits of a block are in its row."""

SETUP = "Setup: no file was given (`--setup FILE`), so every work offset is the pallet frame."
FEEDS = (
    "Feeds: `hexpost refeed PROGRAM -o NEW` lowers F where that helps (`--split`: in a part of a long block alone); "
    "`--feed strut-limited` plans a job that keeps the limits of the struts."
)
PLACES = "Place: `hexpost place PROGRAM` searches the pallet for where the job breaks no limit."


def mending(report: Report) -> list[str]:
    """Return what to try, a sentence each."""
    feeds = any(f.feed is not None for f in report.findings)
    found = {f.limit.place for f in report.findings}
    bare = report.setup_file is None and found != {Place.NONE}
    wanted = ((SETUP, bare), (FEEDS, feeds), (PLACES, Place.SEARCH in found))
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
