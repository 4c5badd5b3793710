"""What ``hexpost refeed`` does with its options: the new program written, what changed and what is left told."""

import json
from collections.abc import Mapping
from pathlib import Path

import click

from hexpost.audit.model import LIMITS
from hexpost.cli import EXIT_BROKEN, EXIT_CLEAN
from hexpost.cli.run import files_of
from hexpost.errors import OutputError
from hexpost.pipeline import load
from hexpost.refeed.lower import refeed
from hexpost.refeed.model import Refed
from hexpost.report.words import duration, number, plural
from hexpost.tables.whole import write_whole

SHOWN = 20
"""So many blocks are told on the screen."""


def run(
    program: Path, output: Path, files: Mapping[str, str | None], *, split: bool, overwrite: bool, as_json: bool
) -> int:
    """Write the new program; return the exit code."""
    if output.exists() and not overwrite:
        raise OutputError(f"{output}: is there already; give --overwrite to replace it")
    found = refeed(load(files_of(program, files)), split=split)
    write_whole(output, found.source)
    click.echo(json.dumps(document(found), indent=1) if as_json else "\n".join(told(found, output)))
    return EXIT_BROKEN if found.after.findings.count else EXIT_CLEAN


def document(found: Refed) -> dict[str, object]:
    """Return the result as plain values; feeds as F words say them."""
    after = found.after.findings
    rows = zip(after.limit, after.strut, after.line, after.ratio, after.advice, strict=True)
    return {
        "changed": [{"line": c.line, "feed_before": c.before, "feed": c.now} for c in found.changes],
        "split_lines": list(found.split),
        "duration_before_s": found.before.duration,
        "duration_s": found.after.duration,
        "findings_before": found.before.findings.count + found.before.dropped,
        "findings_total": after.count + found.after.dropped,
        "findings": [
            {
                "limit": LIMITS[limit],
                "strut": int(strut) or None,
                "line": int(line),
                "ratio": float(ratio),
                "advice": after.advices[advice],
            }
            for limit, strut, line, ratio, advice in rows
        ],
    }


def told(found: Refed, output: Path) -> list[str]:
    """Return what was done, in lines of text."""
    times = f"cycle time {duration(found.before.duration)} before, {duration(found.after.duration)} now"
    lines = [f"{plural(len(found.changes), 'block')} with a lower feed; {times}"]
    if found.split:
        lines.append(f"{plural(len(found.split), 'long block')} cut into shorter ones")
    lines += [f"  line {c.line}: F{number(c.before)} -> F{number(c.now)}" for c in found.changes[:SHOWN]]
    if len(found.changes) > SHOWN:
        lines.append(f"  ... and {len(found.changes) - SHOWN:,} more")
    lines += _left(found)
    return [*lines, f"written: {click.format_filename(output)}"]


def _left(found: Refed) -> list[str]:
    """Return what lower feeds do not mend, one line per limit and block."""
    after = found.after.findings
    if not after.count:
        return ["no limit is broken any more" if found.changes else "no limit is broken"]
    lines = [f"{plural(after.count + found.after.dropped, 'finding')} that a lower feed does not mend:"]
    seen: set[tuple[int, int]] = set()
    for limit, line, advice in zip(after.limit.tolist(), after.line.tolist(), after.advice.tolist(), strict=True):
        if (limit, line) not in seen and len(seen) < SHOWN:
            seen.add((limit, line))
            lines.append(f"  line {line}: {LIMITS[limit]}. {after.advices[advice]}")
    return lines
