"""The setup sheet in words: the rows of its tables, for the text and for the page."""

from collections.abc import Sequence

from hexpost.report.model import Report
from hexpost.report.sheet import Row
from hexpost.voice import columns, duration, number, plural

MOST = 40
"""So many tools are shown, and rows of each; the JSON report lists all."""
TOOL_HEAD = ("tool", "time", "beside", "length H, mm", "diameter, mm", "S")
OFFSET_HEAD = ("offset", "X", "Y", "Z", "A", "B", "C")
STRUT_HEAD = ("strut", "shortest, mm", "longest, mm")


def tool_rows(report: Report) -> list[list[str]]:
    """Return a row for each tool, in the order of ``TOOL_HEAD``."""
    if report.sheet is None:
        return []
    return [
        [
            f"T{t.tool}" if t.tool else "none",
            duration(t.seconds),
            "not known" if t.beside is None else duration(t.beside),
            _listed("H", t.lengths) or "none",
            "-" if t.diameter is None else number(t.diameter),
            ", ".join(number(s) for s in t.speeds) or "-",
        ]
        for t in report.sheet.tools[:MOST]
    ]


def offset_rows(report: Report) -> list[list[str]]:
    """Return a row for each work offset, in the order of ``OFFSET_HEAD``: its frame in the pallet frame, mm and deg."""
    if report.sheet is None:
        return []
    return [[o.offset + ("" if o.given else " (pallet)"), *(number(x) for x in o.pose)] for o in report.sheet.offsets]


def strut_rows(report: Report) -> list[list[str]]:
    """Return a row for each strut, in the order of ``STRUT_HEAD``."""
    return [[str(s.strut), f"{s.shortest:.3f}", f"{s.longest:.3f}"] for s in report.struts]


def notes(report: Report) -> list[str]:
    """Return what stands below the tables."""
    found = report.sheet
    if found is None:
        return []
    out = []
    if found.radius_rows:
        out.append(f"Diameters for cutter radius: {_listed('D', found.radius_rows)}.")
    if len(found.tools) > MOST:
        out.append(f"... and {plural(len(found.tools) - MOST, 'more tool')}; report.json lists all.")
    return out


def sheet_text(report: Report) -> list[str]:
    """Return the section of the text report; the strut lengths stand there in the table of use."""
    if report.sheet is None or not report.sheet.tools:
        return []
    lines = ["", "Setup sheet", "", *columns([list(TOOL_HEAD), *tool_rows(report)], [False, True, True] + [False] * 3)]
    offsets = offset_rows(report)
    if offsets:
        lines += ["", *columns([list(OFFSET_HEAD), *offsets], [False] + [True] * 6)]
        lines += ["  Work frames in the pallet frame, mm and degrees."]
    return lines + [f"  {note}" for note in notes(report)]


def _listed(letter: str, rows: Sequence[Row]) -> str:
    """Return rows of the tools file with their values; of many, the first ones."""
    values = ("not in the tools file" if r.value is None else number(r.value) for r in rows[:MOST])
    told = ", ".join(f"{letter}{r.row} {value}" for r, value in zip(rows, values, strict=False))
    return told + (f" and {len(rows) - MOST:,} more" if len(rows) > MOST else "")
