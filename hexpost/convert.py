"""From a job to a job folder: tables, events, reports, copies of the inputs, and the manifest last."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path

import numpy as np

from hexpost.audit.model import AuditResult, Charted
from hexpost.feed.reasons import reasons
from hexpost.pipeline import Inputs, Job, Progress, audit_of, examine
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
from hexpost.tables.columns import TableColumns, choose, notices
from hexpost.tables.events import events_csv
from hexpost.tables.job import JobFolder
from hexpost.tables.manifest import JobFacts, manifest
from hexpost.tables.partial import EveryNth, SplitTable
from hexpost.tables.segments import Segments, waits
from hexpost.tables.table import Piece, describe, open_table, reading_name, table_name
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


def report_of(job: Job, progress: Progress | None = None, workers: int = 1) -> Report:
    """Return the report of a job, worked out on so many workers; nothing is written."""
    return _report(job, job.inputs, examine(job, progress=progress, workers=workers))


def convert(job: Job, output: Output, progress: Progress | None = None, workers: int = 1) -> Report:
    """Write the job folder and return the report; the same bytes on any number of workers.

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
    columns = choose(output.columns, job.gearing)
    with JobFolder(output.folder, overwrite=output.overwrite) as folder:
        audit = audit_of(job)
        writers = _Writers(job, output, columns, folder, charted=audit.charted)
        result = examine(job, writers, progress, workers, audit=audit)
        writers.end()
        report = _report(job, job.inputs, result)
        told = notices(columns, geared=job.gearing is not None)
        report = replace(report, warnings=(*told, *report.warnings))
        writers.keep(report)
        copies = _copies(job.inputs)
        for role, source in copies.items():
            folder.put(COPIES[role], source)
        facts = JobFacts(
            runnable=report.clean,
            inputs={role: COPIES[role] for role in copies},
            settings=_settings(job, output),
            tables=writers.tables,
            duration=report.duration,
        )
        folder.finish(manifest(facts, job.inputs.machine))
    return report


class _Writers:
    """All that takes the samples of a job as they come: its tables, their segments, the picture, a second solution.

    ``make`` and ``add`` every batch, ``end``, then ``keep`` what was made under the names that the report gives it.
    """

    def __init__(
        self, job: Job, output: Output, columns: TableColumns, folder: JobFolder, *, charted: Sequence[Charted]
    ) -> None:
        moves, machine, events = job.inputs.meaning.moves, job.inputs.machine, job.inputs.meaning.events
        rows = job.timing.ticks + 1
        self._job, self._output, self._columns, self._folder = job, output, columns, folder
        self._table = SplitTable(
            folder.part, output.table, columns, machine.period, rows=rows, each=output.rows_per_file
        )
        self._reading = _reading(folder, columns, machine.period, output.stride)
        self._ticks = job.timing.event_ticks(job.path, events)
        self._segments = Segments(waits(events, self._ticks, _block_ends(job)), machine.period)
        self._picture = Picture(rows, moves, machine, charted)
        self._again = SelfCheck(machine, moves.frames)
        self._parts: list[tuple[PartFile, int]] = []
        self.tables: dict[str, Mapping[str, object]] = {}

    def make(self, setpoints: Setpoints) -> list[Piece]:
        """Return a batch as the table holds it; in any process and any order."""
        return self._table.pieces(setpoints)

    def add(self, setpoints: Setpoints, pieces: Sequence[Piece]) -> None:
        """Take the next batch, and what was made of it."""
        self._again.add(setpoints)
        self._table.add(pieces)
        if self._reading is not None:
            self._reading.write(setpoints)
        self._picture.add(setpoints)
        self._segments.add(setpoints)

    def end(self) -> None:
        """Take no more; the table is made durable while the reports are written."""
        self._again.finish(self._job.timing.ticks)
        self._parts = self._table.finish()

    def keep(self, report: Report) -> None:
        """Give every file its name; ``tables`` is then what the manifest says of the table's."""
        folder, inputs, stride = self._folder, self._job.inputs, self._output.stride
        if self._reading is not None:
            self._reading.finish()
            folder.keep(self._reading.part, reading_name(stride))
        folder.put("events.csv", events_csv(inputs.meaning.events, self._ticks, inputs.machine.period))
        folder.put("segments.json", self._segments.document())
        for name, content in _reports(report, self._picture, inputs).items():
            folder.put(name, content)
        for i, (part, rows) in enumerate(self._parts, 1):
            number = i if self._output.rows_per_file else 0
            name = table_name(self._output.table, runnable=report.clean, number=number)
            folder.keep(part, name)
            self.tables[name] = describe(self._columns, report.period, rows, geared=self._job.gearing is not None)


def _reports(report: Report, picture: Picture, inputs: Inputs) -> dict[str, bytes]:
    """Return the reports, by the names of their files."""
    drawing = picture.finish() if report.rows else None
    return {
        "report.json": to_json(report).encode(),
        "report.txt": text(report).encode(),
        "report.html": page(report, drawing, inputs.program, inputs.machine),
    }


def _reading(folder: JobFolder, columns: TableColumns, period: float, stride: int) -> EveryNth | None:
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
        **({} if inputs.machine.asked_units is None else {"units": inputs.machine.asked_units.units}),
        **inputs.proving.settings,
        **({} if inputs.restart is None else inputs.restart.manifest),
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
    report = replace(report, sheet=sheet(inputs.meaning, inputs.tools, inputs.setup, until))
    if inputs.restart is not None:
        report = replace(report, restart=inputs.restart.settings)
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
