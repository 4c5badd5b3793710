"""From a job to a job folder: tables, events, reports, copies of the inputs, and the manifest last."""

from collections.abc import Callable
from contextlib import ExitStack
from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from hexpost.advised import with_tried_feeds
from hexpost.audit.model import AuditResult
from hexpost.calming import with_calmed
from hexpost.comparison import compared_with
from hexpost.documents import given
from hexpost.feed.least import least_seconds
from hexpost.feed.model import Reasons
from hexpost.feed.reasons import reasons
from hexpost.machine.ordinary import OrdinaryMachine
from hexpost.pipeline import Inputs, Job, Progress, audit_of, examine
from hexpost.report.against import HereAndThere
from hexpost.report.beside import beside
from hexpost.report.collect import collect
from hexpost.report.model import Report, Smoothed
from hexpost.report.sheet import last_moves, sheet
from hexpost.setpoints.model import Setpoints
from hexpost.shelf import Text
from hexpost.tables.columns import TableColumns, choose, lacking_columns, notices
from hexpost.tables.job import JobFolder
from hexpost.tables.manifest import JobFacts, manifest
from hexpost.tables.table import describe
from hexpost.units import DEG_PER_RAD
from hexpost.writers import JobWriters, Output, waits_of, whole_columns

if TYPE_CHECKING:
    from hexpost.ownproof import OwnProof

__all__ = ["Output"]  # named here for those above

COPIES = {
    "program": "inputs/program.nc",
    "machine": "inputs/machine.toml",
    "tools": "inputs/tools.toml",
    "setup": "inputs/setup.toml",
    "compared": "inputs/compared.toml",
}
"""Names of the byte copies of the inputs: fixed, so that no name from outside meets another or the file system."""


def report_of(
    job: Job, progress: Progress | None = None, workers: int = 1, *,
    prove: bool = False, other: OrdinaryMachine | None = None, see: Callable[[Setpoints], None] = lambda _: None,
) -> Report:  # fmt: skip
    """Return the report of a job, worked out on so many workers, and let ``see`` see the samples; nothing is written.

    ``prove``: path, singular poses and stops are found again from the samples, by the equations of ``verify``;
    ``other``: with the time that the same program takes there.

    Raises
    ------
    InputError
        The program cannot be run there.
    NotProvenError
        The samples are not those that the program asks for.
    """
    compared = None if other is None else compared_with(job, other)
    if not prove:
        return _report(job, examine(job, progress=progress, workers=workers, see=see), compared)
    from hexpost.ownproof import SeenSamples  # equations that a job without a proof has no use for

    proof = SeenSamples(job)

    def both(setpoints: Setpoints) -> None:
        proof.see(setpoints)
        see(setpoints)

    result = examine(job, progress=progress, workers=workers, see=both)
    report = _report(job, result, compared)
    return replace(report, shown=proof.end(report, doubt=result.ambiguous))


def convert(
    job: Job, output: Output, progress: Progress | None = None, workers: int = 1, *,
    prove: bool | None = None, other: OrdinaryMachine | None = None,
) -> Report:  # fmt: skip
    """Write the job folder and return the report; the same bytes on any number of workers.

    A job that breaks a limit is not runnable: its table has a name that says so. The table is proven to be what the
    program asks for, with several workers in a process beside, unless it is named otherwise; ``prove``: whether or not,
    whatever its name. Near a singular pose no table can be proven: it is named so, unless ``prove`` insists. ``other``:
    the report says how long the same program takes there.

    Raises
    ------
    InputError
        A column is not known, or the program cannot be run on the ``other`` machine.
    OutputError
        The folder holds something, or cannot be written; nothing then stands under a final name.
    SelfCheckError
        A row solved again in a second way came out another.
    BeyondProofError
        No table could tell what the program asks for.
    NotProvenError
        The equations of ``verify`` do not find the program in the table.
    """
    columns = choose(output.columns, job.gearing)
    compared = None if other is None else compared_with(job, other)
    with JobFolder(output.folder, overwrite=output.overwrite) as folder, ExitStack() as stack:
        audit = audit_of(job)
        copies = _copies(job.inputs, other)
        for role, source in copies.items():
            folder.put(COPIES[role], source)
        wanted = output.proof if prove is None else prove
        proof = _proof(job, output, columns, folder, list(copies), beside=workers > 1) if wanted else None
        if proof is not None:
            stack.enter_context(proof)
        writers = JobWriters(job, output, columns, folder, audit=audit, proof=proof, insist=bool(prove))
        result = examine(job, writers, progress, workers, audit=audit)
        writers.end()
        report = _report(job, result, compared)
        told = notices(columns, geared=job.gearing is not None)
        if result.ambiguous:
            output = replace(output, proof=False)
        report = replace(report, warnings=(*told, *report.warnings), proven=output.proof)
        writers.keep(report)
        facts = JobFacts(
            runnable=report.runnable,
            inputs={role: COPIES[role] for role in copies},
            settings=_settings(job, output),
            tables=writers.tables,
            duration=report.duration,
        )
        folder.finish(manifest(facts, job.inputs.machine))
    return report


