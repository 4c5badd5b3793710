"""The order of the stages, and nothing else."""

from collections.abc import Callable, Generator, Sequence
from contextlib import closing
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TypeVar

from hexpost import shelf
from hexpost.arrays import Array
from hexpost.audit.audit import Audit
from hexpost.audit.checks import ALL_LIMITS, Checking
from hexpost.audit.model import AuditResult
from hexpost.audit.program_remarks import program_remarks
from hexpost.errors import Fault, HexpostError, InputError
from hexpost.feed.model import Timing, TooLongError
from hexpost.feed.plan import least_time
from hexpost.feed.task import MODES
from hexpost.machine.load import demonstration_machine, load_machine, load_setup, load_tools, no_setup, no_tools
from hexpost.machine.model import Machine, Setup, Tools
from hexpost.machine.reading import read_text
from hexpost.motion import motion
from hexpost.moves.interpret import interpret
from hexpost.moves.mistakes import told
from hexpost.moves.model import USUAL, Interpretation, Switches
from hexpost.moves.order.begin import Asked, asked
from hexpost.moves.restart import Restart
from hexpost.path.build import build
from hexpost.path.model import ToolPath
from hexpost.program.model import Program
from hexpost.program.read import read
from hexpost.proving import AS_PROGRAMMED, Proving, begun_again, proving_moves, slowed, switched
from hexpost.setpoints.between import Between
from hexpost.setpoints.command import gearing, makes_up
from hexpost.setpoints.cutting import Cutting, cutting_of
from hexpost.setpoints.model import Gearing, Setpoints, YawProfile
from hexpost.setpoints.solve import Writers, stream
from hexpost.shelf import Text

MOST_BYTES, MOST_LINES = 500_000_000, 20_000_000
"""A program file is not longer than this."""
_PIECE = 1 << 22
MOST_ROWS = 720_000_000
"""A job has no more setpoints than this, unless more are allowed: 200 hours at a period of 1 ms."""
NAMED = "NF"
"""Addresses of the words that reports name: block numbers and feeds."""
__all__ = ["ALL_LIMITS", "Checking"]  # named here for those above
T = TypeVar("T")
M = TypeVar("M")
Progress = Callable[[int], None]


@dataclass(frozen=True, slots=True, kw_only=True)
class Files:
    """The files of a job, and how the operator's switches stand.

    ``None``: the demonstration machine, no tools, no offsets. ``units``: ``"mm"`` or ``"inch"`` of one without.
    """

    program: Path
    machine: Path | None = None
    tools: Path | None = None
    setup: Path | None = None
    switches: Switches = USUAL
    proving: Proving = AS_PROGRAMMED
    most_rows: int = MOST_ROWS
    units: str | None = None


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Inputs:
    """What the files hold, read and understood."""

    program: Program
    machine: Machine
    tools: Tools
    setup: Setup
    meaning: Interpretation
    switches: Switches = USUAL
    proving: Proving = AS_PROGRAMMED
    restart: Restart | None = None
    most_rows: int = MOST_ROWS
    checking: Checking = ALL_LIMITS


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Job:
    """Inputs with path and timing, without samples; ``yaw``: how the platform turns, beside the yaw of the frames."""

    inputs: Inputs
    path: ToolPath
    timing: Timing
    feed: str
    yaw: YawProfile | None = None
    yaw_mode: str = "fixed"
    yaw_asked: str = "fixed"  # and fixed all the same where nothing is gained by it

    @property
    def frame_yaw(self) -> float:
        """Return the yaw of the work frames, rad."""
        return next((f.yaw for f in self.inputs.meaning.moves.frames if f.yaw != 0.0), 0.0)

    @property
    def gearing(self) -> Gearing | None:
        """Return how the drives are geared, where the machine file describes its screws."""
        return gearing(self.inputs.machine)

    @property
    def cutting(self) -> Cutting | None:
        """Return the force on the tool, where commands make up for what struts give way."""
        i = self.inputs
        return cutting_of(i.machine, i.meaning, i.tools) if makes_up(i.machine) else None

    def setpoints(self, *, commands: bool = True) -> Generator[Setpoints, None, None]:
        """Yield the samples solved into struts, batch by batch; without ``commands`` they lack what drives follow."""
        return (setpoints for setpoints, _ in self.stream(lambda _: None, commands=commands))

    def stream(
        self, make: Callable[[Setpoints], M], *, commands: bool = True, workers: int = 1, jerks: bool = False
    ) -> Generator[tuple[Setpoints, M], None, None]:
        """Yield the samples, batch by batch, each with what ``make`` makes of it, on so many workers; then close it."""
        inputs = self.inputs
        return stream(
            self.timing, self.path, inputs.meaning.moves, inputs.machine,
            yaw=self.yaw, make=make, commands=commands, workers=workers, cutting=self.cutting, jerks=jerks,
        )  # fmt: skip


