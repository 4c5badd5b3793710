"""One program under two schedules on one page: along the path, along the time, and what each block gains and why."""

from dataclasses import dataclass

import numpy as np

from hexpost.arrays import Array, Ints, distinct
from hexpost.audit.model import quoted
from hexpost.feed.model import Reasons, cause_text
from hexpost.pages.html import data, document, fact_list, parts, safe
from hexpost.pages.packed import packed
from hexpost.program.model import Program
from hexpost.report.charts import Plot, Scale, chart
from hexpost.report.feeds import LEAST_S, feed_cells
from hexpost.report.model import Report
from hexpost.report.page_tables import row, table
from hexpost.report.verdict import loud, machine_name, verdict
from hexpost.units import SECONDS_PER_MINUTE
from hexpost.voice import APPROACH, amount, clean, duration, percent, plural

TITLE = "Both schedules: "
NAMES = ("as programmed", "strut-limited")
MOST_ROWS = 200
"""Blocks of the table: those whose time differs most, in the order of the program."""
_MOST_TEXT = 60
MICROS = 1e6


@dataclass(frozen=True, slots=True, eq=False)
class FeedAndUse:
    """Smallest and largest feed of the tip [mm/s], and the use of the most used limit, in columns (w,)."""

    low: Array
    high: Array
    use: Array


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Side:
    """One of two jobs along the time of the longer one, and along the path, in columns (w,).

    ``reached`` [s]: when it enters each column of the path; ``line``: in which line. ``seconds`` (k,): the time of the
    moves of each of the ``lines`` (k,), rising.
    """

    report: Report
    time: FeedAndUse
    path: FeedAndUse
    reached: Array
    line: Ints
    lines: Ints
    seconds: Array


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Both:
    """Two jobs of one program: as programmed and strut-limited; ``until`` [s] the end of the longer one.

    ``length``: of the path, mm.
    """

    sides: tuple[Side, Side]
    until: float
    length: float
    program: Program

    @property
    def gained(self) -> Array:
        """Return by how much (w,) the second is ahead where it enters each column of the path, s."""
        out: Array = self.sides[0].reached - self.sides[1].reached
        return out


def both_page(both: Both) -> bytes:
    """Return the page as UTF-8; it needs no network and no script."""
    one, other = (side.report for side in both.sides)
    gain = one.duration - other.duration
    word = "saves" if gain >= 0.0 else "costs"
    share = percent(abs(gain) / max(one.duration, 1e-9))
    facts = [("As programmed", duration(one.duration), safe(verdict(one)))]
    facts.append(("Strut-limited", duration(other.duration), safe(verdict(other))))
    facts.append(("Strut-limited " + word, duration(abs(gain)), share))
    sections = (
        ("path", "Along the path", _along_path(both)),
        ("time", "Along the time", _along_time(both)),
        ("blocks", "What each block gains, and why", _blocks(both)),
        ("causes", "What holds both back", _causes(one, other)),
    )
    body = "".join(f'<section aria-labelledby="{k}"><h2 id="{k}">{n}</h2>{t}</section>' for k, n, t in sections)
    notices = dict.fromkeys([*loud(one), *(one.cautions[:1] if one.machine.demonstration else ())])
    told = "".join(f'<p class="loud">{safe(notice)}</p>' for notice in notices)
    whole = (
        f'<a class="skip" href="#path">To the charts</a>'
        f'<header><div><p class="soft">{safe(one.program)} on {safe(machine_name(one))}</p>'
        f"<h1>As programmed and strut-limited: strut-limited {word} <b>{duration(abs(gain))}</b></h1>"
        f"{fact_list(facts)}{told}{parts([(k, n) for k, n, _ in sections])}</div></header>"
        f"<main>{_held(both)}{_WALK}{body}</main>"
        "<footer><div><p>As programmed: what an ordinary control would run, whatever struts need. Strut-limited: the "
        "fastest motion at the programmed feeds that breaks no strut limit.</p></div></footer>"
    )
    title = f"{TITLE}{one.program.rpartition('/')[2]}"
    return document(title, whole, styles=("report.css",), scripts=("job.js", "both.js")).encode()


_WALK = (
    '<div id="walk" class="live" role="group" aria-label="Place on the path" hidden><div class="slide">'
    '<label for="slide">Path</label><input type="range" id="slide" min="0" value="0" step="1">'
    '<output id="now" for="slide"></output></div></div>'
)


def _charts(both: Both, kind: str, along: str, ends: float) -> str:
    courses = [side.path if kind == "path" else side.time for side in both.sides]
    top = SECONDS_PER_MINUTE * max(float(c.high.max()) for c in courses)
    use = max(1.0, *(float(c.use.max()) for c in courses))
    out = []
    for k, (name, course) in enumerate(zip(NAMES, courses, strict=True)):
        most = amount(SECONDS_PER_MINUTE * float(course.high.max()), "mm/min")
        feed = f"Feed of the tool tip {name}: at most {most}"
        values = (SECONDS_PER_MINUTE * course.low, SECONDS_PER_MINUTE * course.high)
        out.append(_chart(f"{kind}-feed-{k}", feed, values, (along, ends), top=top))
    for k, (name, course) in enumerate(zip(NAMES, courses, strict=True)):
        title = f"The most used limit of any strut {name}: at most {percent(float(course.use.max()))}"
        values = (np.zeros_like(course.use), 100.0 * course.use)
        out.append(_chart(f"{kind}-use-{k}", title, values, (along, ends), top=100.0 * use, bounds=(100.0,)))
    return "".join(out)


