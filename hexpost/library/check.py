"""Check one program: what a worker does. Nothing is shared with other programs but the files they are judged with."""

import hashlib
import os
from dataclasses import replace
from functools import lru_cache
from pathlib import Path
from typing import TypeVar

from hexpost import pipeline
from hexpost.advised import with_tried_feeds
from hexpost.audit.model import AuditResult
from hexpost.errors import Fault, HexpostError, InputError
from hexpost.library.deadline import OutOfTime, deadline
from hexpost.library.findings import gather
from hexpost.library.model import CheckTask, InputFile, ProgramFault, Record, Use
from hexpost.library.records import to_bytes
from hexpost.machine.load import demonstration_machine, load_machine, load_setup, load_tools, no_setup, no_tools
from hexpost.machine.model import Machine, Setup, Tools
from hexpost.machine.reading import read_bytes
from hexpost.pipeline import ALL_LIMITS, Checking
from hexpost.shelf import Text

Loaded = TypeVar("Loaded", Machine, Tools, Setup)

MOST_MISTAKES = 100
"""So many mistakes of a program are listed; the rest are counted."""


def check(task: CheckTask, checking: Checking = ALL_LIMITS) -> tuple[str, bytes]:
    """Return the SHA-256 of the program that was read, and its record as JSON; never raises.

    ``checking``: what it is checked for, with the margins of the task.
    """
    try:
        source = pipeline.content(Path(task.path))
    except InputError as error:
        return "", to_bytes(_refused(error, task))
    digest = hashlib.sha256(source).hexdigest()
    checking = replace(checking, margins=task.margins)
    record = _record(source, task, checking.with_caps(task.at_most) if task.at_most else checking)
    return digest, to_bytes(replace(record, sha256=digest))


def _record(source: Text, task: CheckTask, checking: Checking) -> Record:
    """Return the record of a program; every way to fail becomes a mistake with a name."""
    try:
        with deadline(task.time_limit_s) as due:
            job = _job(source, task)
            due()
            job = replace(job, inputs=replace(job.inputs, checking=checking))
            result = pipeline.examine(job, progress=lambda _: due())
            return _of(with_tried_feeds(job, result), job)
    except InputError as error:
        return _refused(error, task)
    except OutOfTime:
        what = f"checking takes longer than {task.time_limit_s:g} s (time_limit_s of the policy)"
        return _given_up("out-of-time", what)
    except MemoryError:
        return _given_up("out-of-memory", "checking takes more memory than a worker has (--memory-mb)")
    except HexpostError as error:
        return _given_up("cannot-go-on", str(error))
    except Exception as error:  # noqa: BLE001 - one program must not stop the library
        what = f"internal fault ({type(error).__name__}: {error}): nothing is known of this program; report it"
        return _given_up("internal-fault", what)


def _job(source: Text, task: CheckTask) -> pipeline.Job:
    """Read, understand and schedule a program."""
    program = pipeline.parse(source, task.name)
    machine = machine_of(task.machine).with_units(task.units)
    tools, setup = tools_of(task.tools), setup_of(task.setup)
    return pipeline.schedule(pipeline.understand(program, machine, tools, setup, task.period), task.feed)


def _of(result: AuditResult, job: pipeline.Job) -> Record:
    """Return the record of an audited program."""
    worst: dict[str, Use] = {}
    for w in result.worst:
        if w.limit.name not in worst or w.ratio > worst[w.limit.name].use:
            worst[w.limit.name] = Use(use=w.ratio, strut=w.strut, line=w.line)
    inputs = job.inputs
    margins = dict(inputs.checking.margins)
    found, alike = gather(result.findings, inputs.program, margins)
    # a rule that is a remark names its first block alone and counts the others: it has no list of them to keep
    remarks = () if result.remarks is None else gather(result.remarks, inputs.program, margins)[0]
    return Record(
        duration_s=round(result.duration, 6),
        worst=worst,
        found=found + tuple(replace(f, blocks=max(int(f.peak), 1)) for f in remarks),
        alike=alike,
        dropped=result.dropped,
        warnings=result.warnings,
        unseen=result.unseen,
    )


def _refused(error: InputError, task: CheckTask) -> Record:
    """Return the record of a program that was not understood."""
    mistakes = tuple(_mistake(f, task) for f in error.faults[:MOST_MISTAKES])
    return Record(mistakes=mistakes, mistakes_total=error.total)


def _mistake(fault: Fault, task: CheckTask) -> ProgramFault:
    """Return one fault; no path is in it, so that equal programs have equal records wherever they lie."""
    return ProgramFault(
        code=fault.code,
        what=fault.what,
        line=fault.line,
        column=fault.column,
        text=fault.text[:1000],
        hint=fault.hint,
        file="" if fault.file in (task.name, task.path) else Path(fault.file).name,
    )


def _given_up(code: str, what: str) -> Record:
    """Return the record of a program that could not be checked this time."""
    return Record(mistakes=(ProgramFault(code=code, what=what),), mistakes_total=1, lasting=False)


def input_file(path: str) -> InputFile:
    """Return the file at ``path`` with the hash of what is there now.

    Raises
    ------
    InputError
        If it cannot be read.
    """
    return InputFile(path=os.path.realpath(path), sha256=hashlib.sha256(read_bytes(path)).hexdigest())


@lru_cache(maxsize=64)
def machine_of(file: InputFile | None) -> Machine:
    """Return the machine of a file, loaded once in each process."""
    return demonstration_machine() if file is None else _unchanged(file, load_machine(file.path))


@lru_cache(maxsize=64)
def tools_of(file: InputFile | None) -> Tools:
    """Return the tools of a file, loaded once in each process."""
    return no_tools() if file is None else _unchanged(file, load_tools(file.path))


@lru_cache(maxsize=64)
def setup_of(file: InputFile | None) -> Setup:
    """Return the setup of a file, loaded once in each process."""
    return no_setup() if file is None else _unchanged(file, load_setup(file.path))


def _unchanged(file: InputFile, loaded: Loaded) -> Loaded:
    """Return what was loaded, if it is what the gate had read."""
    if hashlib.sha256(loaded.source).hexdigest() != file.sha256:
        raise HexpostError(f"{file.path}: the file has changed since the gate began; run the gate again")
    return loaded
