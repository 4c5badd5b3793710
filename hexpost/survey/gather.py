"""From programs to a library: what was seen of each joined into one survey, whatever finished first."""

from collections import Counter
from collections.abc import Callable, Iterable, Mapping, Sequence

from hexpost.errors import Fault
from hexpost.library.gate import make_tasks
from hexpost.library.policy import Policy
from hexpost.machine.model import Machine
from hexpost.machine.wording import UNDECIDED
from hexpost.moves.needs.model import MOST_PLACES, NumberUse, Quote, ReadingUse, WordUse
from hexpost.survey.classes import kind_of
from hexpost.survey.look import look
from hexpost.survey.model import LibraryNumber, LibraryReading, LibraryWord, Mention, Sight, Survey, Trouble
from hexpost.survey.readings import READINGS, wording
from hexpost.workers.engines import Engine
from hexpost.workers.run import Lost, Runner

Progress = Callable[[int], None]
LETTERS = "GTHD"
"""Kinds of numbers in the order in which they are shown."""


def survey(
    names: Sequence[str],
    policy: Policy,
    machine: Machine,
    engine: Engine,
    *,
    progress: Progress | None = None,
) -> Survey:
    """Look at the programs ``names``, each with the files that the policy gives it; ``machine`` reads most of them.

    Raises
    ------
    InputError
        With every fault of the machine, tools and setup files that the policy names.
    """
    names = sorted(set(names))
    tasks = make_tasks(names, policy)
    found: list[Sight | None] = [None] * len(tasks)
    with Runner(engine) as runner:
        for done, (i, sight) in enumerate(runner.run(tasks, look), 1):
            found[i] = _lost(names[i], sight) if isinstance(sight, Lost) else sight
            if progress is not None:
                progress(done)
    return joined([sight for sight in found if sight is not None], machine)


def joined(sights: Sequence[Sight], machine: Machine) -> Survey:
    """Return the survey of programs that were looked at, in their order."""
    undecided = {row.word for row in machine.dialect if row.action == UNDECIDED}
    return Survey(
        sights=tuple(sights),
        words=_words(sights, undecided),
        numbers=_numbers(sights),
        readings=_readings(sights),
        wording=wording(machine),
    )


def _words(sights: Iterable[Sight], undecided: set[str]) -> tuple[LibraryWord, ...]:
    """Return the words of all programs, those of most programs first."""
    found: dict[str, list[tuple[str, WordUse]]] = {}
    for sight in sights:
        for use in sight.words:
            found.setdefault(use.word, []).append((sight.name, use))
    out = [
        LibraryWord(
            word=word, programs=len(uses), blocks=sum(use.blocks for _, use in uses),
            beside=_sums(use.beside for _, use in uses), left=_sums(use.left for _, use in uses),
            spots=_spots((name, use.places) for name, use in uses), undecided=not undecided.isdisjoint({word, word[0]}),
        )
        for word, uses in found.items()
    ]  # fmt: skip
    return tuple(sorted(out, key=lambda w: (-w.programs, -w.blocks, w.word)))


def _numbers(sights: Iterable[Sight]) -> tuple[LibraryNumber, ...]:
    """Return the offsets, tools and rows of all programs, by kind and number."""
    found: dict[tuple[str, int], list[tuple[str, NumberUse]]] = {}
    for sight in sights:
        for use in sight.numbers:
            found.setdefault((use.kind, use.number), []).append((sight.name, use))
    out = []
    for letter, value in sorted(found, key=lambda key: (LETTERS.index(key[0]), key[1])):
        uses = found[letter, value]
        name, first = uses[0]
        out.append(
            LibraryNumber(
                kind=letter, number=value, programs=len(uses), missing=sum(not use.given for _, use in uses),
                spot=Mention(name, first.place.line, first.place.text),
                said=next((use.said for _, use in uses if use.said), ""),
            )
        )  # fmt: skip
    return tuple(out)


def _readings(sights: Iterable[Sight]) -> tuple[LibraryReading, ...]:
    """Return the readings that matter, in the order of their table."""
    found: dict[str, list[tuple[str, ReadingUse]]] = {}
    for sight in sights:
        for use in sight.readings:
            found.setdefault(use.name, []).append((sight.name, use))
    return tuple(
        LibraryReading(
            name=r.name, programs=len(uses), blocks=sum(use.blocks for _, use in uses),
            low=min(use.low for _, use in uses), high=max(use.high for _, use in uses),
            spots=_spots((name, (use.place,)) for name, use in uses),
        )
        for r in READINGS if (uses := found.get(r.name))
    )  # fmt: skip


def _sums(counts: Iterable[Mapping[str, int]]) -> dict[str, int]:
    """Return the sums of counts by letter, in the order of the letters."""
    out: Counter[str] = Counter()
    for one in counts:
        out.update(one)
    return dict(sorted(out.items()))


def _spots(found: Iterable[tuple[str, Sequence[Quote]]]) -> tuple[Mention, ...]:
    """Return the places that are shown: of as many programs as there is room for, then more of them."""
    rows = list(found)
    out: list[Mention] = []
    for k in range(MOST_PLACES):
        out += [Mention(name, places[k].line, places[k].text) for name, places in rows if k < len(places)][:MOST_PLACES]
        if len(out) >= MOST_PLACES:
            break
    return tuple(out[:MOST_PLACES])


def _lost(name: str, lost: Lost) -> Sight:
    """Return what is said of a program whose worker died."""
    what = f"the worker died over this program: killed, out of memory, or beyond its time ({lost.why})"
    kind = kind_of(Fault(file=name, what=what, code="worker-died"))
    return Sight(name=name, faults=1, troubles=(Trouble(kind.name, "worker-died", 0, what),))