def _proof(
    job: Job, output: Output, columns: TableColumns, folder: JobFolder, roles: list[str], *, beside: bool
) -> "OwnProof":
    """Return the proof of a job that can have one, begun in a process ``beside`` if that is asked for and can be."""
    from hexpost.ownproof import OwnProof, provable
    from hexpost.verify.growing import Statement

    provable(job)
    rows, geared = job.timing.ticks + 1, job.gearing is not None
    ends = [w.row for w in waits_of(job)]
    narrow = bool(lacking_columns(columns))
    period = job.inputs.machine.period
    return OwnProof(
        Statement(
            root=folder.building,
            inputs={role: COPIES[role] for role in roles},
            settings=_settings(job, output),
            table=describe(whole_columns(columns, job) if narrow else columns, period, rows, geared=geared),
            kind="csv" if narrow else output.table,
            rows=rows,
            ends=ends if rows - 1 in ends else [*ends, rows - 1],
            geared=geared,
            narrow=(columns.names, output.table) if narrow else None,
        ),
        beside=beside,
    )


def _settings(job: Job, output: Output) -> dict[str, object]:
    """Return what the job was made with, for the manifest."""
    inputs = job.inputs
    return {
        "feed": job.feed,
        "yaw": job.yaw_mode,
        **({"yaw_asked": job.yaw_asked} if job.yaw_asked != job.yaw_mode else {}),
        "yaw_deg": job.frame_yaw * DEG_PER_RAD,
        "period_us": round(inputs.machine.period * 1e6),
        "table": output.table,
        **({"rows_per_file": output.rows_per_file} if output.rows_per_file else {}),
        **({"stride": output.stride} if output.stride else {}),
        **({} if output.knots_within is None else {"knots_within_um": given(1e3 * output.knots_within)}),
        "skip": inputs.switches.skip,
        "stops": inputs.switches.stops,
        **({"at_most": [cap.text for cap in inputs.switches.at_most]} if inputs.switches.at_most else {}),
        **({} if inputs.machine.asked_units is None else {"units": inputs.machine.asked_units.units}),
        **({} if output.proof else {"proof": False}),
        **({"calm_lowest": True} if inputs.switches.calm else {}),
        **({"effort": "best"} if inputs.switches.effort else {}),
        **inputs.proving.settings,
        **({} if inputs.restart is None else inputs.restart.manifest),
    }


def _smoothed(job: Job) -> Smoothed | None:
    """Return what dense chains became."""
    ends = job.path.ends
    if not ends.curves:
        return None
    return Smoothed(moves=ends.moves, curves=ends.curves, tip=ends.off[0], tilt=ends.off[1])


def _reasons(job: Job) -> Reasons:
    """Return why a job is not faster, and how much faster it could be at most."""
    timing, path, moves, machine = job.timing, job.path, job.inputs.meaning.moves, job.inputs.machine
    least = least_seconds(timing, path, moves, machine, job.feed, struts=job.yaw is None)
    return replace(reasons(timing, path, moves), taken=timing.ticks * timing.period, least=least)


def _report(job: Job, result: AuditResult, compared: HereAndThere | None) -> Report:
    inputs, result = job.inputs, with_calmed(job, with_tried_feeds(job, result))
    report = collect(
        inputs.program,
        inputs.meaning,
        result,
        machine=inputs.machine,
        tools=inputs.tools,
        setup=inputs.setup,
        feed=job.feed,
        reasons=_reasons(job),
    )
    ends = job.timing.end_ticks(job.path, last_moves(inputs.meaning.moves))
    until = ends.astype(np.float64) * inputs.machine.period
    report = replace(
        report,
        sheet=sheet(inputs.meaning, inputs.tools, inputs.setup, until, inputs.machine.times),
        beside=beside(inputs.meaning.events, inputs.machine.times),
        compared=compared,
        smoothed=_smoothed(job),
    )
    if inputs.switches.at_most:
        report = replace(report, warnings=(*(cap.sentence for cap in inputs.switches.at_most), *report.warnings))
    if inputs.restart is not None:
        report = replace(report, restart=inputs.restart.settings)
    notice = inputs.proving.notice(inputs.restart)
    return replace(report, warnings=(notice, *report.warnings)) if notice else report


def _copies(inputs: Inputs, other: OrdinaryMachine | None) -> dict[str, Text]:
    """Return, by role, the bytes of each input that there is."""
    out: dict[str, Text] = {"program": inputs.program.source, "machine": inputs.machine.source}
    if inputs.tools.given:
        out["tools"] = inputs.tools.source
    if inputs.setup.given:
        out["setup"] = inputs.setup.source
    if other is not None:
        out["compared"] = other.source
    return out
