"""The survey as text: what the library needs, most programs first, and what to type next."""

from collections.abc import Iterable, Iterator, Mapping, Sequence

from hexpost.moves.needs.model import AXES
from hexpost.survey.classes import KIND_BY_NAME
from hexpost.survey.model import LibraryNumber, LibraryReading, LibraryWord, Mention, Sight, Survey
from hexpost.survey.readings import MATTERS, about, answers
from hexpost.voice import clean, columns, number, paragraph, plural

WIDTH = 100
MOST_NAMED = 5
"""So many programs of a class are named; the others are counted."""
MOST_LISTED = 40
"""So many words, numbers and programs are listed."""
ROWS = {"T": "tool", "H": "length row", "D": "radius row", "G": "work offset"}


def text(survey: Survey) -> str:
    """Return the whole survey, each part only where there is something to say."""
    lines = [*headline(survey)]
    for title, part in (
        ("Words that nothing reads", words(survey.words)),
        ("Units", units(survey)),
        ("Readings that matter", readings(survey)),
        ("Tools and offsets", numbers(survey)),
        ("Extents", extents(survey)),
        ("Programs that no setting makes readable", troubles(survey.of("text"))),
    ):
        body = list(part)
        lines += ["", title, *body] if body else []
    return "\n".join([*lines, ""])


def headline(survey: Survey) -> Iterator[str]:
    """Yield the count of programs by state."""
    total, now, later = len(survey.sights), len(survey.of("read")), len(survey.of("open"))
    said = f"{plural(total, 'program')}: {now:,} {'is' if now == 1 else 'are'} read as the files say now"
    said += f", {later:,} more once the questions below are answered" if later else ""
    left = total - now - later
    said += f", {left:,} by no setting." if left else "."
    yield from paragraph(said, WIDTH)


def words(found: Sequence[LibraryWord]) -> Iterator[str]:
    """Yield the words that nothing reads, with three places each."""
    for w in found[:MOST_LISTED]:
        state = " (undecided)" if w.undecided else ""
        yield f"  {clean(w.word)}{state}: {often(w.programs, w.blocks)}{beside(w)}"
        yield from spots(w.spots)
    if len(found) > MOST_LISTED:
        yield f"  ... and {len(found) - MOST_LISTED:,} more words (--json lists all)"


def beside(w: LibraryWord) -> str:
    """Return what is in the blocks of a word beside it."""
    rest = [f"{letter} in {count:,}" for letter, count in w.beside.items()]
    return f"; beside it {', '.join(rest)}" if rest else "; always alone"


def often(programs: int, blocks: int) -> str:
    """Return how often something is met."""
    return f"{plural(programs, 'program')}, {plural(blocks, 'block')}"


def spots(found: Iterable[Mention]) -> Iterator[str]:
    """Yield places with the text of their blocks."""
    for s in found:
        yield f"      {clean(s.program)}:{s.line}  {clean(s.text)}".rstrip()


def units(survey: Survey) -> Iterator[str]:
    """Yield how many programs state which units, and those that state none, with their numbers."""
    stated: dict[str, int] = {}
    for s in survey.sights:
        stated[s.units] = stated.get(s.units, 0) + 1
    silent = [r for r in survey.readings if r.name == "units"]
    said = [f"{unit}: {plural(stated[unit], 'program')}" for unit in ("mm", "inch", "mm and inch") if unit in stated]
    if said:
        yield f"  stated: {', '.join(said)}"
    for r in silent:
        names = [s for s in survey.sights if any(u.name == "units" for u in s.readings)]
        refused = sum(any(t.name == "units not stated" for t in s.troubles) for s in names)
        yield f"  not stated: {plural(r.programs, 'program')}, of which {refused:,} are refused without an answer"
        if refused:
            yield "      answer words.units in the machine file, --units, or units by path in gate.toml"
        yield from (f"      {clean(s.name)}  {size(s.extents)}".rstrip() for s in names[:MOST_NAMED])
        yield from more(len(names))


def size(extents: Mapping[str, tuple[float, float]]) -> str:
    """Return the extents of a program as it writes them."""
    return " ".join(f"{x} {number(round(a, 3) + 0.0)} to {number(round(b, 3) + 0.0)}" for x, (a, b) in extents.items())


def more(count: int) -> Iterator[str]:
    """Yield how many programs are not named."""
    if count > MOST_NAMED:
        yield f"      ... and {count - MOST_NAMED:,} more (--json lists all)"


