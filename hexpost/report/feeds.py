"""Why the job is not faster: blocks that lost time, and the seconds lost to each cause."""

import json
from math import ceil, floor

import numpy as np

from hexpost.arrays import Ints
from hexpost.documents import BETWEEN, Encoded, filled, measured_column, seconds, seconds_column
from hexpost.feed.model import Reasons, cause_text
from hexpost.report.model import CycleTimes
from hexpost.units import DEG_PER_RAD, SECONDS_PER_MINUTE
from hexpost.voice import APPROACH, columns, duration, number, paragraph, percent, plural

MOST_BLOCKS = 10_000
"""So many blocks are listed as JSON, in the order of the program: those that lost most."""
MOST_LINES = 12
"""So many blocks and causes stand in the text."""
REACHED = 0.99
"""Share of its feed that a block reaches which reaches it."""
SHOWN, ROUNDED = 1e3, 1e-6
"""Shares of the optimum and least times are shown to one of so many parts, to the safe side; what rounding may do."""
LITTLE_KNOWN = 0.5
"""Where the least time may be longer by more than this share, as jerks are no part of it, the text says nothing."""
LEAST_S = 5e-4
"""Less lost time than this, s, is no line of the text."""
_BLOCK = '{"line": %s, "programmed_%s": %s, "reached_%s": %s, "held_by": %s, "lost_s": %s}'


def feeds_document(found: Reasons) -> dict[str, object]:
    """Return the keys ``feeds``, ``feeds_total`` and ``time_lost_s`` of the report, feeds as F words would be."""
    chosen = np.sort(found.slowest(MOST_BLOCKS))
    return {
        "feeds_total": len(found.line),
        "feeds": _blocks(found, chosen) if len(chosen) else [],
        "time_lost_s": {cause_text(k): seconds(x) for k, x in found.total.items()},
        "optimum": {
            "at_least_s": seconds(found.least) if found.beyond is not None else None,
            "within_share": None if found.beyond is None else _up(found.beyond),
        },
    }


def _blocks(found: Reasons, at: Ints) -> Encoded:
    """Return the entries of blocks ``at`` (n,), by columns."""
    turning, line, programmed = found.turning[at], found.line[at], found.programmed[at]
    scale = SECONDS_PER_MINUTE * np.where(turning, DEG_PER_RAD, 1.0)
    unit = np.where(turning, "deg_min", "mm_min").tolist()
    causes = {k: json.dumps(cause_text(k)) for k in np.flatnonzero(np.bincount(found.cause)).tolist()}
    columns = (
        np.where(line == 0, "null", line.astype(str)).tolist(),
        unit, seconds_column(programmed * scale),
        unit, measured_column(found.reached[at] * scale),
        map(causes.__getitem__, found.cause[at].tolist()),
        seconds_column(found.lost[at]),
    )  # fmt: skip
    return Encoded(filled(_BLOCK, columns, BETWEEN))


def _up(share: float) -> float:
    """Return a share rounded up to what is shown of it."""
    return ceil(share * SHOWN - ROUNDED) / SHOWN


def optimum_text(found: Reasons) -> str:
    """Return how near a job is to the fastest motion that there can be, where enough of that is known."""
    if found.beyond is None or found.beyond > LITTLE_KNOWN:
        return ""
    least = f"{seconds(floor(found.least * SHOWN + ROUNDED) / SHOWN):.3f} s"
    return (
        f"Within {100.0 * _up(found.beyond):.1f} % of the optimum: "
        f"no motion along this path and within these limits takes less than {least}."
    )


def feeds_text(found: Reasons, width: int) -> list[str]:
    """Return the section of the text report: totals, and the blocks that lost most."""
    total = sum(found.total.values())
    causes = [(k, x) for k, x in found.total.items() if x >= LEAST_S][:MOST_LINES]
    if not causes:
        return []
    rows = [[f"{x:.3f} s", cause_text(k)] for k, x in causes]
    lines = ["", f"Why not faster ({duration(total)} more than at the programmed feed all the way)", ""]
    lines += columns(rows, [True, False])
    if near := optimum_text(found):
        lines += ["", *paragraph(near, width)]
    rows = [["line", "lost", "F programmed", "F reached", "held most by"], ["", "", "mm/min", "mm/min", ""]]
    for i in found.slowest(MOST_LINES):
        if found.lost[i] >= LEAST_S:
            rows.append(_row(found, int(i)))
    return [*lines, "", *columns(rows, [True, True, True, True, False])]


def feed_not_reached(found: Reasons, place: str) -> str:
    """Return how many blocks stay below their programmed feed, and the time lost in all; or nothing.

    ``place`` says where the reasons stand.
    """
    known = np.isfinite(found.programmed)
    short = int((found.reached[known] < REACHED * found.programmed[known]).sum())
    lost = sum(found.total.values())
    if not short or lost < LEAST_S:
        return ""
    stay = "stays" if short == 1 else "stay"
    return f"{plural(short, 'block')} {stay} below the programmed feed, {duration(lost)} lost in all (why: {place})"


def _scale(found: Reasons, i: int) -> float:
    """Return the factor from inside units to an F word: mm/min, or deg/min in pure rotations."""
    return SECONDS_PER_MINUTE * (DEG_PER_RAD if found.turning[i] else 1.0)


def feed_cells(found: Reasons, i: int) -> tuple[str, str]:
    """Return the programmed feed of a block and the one that it reaches, as people read them."""
    scale = _scale(found, i)
    rapid = bool(np.isinf(found.programmed[i]))
    feed = "rapid" if rapid else number(float(f"{found.programmed[i] * scale:.5g}"))
    return feed, number(float(f"{found.reached[i] * scale:.4g}")) + (" deg/min" if found.turning[i] else "")


def _row(found: Reasons, i: int) -> list[str]:
    line = str(int(found.line[i]) or APPROACH)
    return [line, f"{found.lost[i]:.3f} s", *feed_cells(found, i), cause_text(int(found.cause[i]))]


def times_document(times: CycleTimes) -> dict[str, object]:
    """Return the cycle times, s."""
    return {
        "as_programmed_s": seconds(times.as_programmed),
        "strut_limited_s": seconds(times.strut_limited),
        "programmed_feed_without_limits_s": seconds(times.unlimited),
        "one_safe_feed_share": times.safe_share,
        "one_safe_feed_s": None if times.safe is None else seconds(times.safe),
    }


def times_text(times: CycleTimes) -> list[str]:
    """Return the cycle times side by side."""
    safe = "none is safe" if times.safe is None else duration(times.safe)
    share = "" if times.safe_share is None else f" ({percent(times.safe_share)})"
    rows = [
        ["as programmed", "strut-limited", f"one safe feed{share}", "no limits"],
        [duration(times.as_programmed), duration(times.strut_limited), safe, duration(times.unlimited)],
    ]
    return ["", "Cycle times", "", *columns(rows, [False] * len(rows[0]))]
