"""Look at one program: what a worker does. It is read as it is, and, if refused, as if all questions were answered."""

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, replace
from functools import partial
from pathlib import Path

from hexpost import pipeline
from hexpost.errors import Fault, HexpostError, InputError
from hexpost.library.check import machine_of, setup_of, tools_of
from hexpost.library.deadline import OutOfTime, deadline
from hexpost.library.model import CheckTask
from hexpost.machine.load import no_setup, no_tools
from hexpost.machine.model import Machine
from hexpost.machine.wording import DialectWord, ProgrammedAxes
from hexpost.moves.model import Interpretation
from hexpost.moves.needs.columns import LONGEST, WordColumns
from hexpost.moves.needs.counts import is_known, numbers, parameters_of, units, unknown, with_parameters
from hexpost.moves.needs.extents import extents
from hexpost.moves.needs.matters import MOST_OFF, TOOL_VECTOR, arcs_by_centre, arcs_off, matters, vectors
from hexpost.moves.needs.model import MOST_WORDS, ReadingUse, WordUse
from hexpost.moves.reading.dialect import KEPT, Dialect, decided
from hexpost.program.read import read
from hexpost.shelf import Text
from hexpost.survey.classes import OFF_CIRCLE, VECTOR, decidable, kind_of
from hexpost.survey.model import Sight, Trouble
from hexpost.units import MM_PER_INCH

FAILED = "gone-wrong"
STRAY = "arc-word-without-arc"
"""Code of I J K where there is no arc: they may be a tool vector."""


@dataclass(frozen=True, slots=True, eq=False)
class Attempt:
    """A program as it was read: its meaning, or all its faults, of which some are listed."""

    meaning: Interpretation | None
    faults: tuple[Fault, ...] = ()
    total: int = 0


def look(task: CheckTask) -> Sight:
    """Return what is to be seen of a program; never raises."""
    try:
        source = pipeline.content(Path(task.path))
        with deadline(task.time_limit_s):
            return _seen(source, task)
    except InputError as error:
        return Sight(name=task.name, faults=error.total, troubles=_troubles(error.faults))
    except OutOfTime:
        return _given_up(task, "out-of-time", f"reading takes longer than {task.time_limit_s:g} s")
    except MemoryError:
        return _given_up(task, "out-of-memory", "reading takes more memory than a worker has (--memory-mb)")
    except HexpostError as error:
        return _given_up(task, FAILED, str(error))
    except Exception as error:  # noqa: BLE001 - one program must not stop the library
        return _given_up(task, FAILED, f"internal fault ({type(error).__name__}: {error}): report it")


def _seen(source: Text, task: CheckTask) -> Sight:
    """Read a program and count what it needs."""
    machine = machine_of(task.machine).with_units(task.units)
    tools, setup = tools_of(task.tools), setup_of(task.setup)
    syntax: list[Fault] = []
    program = read(source, task.name, syntax)
    found = _read(lambda: pipeline.understand(program, machine, tools, setup, known=syntax))
    words = WordColumns.of(program, Dialect(machine.dialect))
    unread, parameters = unknown(words, found.faults), with_parameters(words, found.faults)
    trial, used = found, machine
    if found.faults:
        answered = assumed(machine, (*unread, *parameters))
        trial, used = _second_look(
            answered, lambda m: _read(partial(pipeline.understand, program, m, no_tools(), no_setup(), known=syntax))
        )
    stated = units(words)
    meaning = found.meaning or trial.meaning
    off = () if meaning is None else arcs_off(words, meaning.moves, machine.words.arc_tolerance)
    if meaning is not None and used.words.arc_centre != machine.words.arc_centre:
        off = (*off, *arcs_by_centre(words))
    if used.programmed_axes is not machine.programmed_axes:
        off = (*off, *vectors(words))
    frames = () if meaning is None else tuple(f.offset for f in meaning.moves.frames)
    inch = (stated or machine.words.units) == "inch"
    return Sight(
        name=task.name,
        state="read" if found.meaning else "text" if _unsettled(trial) else "open",
        lines=program.lines,
        faults=found.total,
        units=stated,
        words=_merged((*unread, *parameters)),
        numbers=numbers(words, tools, setup, frames),
        readings=(*matters(words, stated), *off),
        troubles=_open(found, trial, off),
        extents={} if meaning is None else extents(meaning, words, MM_PER_INCH if inch and not stated else 1.0),
    )