def _chart(
    name: str, title: str, ends: tuple[Array, Array], along: tuple[str, float], *, top: float,
    bounds: tuple[float, ...] = (),
) -> str:  # fmt: skip
    """Return a chart of the least and the largest values."""
    plot = Plot(
        name=name, title=title, low=ends[0], high=ends[1], bounds=bounds,
        scale=Scale(low=0.0, high=1.08 * max(top, 1e-9)), marks=(), prefix="b", unit=" %" if bounds else "",
        times=tuple(along[1] * k / 4 for k in range(5)), along=along[0],
    )  # fmt: skip
    return chart(plot, 0)


def _along_path(both: Both) -> str:
    """Return charts on one axis of place."""
    gained = both.gained
    least, most = min(0.0, float(gained.min())), max(0.0, float(gained.max()))
    room = max(0.08 * (most - least), 1e-3)
    ends = [f"{round(x, 3) + 0.0:.3f}" for x in (least, most, float(gained[-1]))]
    plot = Plot(
        name="gained", title=f"By how much strut-limited is ahead: {ends[0]} to {ends[1]} s, {ends[2]} s near the end",
        low=np.minimum(gained, 0.0), high=np.maximum(gained, 0.0), bounds=(0.0,), marks=(), prefix="b", unit=" s",
        scale=Scale(low=least - room, high=most + room), times=tuple(both.length * k / 4 for k in range(5)),
        along="mm", least=True,
    )  # fmt: skip
    note = (
        "<p>One place on the path is one place in all charts, whatever the time. Turns count as way, as the planner "
        "counts them.</p>"
    )
    return note + chart(plot, 0) + _charts(both, "path", "mm", both.length)


def _along_time(both: Both) -> str:
    """Return charts on one axis of time."""
    note = "<p>Both jobs begin together; the shorter one rests at its end.</p>"
    return note + _charts(both, "time", "s", both.until)


def _blocks(both: Both) -> str:
    """Return the blocks whose time differs most, with what holds each."""
    one, other = both.sides
    gain = one.seconds - other.seconds
    apart = np.flatnonzero(np.abs(gain) >= LEAST_S)
    if not len(apart):
        return "<p>No block takes another time: the struts hold nothing back, and the feeds are kept.</p>"
    chosen = np.sort(apart[np.argsort(-np.abs(gain[apart]), kind="stable")[:MOST_ROWS]])
    body = "".join(row(_block(both, int(i))) for i in chosen)
    rest = len(apart) - len(chosen)
    more = f"<p>{plural(rest, 'more block')} differ by less.</p>" if rest else ""
    head = ["line", "block", *(f"{n}, s" for n in NAMES), "gained, s", "F programmed"]
    head += [f"F reached {n}" for n in NAMES] + [f"held most by, {n}" for n in NAMES]
    return table(head, body, "Blocks whose time differs, feeds in mm/min (deg/min in turns)", "Blocks") + more


def _block(both: Both, i: int) -> list[str]:
    line = int(both.sides[0].lines[i])
    seconds = [float(side.seconds[i]) for side in both.sides]
    text = clean(quoted(both.program.text(line))) if line else ""
    reasons = [side.report.reasons for side in both.sides]
    feeds = [("", "", "") if r is None else _feed(r, line) for r in reasons]
    held = f"<code>{safe(text if len(text) <= _MOST_TEXT else text[:_MOST_TEXT] + ' ...')}</code>"
    return [
        str(line or APPROACH), held, *(f"{x:.3f}" for x in seconds), f"{seconds[0] - seconds[1]:+.3f}",
        feeds[0][0], feeds[0][1], feeds[1][1], feeds[0][2], feeds[1][2],
    ]  # fmt: skip


def _feed(found: Reasons, line: int) -> tuple[str, str, str]:
    """Return the programmed feed, the one that is reached, and what holds the block."""
    k = int(np.searchsorted(found.line, line))
    if k == len(found.line) or found.line[k] != line:
        return "", "", ""
    asked, reached = feed_cells(found, k)
    return asked, reached, safe(cause_text(int(found.cause[k]))) if found.lost[k] >= LEAST_S else "nothing"


def _causes(one: Report, other: Report) -> str:
    """Return the seconds that each cause costs both."""
    totals = [{} if r.reasons is None else r.reasons.total for r in (one, other)]
    causes = [k for k in dict.fromkeys([*totals[0], *totals[1]]) if max(t.get(k, 0.0) for t in totals) >= LEAST_S]
    if not causes:
        return "<p>No time is lost: the programmed feed is kept all the way.</p>"
    body = "".join(row([safe(cause_text(k)), *(f"{t.get(k, 0.0):.3f}" for t in totals)]) for k in causes)
    return table(["cause", *(f"{n}, s" for n in NAMES)], body, "Seconds lost, by cause", "Lost time by cause")


def _held(both: Both) -> str:
    """Return what the script reads: where each column of the path is in line and time, and the blocks."""
    lines = both.sides[0].line
    known = distinct(lines).tolist()
    texts = [clean(quoted(both.program.text(n)))[:_MOST_TEXT] if n else APPROACH for n in known]
    return data("both", {
        "line": packed(lines), "known": known, "texts": texts, "length": both.length, "until": both.until,
        "reached": [packed(np.round(side.reached * MICROS).astype(np.int64)) for side in both.sides],
    })  # fmt: skip
