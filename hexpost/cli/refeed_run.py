"""What ``hexpost refeed`` does with its options: the new program written, what changed and what is left told."""

from collections.abc import Iterator, Mapping
from dataclasses import replace
from itertools import count
from pathlib import Path

from hexpost.audit.model import Finding
from hexpost.cli import EXIT_BROKEN, EXIT_CLEAN
from hexpost.cli.documents import tell
from hexpost.cli.outputs import lines_of, write_all
from hexpost.cli.progress import waited, watched
from hexpost.cli.run import files_of
from hexpost.cli.terminal import say
from hexpost.errors import HexpostError
from hexpost.machine.feed_caps import FeedCap
from hexpost.pipeline import load
from hexpost.refeed.lower import refeed
from hexpost.refeed.model import Refed
from hexpost.voice import advice, duration, not_looked_at, number, plural

SHOWN = 20
"""So many blocks are told on the screen."""
NONE_BROKEN = "no limit is broken"
DECIMALS = 6
"""Decimals of seconds and feeds in JSON."""


def run(
    program: Path,
    output: Path,
    files: Mapping[str, str | None],
    *,
    split: bool,
    constant_feed: bool,
    at_most: tuple[FeedCap, ...],
    as_json: bool,
) -> int:
    """Write the new program; return the exit code."""
    if split and constant_feed:
        raise HexpostError("--constant-feed does not go with --split, which gives parts of a block feeds of their own")
    with waited("reading"):
        inputs = load(files_of(program, files))
    trials = count(1)
    with watched("setpoints") as progress:
        found = refeed(
            inputs,
            split=split,
            constant_feed=constant_feed,
            at_most=at_most,
            watch=lambda total: progress.follow(f"trial {next(trials)} of feeds, setpoints", total).step,
        )
    written = write_all((str(output), lambda: found.source))
    if as_json:
        tell(document(found))
    else:
        wrong = _left(found) if found.after.total else []
        say("\n".join([*told(found), *lines_of(written).splitlines()]), quiet="\n".join(wrong))
    return EXIT_BROKEN if found.after.findings.count else EXIT_CLEAN


def document(found: Refed) -> dict[str, object]:
    """Return the result as plain values; feeds as F words say them."""
    return {
        "changed": [
            {
                "line": c.line,
                "old_line": c.old_line,
                "feed_before": round(c.before, DECIMALS),
                "feed": round(c.now, DECIMALS),
            }
            for c in found.changes
        ],
        "tried_at_periods_ms": [round(1e3 * x, DECIMALS) for x in found.periods],
        "split_lines": list(found.split),
        "left_alone": list(found.alone),
        "duration_before_s": round(found.before.duration, DECIMALS),
        "duration_s": round(found.after.duration, DECIMALS),
        "findings_before": found.before.total,
        "findings_total": found.after.total,
        "not_checked": [x.plain for x in found.after.unseen],
        "findings": [
            {
                "limit": f.limit.name,
                "strut": f.strut or None,
                "line": int(found.new_lines[f.line - 1]),
                "old_line": int(found.old_lines[f.line - 1]),
                "ratio": f.ratio if f.limit.share else None,
                "advice": advice(f),
            }
            for f in _rows(found)
        ],
    }


def told(found: Refed) -> list[str]:
    """Return what was done, in lines of text; lines are those of the old program, and where they are now."""
    if not found.changes:
        same = (
            f"no feed to lower: the new program is a copy of the old one; cycle time {duration(found.after.duration)}"
        )
        return [same, *_left(found)]
    times = f"cycle time {duration(found.before.duration)} before, {duration(found.after.duration)} now"
    lines = [f"{plural(len(found.changes), 'block')} with a lower feed; {times}"]
    if found.split:
        lines.append(f"{plural(len(found.split), 'long block')} cut into shorter ones")
    rows = found.changes[:SHOWN]
    lines += [f"  line {_line(c.old_line, c.line)}: F{number(c.before)} -> F{number(c.now)}" for c in rows]
    if len(found.changes) > SHOWN:
        lines.append(f"  ... and {len(found.changes) - SHOWN:,} more")
    return [*lines, *_left(found)]


def _line(old: int, new: int) -> str:
    return f"{old}" if old == new else f"{old}, now {new}"


def _left(found: Refed) -> list[str]:
    """Return what lower feeds do not mend: each advice once, with its lines."""
    if not found.after.total:
        unseen = not_looked_at(found.after.unseen)
        tried = " to ".join(number(round(1e3 * x, DECIMALS)) for x in found.periods)
        clean = f"no limit is broken any more, tried at control periods of {tried} ms" if found.changes else NONE_BROKEN
        return [clean, *([unseen] if unseen else [])]
    out = []
    if found.alone:
        places = ", ".join(str(line) for line in found.alone[:SHOWN])
        more = f" and {len(found.alone) - SHOWN:,} more" if len(found.alone) > SHOWN else ""
        out.append(
            f"line {places}{more}: left as it is: no F word suits all of its runs. "
            "Write the block once for each unit, feed mode or start that it runs with."
        )
    out.append(f"{plural(found.after.total, 'finding')} that the new feeds do not fix:")
    alike: dict[tuple[str, str], list[Finding]] = {}
    for f in _rows(found):
        alike.setdefault((f"{f.limit.name}. {advice(replace(f, shift=None))}", f.way), []).append(f)
    for same in alike.values():
        most = max(same, key=lambda f: f.shift or 0.0)
        words, shown = f"{most.limit.name}. {advice(most)}", sorted({f.line for f in same})
        more = f" and {len(shown) - SHOWN:,} more" if len(shown) > SHOWN else ""
        places = "; ".join(_line(int(found.old_lines[x - 1]), int(found.new_lines[x - 1])) for x in shown[:SHOWN])
        out.append(f"  line {places}{more}: {words}")
    return out


def _rows(found: Refed) -> Iterator[Finding]:
    after = found.after.findings
    return (after.row(i) for i in range(after.count))
