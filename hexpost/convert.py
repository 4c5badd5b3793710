"""From a job to a job folder: tables, events, reports, copies of the inputs, and the manifest last."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path

import numpy as np

from hexpost.audit.model import AuditResult
from hexpost.feed.reasons import reasons
from hexpost.pipeline import Inputs, Job, Progress, examine
from hexpost.proving import block_ends
from hexpost.report.collect import collect
from hexpost.report.document import to_json
from hexpost.report.model import Report
from hexpost.report.page import page
from hexpost.report.picture import Picture
from hexpost.report.sheet import last_moves, sheet
from hexpost.report.text import text
from hexpost.selfcheck import SelfCheck
from hexpost.setpoints.model import Setpoints
from hexpost.shelf import Text
from hexpost.tables.columns import Columns, choose
from hexpost.tables.events import events_csv
from hexpost.tables.extracts import EveryNth, SplitTable
from hexpost.tables.job import JobFolder
from hexpost.tables.manifest import JobFacts, manifest
from hexpost.tables.segments import Segments, waits
from hexpost.tables.table import Size, describe, open_table, reading_name, table_name
from hexpost.tables.whole import PartFile
from hexpost.units import DEG_PER_RAD

COPIES = {
    "program": "inputs/program.nc",
    "machine": "inputs/machine.toml",
    "tools": "inputs/tools.toml",
    "setup": "inputs/setup.toml",
}
"""Names of the byte copies of the inputs: fixed, so that no name from outside meets another or the file system."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Output:
    """Where a job goes and in which form; no ``columns`` means all.

    ``rows_per_file`` cuts the table into files (0: one); ``stride`` asks for one more, every so many rows (0: none).
    """

    folder: Path
    overwrite: bool = False
    table: str = "csv"
    columns: Sequence[str] = field(default=())
    rows_per_file: int = 0
    stride: int = 0


def report_of(job: Job, progress: Progress | None = None) -> Report:
    """Return the report of a job; nothing is written."""
    return _report(job, job.inputs, examine(job, progress=progress))


def convert(job: Job, output: Output, progress: Progress | None = None) -> Report:
    """Write the job folder and return the report.

    A job that breaks a limit is not runnable: its table has a name that says so.

    Raises
    ------
    InputError
        A column is not known.
    OutputError
        The folder holds something, or cannot be written; nothing then stands under a final name.
    SelfCheckError
        A row solved again in a second way came out another.
    """
    inputs = job.inputs
    columns = choose(output.columns, job.gearing)
    with JobFolder(output.folder, overwrite=output.overwrite) as folder:
        rows, most = job.timing.ticks + 1, output.rows_per_file
        table = SplitTable(folder.part, output.table, columns, inputs.machine.period, rows=rows, each=most)
        reading = _reading(folder, columns, inputs.machine.period, output.stride)
        ticks = job.timing.event_ticks(job.path, inputs.meaning.events)
        segments = Segments(waits(inputs.meaning.events, ticks, _block_ends(job)), inputs.machine.period)
        picture = Picture(job.timing.ticks + 1, inputs.meaning.moves, inputs.machine)

        again = SelfCheck(inputs.machine, inputs.meaning.moves.frames)

        def each(setpoints: Setpoints) -> None:
            again.add(setpoints)
            table.write(setpoints)
            if reading is not None:
                reading.write(setpoints)
            picture.add(setpoints)
            segments.add(setpoints)

        result = examine(job, each, progress)
        again.finish(job.timing.ticks)
        parts = table.finish()  # made durable while the reports are written
        report = _report(job, inputs, result)
        if reading is not None:
            reading.finish()
            folder.keep(reading.part, reading_name(output.stride))
        folder.put("events.csv", events_csv(inputs.meaning.events, ticks, inputs.machine.period))
        folder.put("segments.json", segments.document())
        for name, content in _reports(report, picture, inputs).items():
            folder.put(name, content)
        copies = _copies(inputs)
        for role, source in copies.items():
            folder.put(COPIES[role], source)
        tables = _keep(folder, parts, columns, output, report)
        facts = JobFacts(
            runnable=report.clean,
            inputs={role: COPIES[role] for role in copies},
            settings=_settings(job, output),
            tables=tables,
            duration=report.duration,
        )
        folder.finish(manifest(facts, inputs.machine))
    return report


