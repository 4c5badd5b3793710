"""A job proves itself: the equations of ``verify`` on its table as it is written, before there is a manifest.

Where there is a second core they run in a process beside the writing. It is forked before the first sample, reads the
copies of the inputs as ``verify`` does, and then the file of the table as it grows; what it is told through a pipe is
only that there is more to read. Where no process can be started, all is read afterwards, in this one.
"""

import gc
import multiprocessing
import warnings
from collections.abc import Sequence
from multiprocessing.connection import Connection
from types import TracebackType
from typing import Self

from hexpost.errors import HexpostError
from hexpost.pipeline import Job
from hexpost.report.document import document
from hexpost.report.model import Report, Shown
from hexpost.setpoints.model import Setpoints
from hexpost.tables.whole import PartFile
from hexpost.verify.growing import Message, Statement, proven_while_written
from hexpost.verify.lock import locked
from hexpost.verify.samples import LEFT, SampleProof
from hexpost.verify.settings import JobInputs, JobSettings
from hexpost.workers.leash import leashed, undisturbed
from hexpost.workers.ordered import can_fork

UNPROVEN_HINT = "hint: --no-proof writes the table as setpoints.not-proven, to look at, never to be run"


class NotProvenError(HexpostError):
    """The table of a job is not proven to be what its program asks for: nothing of it may be run."""

    def __init__(self, faults: Sequence[str], what: str = "the job is not proven:", *hints: str) -> None:
        more = "nothing of this job was written; please report it with its program, machine, tools and setup file"
        super().__init__("\n    ".join([what, *faults, more, *hints]))
        self.faults = tuple(faults)


class BeyondProofError(HexpostError):
    """No table can tell what this job asks for: it is refused before it is made."""

    def __init__(self, why: str) -> None:
        hints = f"hint: hexpost audit looks at its limits all the same\n    {UNPROVEN_HINT}"
        super().__init__(f"the job cannot be proven: {why}\n    {hints}")


def provable(job: Job) -> None:
    """Raise BeyondProofError for a job of which nothing can be proven."""
    why = locked(job.inputs.machine, job.inputs.meaning.moves)
    if why is not None:
        raise BeyondProofError(why)


class OwnProof:
    """Proves a statement; told of every part of the table that is ``opened``, and that it has ``grown``."""

    def __init__(self, statement: Statement, *, beside: bool) -> None:
        self._statement = statement
        self._parts: list[PartFile] = []
        self._worker = _Beside(statement) if beside and can_fork() else None

    def opened(self, part: PartFile) -> None:
        """Take the next file of the table that is read."""
        if self._worker is not None:
            self._worker.tell(("open", part.path, self._parts[-1].size if self._parts else 0))
        self._parts.append(part)

    def grown(self) -> None:
        """Hear that there are more rows."""
        if self._worker is not None:
            self._worker.tell(("more", None, None))

    def end(self, kept: Sequence[PartFile]) -> None:
        """Finish the proof, after the other files of the job are in their places; ``kept``: the table that stays.

        Raises
        ------
        NotProvenError
            With what speaks against the job.
        """
        digests = [part.digest() for part in self._parts]
        for part in kept:
            part.digest()
        end: Message = ("end", [part.path for part in kept], None)
        if self._worker is not None:
            self._worker.tell(end)
            faults, read = self._worker.result()
        else:
            sizes = [0, *(part.size for part in self._parts)]
            told = [("open", part.path, size) for part, size in zip(self._parts, sizes, strict=False)]
            faults, read = proven_while_written(self._statement, iter([*told, end]).__next__)
        if not faults and read != digests:
            faults = ("files: the table that was read is not the one that was written",)
        if faults:
            raise NotProvenError(faults, "the job is not proven:", UNPROVEN_HINT)

    def __enter__(self) -> Self:
        """Return the proof itself."""
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        """End the process beside, whatever it does."""
        if self._worker is not None:
            self._worker.end()


class SeenSamples:
    """Proves the samples of a job as they stream, where no table is written: path, singular poses, stops."""

    def __init__(self, job: Job) -> None:
        inputs = job.inputs
        settings = JobSettings(feed=job.feed, yaw=job.yaw_mode, yaw_angle=job.frame_yaw)
        meant = JobInputs(machine=inputs.machine, tools=inputs.tools, meaning=inputs.meaning, settings=settings)
        self._proof = SampleProof(meant, inputs.machine.period)
        self._why = locked(inputs.machine, inputs.meaning.moves) or ""

    def see(self, setpoints: Setpoints) -> None:
        """Take the next samples."""
        self._proof.add(setpoints.length, setpoints.speed, setpoints.acceleration, setpoints.poses.line)

    def end(self, report: Report, *, doubt: bool) -> Shown:
        """Return what was proven and what not, after all samples; ``doubt``: their lengths mean more than one pose.

        Raises
        ------
        NotProvenError
            With what speaks against the samples.
        """
        checks = self._proof.finish(document(report))
        faults = [f"{check.name}: {fault}" for check in checks for fault in check.faults]
        if faults and not doubt and not self._why:
            raise NotProvenError(faults, "the samples are not proven:")
        sure = [check.name for check in checks if check.proven and not self._why]
        unsure = [check.name for check in checks if check.name not in sure]
        return Shown(proven=tuple(sure), left=(*unsure, *LEFT), why=self._why)


class _Beside:
    """The process that proves, as its starter sees it."""

    def __init__(self, statement: Statement) -> None:
        self._ours, theirs = multiprocessing.Pipe()

        def live() -> None:
            self._ours.close()
            leashed()
            gc.freeze()
            _answer(statement, theirs)

        self._process = multiprocessing.get_context("fork").Process(target=live, daemon=True)
        with undisturbed(), warnings.catch_warnings():
            warnings.simplefilter("ignore", DeprecationWarning)  # of threads: those of linear algebra may be copied
            self._process.start()
        theirs.close()

    def tell(self, message: Message) -> None:
        """Tell the process something; where it is gone, its result says so."""
        try:
            self._ours.send(message)
        except OSError:
            return

    def result(self) -> tuple[Sequence[str], list[str]]:
        """Wait for what speaks against the job, and the SHA-256 of the files that were read.

        Raises
        ------
        HexpostError
            The process has ended before its work was done.
        """
        try:
            faults, digests = self._ours.recv()
        except (EOFError, OSError):
            hint = "    hint: was memory short? --jobs 1 proves in this process"
            raise HexpostError(f"the process that proves the job ended before its work was done\n{hint}") from None
        return faults, digests

    def end(self) -> None:
        """End the process."""
        self._process.kill()
        self._process.join()
        self._ours.close()


def _answer(statement: Statement, starter: Connection) -> None:
    """Prove a statement in this process, and send what comes of it."""
    try:
        found = proven_while_written(statement, starter.recv)
    except EOFError:
        return  # nobody waits for it any more
    except Exception as error:  # noqa: BLE001 - whatever it is, the job is not proven
        found = ((f"the proof cannot go on: {type(error).__name__}: {error}",), [])
    starter.send(found)