def load(files: Files, period: float | None = None) -> Inputs:
    """Read and understand all files of a job; ``period`` [s] replaces the machine file's.

    Raises
    ------
    InputError
        With every fault of every file.
    """
    faults: list[Fault] = []

    def attempt(reader: Callable[[Path], T], file: Path | None, default: Callable[[], T] | None = None) -> T | None:
        try:
            return default() if file is None and default else reader(file or Path())
        except InputError as error:
            faults.extend(error.faults)
            return None

    machine = attempt(load_machine, files.machine, demonstration_machine)
    tools = attempt(load_tools, files.tools, no_tools)
    setup = attempt(load_setup, files.setup, no_setup)
    source = attempt(content, files.program)
    program = None if source is None else read(source, str(files.program), faults)
    if machine is None or program is None:
        raise InputError(faults)
    begin = attempt(lambda _: asked(program, files.proving.from_line), None) if files.proving.from_line else None
    machine = switched(machine.with_units(files.units), files.switches)
    given = (program, machine, tools or no_tools(), replace(setup or no_setup(), lift=files.proving.lift), period)
    found = understand(*given, known=faults, switches=files.switches, begin=begin)
    meaning, restart = begun_again(found.meaning, files.proving, found.machine, found.tools, found.setup)
    return replace(
        found,
        machine=slowed(found.machine, files.proving),
        meaning=replace(meaning, moves=proving_moves(meaning.moves, files.proving)),
        proving=files.proving,
        restart=restart,
        most_rows=files.most_rows,
    )


def understand(
    program: Program,
    machine: Machine,
    tools: Tools,
    setup: Setup,
    period: float | None = None,
    *,
    known: Sequence[Fault] = (),
    switches: Switches = USUAL,
    begin: Asked | None = None,
) -> Inputs:
    """Interpret a program that was read, with files that were loaded; ``period`` [s] replaces the machine file's.

    ``known`` are the faults of its syntax and of the other files: what may follow from them is not told as well.

    Raises
    ------
    InputError
        With the known faults and every fault of its meaning, in the order of the text.
    """
    faults = list(known)
    machine = machine if period is None else replace(machine, period=period)
    meaning = interpret(program, machine, tools, setup, faults, switches=switches, begin=begin)
    if faults:
        own = told(known, faults[len(known) :], program.name, machine.dialect)
        raise InputError(sorted([*known, *own], key=lambda f: (f.line is None, f.line or 0, f.column or 0)))
    return Inputs(program=program, machine=machine, tools=tools, setup=setup, meaning=meaning, switches=switches)


def spared(inputs: Inputs) -> Inputs:
    """Return the inputs without the words that no report names: of a long program they take as much as its text."""
    return replace(inputs, program=inputs.program.only(NAMED))


def parse(source: Text, name: str) -> Program:
    """Read the text of a program; ``name`` is the file named in faults.

    Raises
    ------
    InputError
        With every fault of its syntax.
    """
    faults: list[Fault] = []
    program = read(source, name, faults)
    if faults:
        raise InputError(faults)
    return program