def _read(understand: Callable[[], pipeline.Inputs]) -> Attempt:
    """Return a program as it is read."""
    try:
        return Attempt(understand().meaning)
    except InputError as error:
        return Attempt(None, error.faults, error.total)


def _second_look(answered: Machine, read_on: Callable[[Machine], Attempt]) -> tuple[Attempt, Machine]:
    """Return a program read with all answers, and with which: I J K the other way, or a tool vector, where that helps.

    ``read_on`` reads the program on a machine.
    """
    trial = read_on(answered)
    others: list[Machine] = []
    if any(kind_of(f) is OFF_CIRCLE for f in trial.faults):
        centre = "absolute" if answered.words.arc_centre == "incremental" else "incremental"
        others.append(replace(answered, words=replace(answered.words, arc_centre=centre)))
    if any(f.code == STRAY for f in trial.faults) and answered.programmed_axes is None:
        others.append(replace(answered, programmed_axes=ProgrammedAxes(axes=(), vector="IJK")))
    for other in others:
        again = read_on(other)
        if not _unsettled(again):
            return again, other
    return trial, answered


def assumed(machine: Machine, words: Sequence[WordUse]) -> Machine:
    """Return the machine as if every question were answered: for a second look alone, never for a job.

    A word that nothing reads is left out with all that would be left over in its blocks.
    """
    old = machine.words
    answered = replace(
        old,
        units=old.units or "mm",
        g74=old.g74 or "through-point",
        manual_withdrawal=old.manual_withdrawal or 1.0,
        arc_tolerance=max(old.arc_tolerance, MOST_OFF),
        first_motion=old.first_motion or "G00",
        first_feed=old.first_feed or 1.0,
    )
    kept = decided(machine.dialect)
    named = {row.word for row in kept}
    rows = [_row(w) for w in words if w.word not in named and decidable(w.word)]
    return replace(machine, words=answered, dialect=(*kept, *rows))


def _row(word: WordUse) -> DialectWord:
    """Return the row that would let a word be read: a known one stays what it is without its parameters."""
    if is_known(word.word):
        return DialectWord(word=word.word, action="same-as", same_as=word.word, along=_along(word))
    return DialectWord(word=word.word, action="ignore", along=_along(word))


def _along(word: WordUse) -> str:
    """Return the letters that go along with a word, in the order in which they are written in a row."""
    taken = parameters_of(word.word, word.left)
    return taken + ("".join(x for x in word.left if x in KEPT) if taken and word.word[0] == "G" else "")


def _merged(words: Iterable[WordUse]) -> tuple[WordUse, ...]:
    """Return words, each once: the first of a name."""
    found: dict[str, WordUse] = {}
    for word in words:
        found.setdefault(word.word, word)
    return tuple(found.values())[:MOST_WORDS]


def _unsettled(trial: Attempt) -> list[Fault]:
    """Return the faults that no setting answers."""
    return [f for f in trial.faults if not kind_of(f).settled]


def _open(now: Attempt, trial: Attempt, off: Sequence[ReadingUse]) -> tuple[Trouble, ...]:
    """Return what keeps a program from being read: of its text, if anything is; else the open questions."""
    if found := _unsettled(trial):
        return _troubles(found)
    vector = [
        Trouble(VECTOR.name, STRAY, r.place.line, VECTOR.does, r.place.text) for r in off if r.name == TOOL_VECTOR
    ]
    return (*_troubles([f for f in now.faults if not (off and kind_of(f) is OFF_CIRCLE)]), *vector)


def _troubles(faults: Iterable[Fault]) -> tuple[Trouble, ...]:
    """Return one trouble for each class of faults: the first of it."""
    found: dict[str, Trouble] = {}
    for f in faults:
        kind = kind_of(f)
        found.setdefault(kind.name, Trouble(kind.name, f.code, f.line or 0, f.what[:1000], f.text.strip()[:LONGEST]))
    return tuple(found.values())


def _given_up(task: CheckTask, code: str, what: str) -> Sight:
    """Return what is said of a program that could not be looked at."""
    return Sight(name=task.name, faults=1, troubles=_troubles([Fault(file=task.name, what=what, code=code)]))