def _reports(report: Report, picture: Picture, inputs: Inputs) -> dict[str, bytes]:
    """Return the reports, by the names of their files."""
    drawing = picture.finish() if report.rows else None
    return {
        "report.json": to_json(report).encode(),
        "report.txt": text(report).encode(),
        "report.html": page(report, drawing, inputs.program, inputs.machine),
    }


def _keep(
    folder: JobFolder, parts: Sequence[tuple[PartFile, Size]], columns: Columns, output: Output, report: Report
) -> dict[str, Mapping[str, object]]:
    """Give the files of the table their names; return what the manifest says of each."""
    told: dict[str, Mapping[str, object]] = {}
    for i, (part, size) in enumerate(parts, 1):
        number = i if output.rows_per_file else 0
        name = table_name(output.table, runnable=report.clean, number=number)
        folder.keep(part, name)
        told[name] = describe(columns, report.period, size.rows)
    return told


def _reading(folder: JobFolder, columns: Columns, period: float, stride: int) -> EveryNth | None:
    """Return the table for reading by eye, if one is asked for."""
    if not stride:
        return None
    return EveryNth(open_table(folder.part("reading"), "csv", columns, period), stride)


def _settings(job: Job, output: Output) -> dict[str, object]:
    """Return what the job was made with, for the manifest."""
    inputs = job.inputs
    return {
        "feed": job.feed,
        "yaw": job.yaw_mode,
        "yaw_deg": job.frame_yaw * DEG_PER_RAD,
        "period_us": round(inputs.machine.period * 1e6),
        "table": output.table,
        **({"rows_per_file": output.rows_per_file} if output.rows_per_file else {}),
        **({"stride": output.stride} if output.stride else {}),
        "skip": inputs.switches.skip,
        "stops": inputs.switches.stops,
        **inputs.proving.settings,
        **({} if inputs.restart is None else {"restart": inputs.restart.settings}),
    }


def _block_ends(job: Job) -> dict[int, int]:
    """Return, block by block, the last rows of the blocks with their lines; nothing where the job runs through."""
    if not job.inputs.proving.single_block:
        return {}
    moves = job.inputs.meaning.moves
    ends = block_ends(moves)
    rows = job.timing.end_ticks(job.path, ends)
    return dict(zip(rows.tolist(), moves.line[ends].tolist(), strict=True))


def _report(job: Job, inputs: Inputs, result: AuditResult) -> Report:
    report = collect(
        inputs.program,
        inputs.meaning,
        result,
        machine=inputs.machine,
        tools=inputs.tools,
        setup=inputs.setup,
        feed=job.feed,
        reasons=reasons(job.timing, job.path, inputs.meaning.moves),
    )
    ends = job.timing.end_ticks(job.path, last_moves(inputs.meaning.moves))
    until = ends.astype(np.float64) * inputs.machine.period
    report = replace(report, sheet=sheet(inputs.program, inputs.meaning, inputs.tools, inputs.setup, until))
    notice = inputs.proving.notice(inputs.restart)
    return replace(report, warnings=(notice, *report.warnings)) if notice else report


def _copies(inputs: Inputs) -> dict[str, Text]:
    """Return, by role, the bytes of each input that there is."""
    out: dict[str, Text] = {"program": inputs.program.source, "machine": inputs.machine.source}
    if inputs.tools.given:
        out["tools"] = inputs.tools.source
    if inputs.setup.given:
        out["setup"] = inputs.setup.source
    return out
