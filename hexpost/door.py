"""What ``import hexpost`` offers: jobs without the command line, as arrays whose units stand in their descriptions."""

from os import PathLike
from pathlib import Path

from hexpost.convert import Output, convert, report_of
from hexpost.errors import HexpostError, InputError, OutputError
from hexpost.machine.load import demonstration_machine, load_machine
from hexpost.machine.model import Machine
from hexpost.pipeline import Files, Job, load, schedule
from hexpost.report.model import Report
from hexpost.setpoints.model import Setpoints

Place = str | PathLike[str]

__all__ = [
    "HexpostError", "InputError", "Job", "Machine", "OutputError", "Report", "Setpoints", "audit_job", "load_job",
    "read_machine", "write_job",
]  # fmt: skip


def read_machine(file: Place | None = None) -> Machine:
    """Return the machine of a file (mm, s, rad inside), or the built-in demonstration machine, which is invented.

    Raises
    ------
    InputError
        With every fault of the file.
    """
    return demonstration_machine() if file is None else load_machine(Path(file))


def load_job(
    program: Place,
    *,
    machine: Place | None = None,
    tools: Place | None = None,
    setup: Place | None = None,
    feed: str = "as-programmed",
    period_ms: float | None = None,
    units: str | None = None,
) -> Job:
    """Return a job, read, understood and scheduled; nothing is sampled yet.

    ``job.setpoints()`` yields samples in batches: ``length`` mm, ``speed`` mm/s, ``acceleration`` mm/s2 and ``jerk``
    mm/s3, each (6, n), strut 1 first; ``poses.tick`` (n,) counts periods, ``poses.pose`` (6, n) is x y z in mm and a b
    c in rad in the work frame. A period is a whole number of microseconds. ``units`` (``"mm"``, ``"inch"``) are those
    of a program that states none.

    Raises
    ------
    InputError
        With every fault of every file.
    """
    named = [None if x is None else Path(x) for x in (machine, tools, setup)]
    files = Files(program=Path(program), machine=named[0], tools=named[1], setup=named[2], units=units)
    period = None if period_ms is None else round(period_ms * 1e3) / 1e6
    if period is not None and not 0.0 < period <= 1.0:
        raise HexpostError(f"period_ms: expected more than 0 and at most 1000, found {period_ms}")
    if units not in (None, "mm", "inch"):
        raise HexpostError(f"units: expected mm or inch, found {units!r:.40}")
    return schedule(load(files, period), feed)


def audit_job(job: Job) -> Report:
    """Return which blocks of a job break which limit; nothing is written."""
    return report_of(job)


def write_job(job: Job, folder: Place, *, table: str = "csv", overwrite: bool = False, proof: bool = True) -> Report:
    """Write the job folder (``table``: ``csv``, ``npy`` or ``parquet``) and return its report.

    Without ``proof`` the table is named as one that is not proven.

    Raises
    ------
    OutputError
        The folder holds something, or cannot be written.
    HexpostError
        The table is not proven to be what the program asks for.
    """
    return convert(job, Output(folder=Path(folder), table=table, overwrite=overwrite, proof=proof))