def readings(survey: Survey) -> Iterator[str]:
    """Yield each reading that matters: what it is about, how often, and what each answer would mean."""
    for r in survey.readings:
        if r.name == "units":
            continue
        yield from paragraph(f"{about(r.name, r.low, r.high)}: {often(r.programs, r.blocks)}", WIDTH, "    ", "  ")
        yield from paragraph(meant(r, survey.wording), WIDTH, "        ", "      ")
        yield from spots(r.spots)


def meant(r: LibraryReading, wording: Mapping[str, str]) -> str:
    """Return what each answer of a reading would mean; the one in force is marked."""
    matter, rows = MATTERS[r.name], answers(r.name, r.low, r.high)
    key = matter.key
    if not key:
        return "; ".join(rows.values())
    now = wording.get(key) or None
    quoted = {x: f'"{x}"{" (now)" if x == now else ""}: ' * bool(x) for x in rows}
    said = "; ".join(quoted[x] + says for x, says in rows.items())
    if now is None:
        said += "; refused without the key" * matter.needed
    elif now not in rows:
        said += f"; now {now}"
    return f"words.{key}: {said}"


def numbers(survey: Survey) -> Iterator[str]:
    """Yield tools, rows and offsets with the programs that use and that lack them."""
    rows = number_rows(survey)
    yield from columns(rows, [False, True, True, False, False]) if len(rows) > 1 else ()
    yield from numbers_left(survey)


def number_rows(survey: Survey) -> list[list[str]]:
    """Return the table of tools, rows and offsets, its head first."""
    return [["number", "used by", "missing in", "first", "said of it"], *map(_number_row, survey.numbers[:MOST_LISTED])]


def numbers_left(survey: Survey) -> Iterator[str]:
    """Yield how many numbers are not listed."""
    if len(survey.numbers) > MOST_LISTED:
        yield f"  ... and {len(survey.numbers) - MOST_LISTED:,} more (--json lists all)"


def _number_row(n: LibraryNumber) -> list[str]:
    place = f"{clean(n.spot.program)}:{n.spot.line}"
    return [f"{n.kind}{n.number} {ROWS[n.kind]}", f"{n.programs:,}", f"{n.missing:,}", place, clean(n.said)[:40]]


def extents(survey: Survey) -> Iterator[str]:
    """Yield the extents of the whole library, and of the programs that reach farthest along each axis."""
    rows = extent_rows(survey)
    yield from columns(rows, [False, True, False, True, False]) if len(rows) > 1 else ()
    yield from extents_left(survey)


def _measured(survey: Survey) -> list[Sight]:
    """Return the programs whose extents are known in mm."""
    return [s for s in survey.sights if s.extents and (s.units or survey.wording.get("units") == "mm")]


def extents_left(survey: Survey) -> Iterator[str]:
    """Yield how many programs are left out of the extents."""
    known = _measured(survey)
    if known and (left := len(survey.sights) - len(known)):
        yield f"  without {plural(left, 'program')} whose units or meaning are not known"


def extent_rows(survey: Survey) -> list[list[str]]:
    """Return the table of extents, its head first."""
    known = _measured(survey)
    rows = [["axis", "least", "program", "most", "program"]]
    for x in AXES:
        those = [s for s in known if x in s.extents]
        if those:
            low, high = min(those, key=lambda s: s.extents[x][0]), max(those, key=lambda s: s.extents[x][1])
            unit = "mm" if x in "XYZ" else "deg"
            least, most = (f"{number(round(v, 3) + 0.0)} {unit}" for v in (low.extents[x][0], high.extents[x][1]))
            rows.append([x, least, clean(low.name), most, clean(high.name)])
    return rows


def troubles(sights: Sequence[Sight]) -> Iterator[str]:
    """Yield the classes of what is wrong with programs, most programs first, with the first of each."""
    found: dict[str, list[tuple[str, int, str, str]]] = {}
    for s in sights:
        for t in s.troubles:
            found.setdefault(t.name, []).append((s.name, t.line, t.text, t.what))
    for name, rows in sorted(found.items(), key=lambda item: (-len(item[1]), item[0])):
        yield from paragraph(f"{name}: {plural(len(rows), 'program')}; {KIND_BY_NAME[name].does}", WIDTH, "    ", "  ")
        for program, line, block, what in rows[:MOST_NAMED]:
            place = f"{clean(program)}:{line}" if line else clean(program)
            yield f"      {place}  {clean(block) or clean(what)}".rstrip()
        yield from more(len(rows))
