"""A job as a report says it, gathered from all stages, with what every report warns of."""

from hexpost.arrays import distinct
from hexpost.audit.model import AuditResult
from hexpost.feed.model import Reasons
from hexpost.machine.model import Machine, Setup, Tools
from hexpost.moves.model import Interpretation
from hexpost.program.model import Program
from hexpost.report.model import MOST_FINDINGS, IgnoredWord, MachineName, Report, StrutUse

DEMONSTRATION = (
    "DEMONSTRATION MACHINE: it is invented and does not exist. NO REAL MACHINE MAY RUN THIS OUTPUT. "
    "Give the file of your own machine with --machine."
)

_LIMITS_ONLY = (
    "A clean report says only that the limits of the machine file hold along the programmed path. It knows nothing of "
    "collisions, fixtures, a wrong work offset, a worn or wrong tool, or a machine that differs from its file."
)
_PROVE = (
    "Prove the program before you cut. Check units, offsets and tool data. Run it dry above the work with guards shut, "
    "block by block, overrides low, a hand at feed hold. Then cut a first part."
)
_OTHERS_FIRST = (
    "The machine builder's manual, the rules of your workshop and local law come first. Only people qualified for this "
    "machine should run the job, and they answer for it. Nothing here is a safety function."
)


def cautions(*, demonstration: bool) -> tuple[str, ...]:
    """Return the cautions of a job, the loudest first (common practice in workshops, no source)."""
    always = (_LIMITS_ONLY, _PROVE, _OTHERS_FIRST)
    return (DEMONSTRATION, *always) if demonstration else always


NEAR_MM = 10.0
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
    found = audit.findings
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
        findings=tuple(found.row(i, program) for i in range(min(found.count, MOST_FINDINGS))),
        findings_total=audit.total,
        blocks_total=len(distinct(found.line)),
        readings=interpretation.readings,
        ignored=tuple(IgnoredWord(line=r.line, text=r.text, count=r.count) for r in interpretation.ignored),
        warnings=(*(w for w in missing if w not in audit.warnings), *audit.warnings),
        cautions=cautions(demonstration=machine.demonstration),
        reasons=reasons,
        unseen=audit.unseen,
        ambiguous=audit.ambiguous,
        behaviour=audit.behaviour,
        nearest=tuple(n for i, n in enumerate(audit.nearest) if i == 0 or n.worst.value < _near(n.worst.allowed)),
    )


def _near(allowed: float) -> float:
    """Return the distance in mm below which two bodies are near: twice what is allowed, at least ``NEAR_MM`` more."""
    return max(2.0 * allowed, allowed + NEAR_MM)


def _strut(audit: AuditResult, strut: int) -> StrutUse:
    return StrutUse(
        strut=strut,
        shortest=float(audit.shortest[strut - 1]),
        longest=float(audit.longest[strut - 1]),
        worst=tuple(w for w in audit.worst if w.strut == strut),
    )
