"""From the results of the stages to one report."""

from contextlib import suppress
from math import isfinite

import numpy as np

from hexpost.audit.model import BODIES, JOINTS, LIMITS, UNITS, AuditResult, Findings
from hexpost.feed.model import Reasons
from hexpost.machine.model import Machine, Setup, Tools
from hexpost.moves.model import Interpretation
from hexpost.program.model import Program
from hexpost.report.cautions import cautions
from hexpost.report.model import MOST_FINDINGS, FindingRow, MachineName, Remark, Report, StrutUse
from hexpost.report.words import clean

MOST_TEXT = 200
"""Characters of a block that a report quotes."""

_NO_TOOLS = "No tools file was given: every tool has length 0 and diameter 0."
_NO_OFFSETS = "The setup file holds no work offset: every one is the pallet frame."
_NO_SETUP = "No setup file was given: every work offset is the pallet frame."


def collect(
    program: Program,
    interpretation: Interpretation,
    audit: AuditResult,
    *,
    machine: Machine,
    tools: Tools,
    setup: Setup,
    feed: str = "as-programmed",
    reasons: Reasons | None = None,
) -> Report:
    """Return the report of a job; ``feed`` names the schedule (the option ``--feed``), ``reasons`` its causes."""
    no_offsets = _NO_OFFSETS if setup.given else _NO_SETUP
    missing = [text for text, given in ((_NO_TOOLS, tools.given), (no_offsets, bool(setup.offsets))) if not given]
    return Report(
        program=program.name,
        machine=MachineName(
            name=machine.name,
            revision=machine.revision,
            file=machine.file,
            demonstration=machine.demonstration,
        ),
        tools_file=tools.file if tools.given else None,
        setup_file=setup.file if setup.given else None,
        feed=feed,
        period=machine.period,
        duration=audit.duration,
        rows=audit.samples,
        struts=tuple(_strut(audit, k + 1) for k in range(len(machine.struts))),
        whole=tuple(w for w in audit.worst if w.strut == 0),
        findings=_rows(audit.findings, program, machine),
        findings_total=audit.findings.count + audit.dropped,
        blocks_total=len(np.unique(audit.findings.line)),
        readings=interpretation.readings,
        ignored=tuple(Remark(line=r.line, text=r.text, count=r.count) for r in interpretation.ignored),
        warnings=(*(w for w in missing if w not in audit.warnings), *audit.warnings),
        cautions=cautions(demonstration=machine.demonstration),
        reasons=reasons,
    )


def _strut(audit: AuditResult, strut: int) -> StrutUse:
    return StrutUse(
        strut=strut,
        shortest=float(audit.shortest[strut - 1]),
        longest=float(audit.longest[strut - 1]),
        worst=tuple(w for w in audit.worst if w.strut == strut),
    )


def _rows(found: Findings, program: Program, machine: Machine) -> tuple[FindingRow, ...]:
    return tuple(_row(found, i, program, machine) for i in range(min(found.count, MOST_FINDINGS)))


def _row(found: Findings, i: int, program: Program, machine: Machine) -> FindingRow:
    line, limit, feed = int(found.line[i]), LIMITS[found.limit[i]], float(found.feed[i])
    known = 1 <= line <= program.lines
    return FindingRow(
        limit=limit,
        strut=int(found.strut[i]) or None,
        line=line,
        block=program.block(line) if known else "",
        text=quoted(program.text(line)) if known else "",
        time=float(found.time[i]),
        until=float(found.until[i]),
        peak=float(found.peak[i]),
        allowed=float(found.allowed[i]),
        unit=UNITS[limit],
        ratio=float(found.ratio[i]),
        advice=found.advices[found.advice[i]],
        advice_feed=feed if isfinite(feed) else None,
        joint="" if found.joint is None else JOINTS[found.joint[i]],
        bodies=() if found.bodies is None or not found.bodies[i] else names_of(int(found.bodies[i]), machine),
    )


def names_of(bodies: int, machine: Machine) -> tuple[str, str]:
    """Return the names of two bodies, given as in ``Findings``; boxes have the names of the machine file."""
    names = [*(f"strut {k + 1}" for k in range(len(machine.struts))), "spindle"]
    names += [clean(box.name) for box in machine.keep_out]
    first, second = divmod(bodies - 1, BODIES)
    return names[first], names[second]


def quoted(text: str) -> str:
    """Return the text of a block as a report quotes it: UTF-8 where it is that, and cut where it is endless."""
    text = text.strip()
    with suppress(UnicodeError):
        text = text.encode("latin-1").decode("utf-8")
    return text if len(text) <= MOST_TEXT else text[: MOST_TEXT - 4] + " ..."