def content(path: Path) -> Text:
    """Return the text of a program.

    Raises
    ------
    InputError
        When it is missing, unreadable or no regular file, or longer than ``MOST_BYTES`` or ``MOST_LINES``.
    """
    source, lines = read_text(path, MOST_BYTES), 0
    for at in range(0, len(source), _PIECE):
        lines += source[at : at + _PIECE].count(b"\n")
        shelf.let_go()
    if lines > MOST_LINES:
        what = f"has {lines:,} lines; at most {MOST_LINES:,} are read"
        hint = "cut the program into several, each from rest to rest"
        raise InputError([Fault(file=str(path), what=what, code="too-large", hint=hint)])
    return source


def schedule(inputs: Inputs, feed: str = "as-programmed", workers: int = 1) -> Job:
    """Return the job with its path built and its feed planned, on so many workers.

    Raises
    ------
    InputError
        The program moves nothing, or takes more than ``inputs.most_rows`` setpoints.
    """
    if feed not in MODES:
        raise HexpostError(f"--feed {feed} is not one schedule; write {' or '.join(MODES)}")
    meaning = inputs.meaning
    if not meaning.moves.count:
        what, hint = "the program moves nothing", "is this a whole program, or only a part of one?"
        raise InputError([Fault(file=inputs.program.name, what=what, code="no-motion", hint=hint)])
    path, most = build(meaning.moves, inputs.machine), inputs.most_rows - 1
    try:
        path, timing = motion(
            path, meaning.moves, meaning.events, inputs.machine, feed, most_ticks=most, workers=workers
        )
    except TooLongError as error:
        raise _too_long(inputs, path, error.ticks + 1) from None
    return Job(inputs=inputs, path=path, timing=timing, feed=feed)


def _too_long(inputs: Inputs, path: ToolPath, rows: float) -> InputError:
    """Return the refusal of a job of more setpoints than are allowed, at the block that takes longest."""
    seconds, line = least_time(path, inputs.meaning.moves, inputs.meaning.events, inputs.machine)
    least = seconds / inputs.machine.period
    rows, hours = least if least > inputs.most_rows else rows, inputs.machine.period / 3600.0
    what = (
        f"the job takes {rows:,.0f} setpoints ({rows * hours:,.3g} h), and at most {inputs.most_rows:,} "
        f"({inputs.most_rows * hours:,.3g} h) are allowed; {'this block' if line else 'the approach'} takes longest"
    )
    hint = "is its feed or dwell right? a longer control period makes fewer setpoints, --most-rows allows more"
    return InputError([Fault(file=inputs.program.name, line=line or None, what=what, code="job-too-long", hint=hint)])


def audit_of(job: Job) -> Audit:
    """Return an audit of a job that has seen nothing yet."""
    i = job.inputs
    between = Between(job.timing, job.path, i.meaning.moves, i.machine, job.yaw)
    return Audit(i.machine, i.tools, i.meaning, i.program, i.checking, schedule=between)


def examine(
    job: Job, writers: Writers[M] | None = None, progress: Progress | None = None, workers: int = 1, *,
    audit: Audit | None = None, see: Callable[[Setpoints], None] = lambda _: None,
) -> AuditResult:  # fmt: skip
    """Run every sample through ``writers``, the audit and ``see``, on so many workers; return the findings."""
    i, checks = job.inputs, audit or audit_of(job)

    def make(setpoints: Setpoints) -> tuple[list[Array | None], list[M]]:
        return checks.measure(setpoints), [] if writers is None else [writers.make(setpoints)]

    jerks = writers is not None and writers.jerks
    with closing(job.stream(make, commands=writers is not None, workers=workers, jerks=jerks)) as stream:
        for setpoints, (measured, made) in stream:
            if writers is not None:
                writers.add(setpoints, made[0])
            checks.add(setpoints, measured)
            see(setpoints)
            if progress is not None:
                progress(setpoints.length.shape[1])
    result = checks.finish()
    return replace(result, warnings=(*result.warnings, *program_remarks(i.program, i.meaning, i.machine)))
