"""All that takes the samples of a job as they come: its tables, their segments, the picture, a second solution."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from hexpost.arrays import Flags, Ints, among, distinct
from hexpost.audit.audit import Audit
from hexpost.audit.model import Charted
from hexpost.pipeline import Inputs, Job
from hexpost.proving import block_ends
from hexpost.report.document import to_json
from hexpost.report.model import Report
from hexpost.report.page import MOST_FINDINGS, page
from hexpost.report.picture import Drawing, Picture
from hexpost.report.text import text
from hexpost.report.track import ENDS, DrawnWay, Track, gather, merged, row_ticks, way_ticks, worst_of
from hexpost.selfcheck import SelfCheck
from hexpost.setpoints.model import Setpoints
from hexpost.setpoints.solve import at_ticks
from hexpost.tables.columns import TableColumns, choose, lacking_columns
from hexpost.tables.events import events_csv
from hexpost.tables.job import JobFolder
from hexpost.tables.knots import KNOTS_FILE, KnotTable
from hexpost.tables.partial import EveryNth, SplitTable
from hexpost.tables.segments import Segments, Wait, waits
from hexpost.tables.table import Piece, SetpointTable, describe, open_table, reading_name, table_name
from hexpost.tables.whole import PartFile

if TYPE_CHECKING:
    from hexpost.ownproof import OwnProof


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
    knots_within: float | None = None
    """Adds a table of knots whose cubics stay so near to the rows, mm."""
    proof: bool = True
    """Whether the table is named as one that is proven to be what the program asks for."""


class JobWriters:
    """All that takes the samples of a job as they come: its tables, their segments, the picture, a second solution.

    ``make`` and ``add`` every batch, ``end``, then ``keep`` what was made under the names that the report gives it.
    ``proof`` hears of the table, or of a whole one beside a table that lacks columns that a proof needs; ``insist``: it
    is ended near a singular pose, too.
    """

    def __init__(
        self,
        job: Job,
        output: Output,
        columns: TableColumns,
        folder: JobFolder,
        *,
        audit: Audit,
        proof: "OwnProof | None",
        insist: bool,
    ) -> None:
        moves, machine, events = job.inputs.meaning.moves, job.inputs.machine, job.inputs.meaning.events
        rows = job.timing.ticks + 1
        self._job, self._output, self._columns, self._folder, self._proof = job, output, columns, folder, proof
        self._insist = insist
        shown = proof is not None and not lacking_columns(columns)
        part = self._shown if shown else folder.part
        self._table = SplitTable(part, output.table, columns, machine.period, rows=rows, each=output.rows_per_file)
        self._beside: SetpointTable | None = None
        if proof is not None and not shown:
            self._beside = open_table(self._shown("proof"), "csv", whole_columns(columns, job), machine.period)
        self._reading = _reading(folder, columns, machine.period, output.stride)
        self._ticks = job.timing.event_ticks(job.path, events)
        self._segments = Segments(waits_of(job), machine.period)
        self._charted = charted = audit.charted
        self._loads = audit.loads if columns.loaded else None
        self.jerks = columns.jerks
        self._knots = _knots(job, output.knots_within, folder, self._ticks)
        self._kept = _kept_rows(job, charted)
        self._picture = Picture(rows, moves, machine, charted, way=_way(self._kept, job), followed=audit.followed)
        self._again = SelfCheck(machine, moves.frames)
        self._parts: list[tuple[PartFile, int]] = []
        self.tables: dict[str, Mapping[str, object]] = {}

    def _shown(self, stem: str) -> PartFile:
        """Return a file to be written, of which the proof hears."""
        part = self._folder.part(stem)
        assert self._proof is not None
        self._proof.opened(part)
        return part

    def make(self, setpoints: Setpoints) -> tuple[list[Piece], list[Piece]]:
        """Return a batch as the table holds it, and as that of the proof does; in any process and any order."""
        told = self._told(setpoints)
        return self._table.pieces(told), [] if self._beside is None else self._beside.pieces(told)

    def add(self, setpoints: Setpoints, pieces: tuple[Sequence[Piece], Sequence[Piece]]) -> None:
        """Take the next batch, and what was made of it."""
        self._again.add(setpoints)
        self._table.add(pieces[0])
        for piece in pieces[1]:
            assert self._beside is not None
            self._beside.add(piece)
        if self._proof is not None:
            self._proof.grown()
        if self._reading is not None:
            self._reading.write(self._told(setpoints))
        self._picture.add(setpoints)
        self._segments.add(setpoints)
        if self._knots is not None:
            self._knots.add(setpoints)

    def _told(self, setpoints: Setpoints) -> Setpoints:
        """Return a batch as a table tells it: with loads, where it has columns for them."""
        return setpoints if self._loads is None else replace(setpoints, load=self._loads.of(setpoints))

    def end(self) -> None:
        """Take no more; the table is made durable while the reports are written."""
        self._again.finish(self._job.timing.ticks)
        self._parts = self._table.finish()
        if self._beside is not None:
            self._beside.finish()

    def keep(self, report: Report) -> None:
        """Give every file its name, the table last, once it is proven; ``tables``: what the manifest says of it.

        Raises
        ------
        NotProvenError
            It is not proven.
        """
        folder, inputs, stride = self._folder, self._job.inputs, self._output.stride
        if self._reading is not None:
            self._reading.finish()
            folder.keep(self._reading.part, reading_name(stride))
        knots = self._knots
        if knots is not None:
            knots.finish()
            folder.keep(knots.part, KNOTS_FILE)
        knot = None if knots is None else knots.number_of
        folder.put("events.csv", events_csv(inputs.meaning.events, self._ticks, inputs.machine.period, knot))
        folder.put("segments.json", self._segments.document())
        for name, content in _reports(report, self._drawing(report), inputs).items():
            folder.put(name, content)
        if self._proof is not None and (self._insist or not report.ambiguous):
            self._proof.end([] if self._beside is None else [part for part, _ in self._parts])
        for i, (part, rows) in enumerate(self._parts, 1):
            number = i if self._output.rows_per_file else 0
            name = table_name(self._output.table, runnable=report.clean, proven=report.proven, number=number)
            folder.keep(part, name)
            self.tables[name] = describe(self._columns, report.period, rows, geared=self._job.gearing is not None)

    def _drawing(self, report: Report) -> Drawing | None:
        """Return what the page draws, with the rows that it keeps: findings and the worst of each column among them."""
        if not report.rows:
            return None
        drawing, moves = self._picture.finish(), self._job.inputs.meaning.moves
        total, period = report.rows, report.period
        ticks = distinct((drawing.peak[:, None] + np.arange(drawing.group)).ravel())
        ticks = ticks[(ticks >= 0) & (ticks < total)]
        worst = gather(_at(self._job, ticks), moves, self._charted)
        times = [*(f.time for f in report.findings[:MOST_FINDINGS]), *(w.time for s in report.struts for w in s.worst)]
        named = distinct(np.clip(np.round(np.array(times) / period), 0, total - 1).astype(np.int64))
        found = gather(_at(self._job, named), moves, self._charted)
        if worst is not None:
            worst = worst_of(worst, worst.tick * len(drawing.peak) // total)
        parts = [x and replace(x, full=np.ones_like(x.full)) for x in (worst, found)]
        return replace(drawing, track=merged([self._kept, *parts]))


def _at(job: Job, tick: Ints) -> Iterator[tuple[Setpoints, Flags]]:
    """Yield the samples of a job at rising ticks (n,) alone."""
    inputs = job.inputs
    moves, machine = inputs.meaning.moves, inputs.machine
    return at_ticks(job.timing, job.path, moves, machine, yaw=job.yaw, tick=tick, cutting=job.cutting)


def _kept_rows(job: Job, charted: Sequence[Charted]) -> Track | None:
    """Return the rows that the page keeps whatever is found."""
    moves, last = job.inputs.meaning.moves, job.timing.ticks
    ends: Ints = np.zeros(0, dtype=np.int64)
    if moves.count <= ENDS:
        ends = job.timing.end_ticks(job.path, np.arange(moves.count))
    way, rows = way_ticks(last, ends), row_ticks(last, ends)
    track = gather(_at(job, distinct(np.concatenate([way, rows]))), moves, charted)
    return track and replace(track, full=among(track.tick, rows), way=among(track.tick, way))


def _way(track: Track | None, job: Job) -> DrawnWay | None:
    """Return what follows the samples along the path that is drawn."""
    if track is None:
        return None
    return DrawnWay(
        track.tick[track.way], track.tip[:, track.way], [f.base_from_work for f in job.inputs.meaning.moves.frames]
    )


def whole_columns(columns: TableColumns, job: Job) -> TableColumns:
    """Return columns, with all that a proof needs."""
    return choose((*choose((), job.gearing).names, *columns.names), job.gearing)


def _reports(report: Report, drawing: Drawing | None, inputs: Inputs) -> dict[str, bytes]:
    """Return the reports, by the names of their files."""
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


def _knots(job: Job, within: float | None, folder: JobFolder, ticks: Ints) -> KnotTable | None:
    """Return the table of knots, if one is asked for: the rows of events and waits are knots, and the last one."""
    if within is None:
        return None
    must = [*ticks.tolist(), *(wait.row for wait in waits_of(job)), job.timing.ticks]
    return KnotTable(folder.part("knots"), job.inputs.machine.period, within, must)


def waits_of(job: Job) -> list[Wait]:
    """Return the waits of a job."""
    events = job.inputs.meaning.events
    return waits(events, job.timing.event_ticks(job.path, events), _block_ends(job))


def _block_ends(job: Job) -> dict[int, int]:
    """Return, block by block, the last rows of the blocks with their lines; nothing where the job runs through."""
    if not job.inputs.proving.single_block:
        return {}
    moves = job.inputs.meaning.moves
    ends = block_ends(moves)
    rows = job.timing.end_ticks(job.path, ends)
    return dict(zip(rows.tolist(), moves.line[ends].tolist(), strict=True))
