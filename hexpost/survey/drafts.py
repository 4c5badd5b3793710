"""Drafts of a machine, a tools and a setup file: every question once, for a person to decide. They decide nothing.

A draft that exists keeps every byte: what is new is put at its end, keys of ``[words]`` right below that heading.
"""

import re
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

from hexpost.errors import Fault, InputError
from hexpost.machine.ignoring import SETTING
from hexpost.machine.load import MOST_TOOL_NUMBER, OFFSETS, machine_from
from hexpost.machine.reading import parse
from hexpost.machine.table import Table
from hexpost.machine.wording import UNDECIDED
from hexpost.moves.needs.counts import is_known, parameters_of
from hexpost.survey.classes import decidable
from hexpost.survey.model import LibraryReading, LibraryWord, Mention, Survey
from hexpost.survey.readings import MATTERS, about, answers
from hexpost.survey.text import beside, often
from hexpost.voice import clean, plural

MACHINE, TOOLS, SETUP = "machine.toml", "tools.toml", "setup.toml"
FILES = (MACHINE, TOOLS, SETUP)
HEADING = re.compile(r"^([ \t]*\[[ \t]*words[ \t]*\][ \t]*(?:#[^\r\n]*)?)\r?$", re.MULTILINE)
QUESTION = "# question: words."
"""Begins the comment of a key of ``[words]`` that is proposed: what has it is not proposed again."""
ACTION = 'action = "undecided"  # or "ignore", "same-as" (with same_as = "M08"), "refuse" (with message = "why")'
ACTION_OF_G = ACTION.replace('"refuse"', '"absolute-centres", "incremental-centres" (of arcs), "refuse"')
LONGEST = 110
_MARK = b"\xef\xbb\xbf"
NUMBERS = ("arc_tolerance_mm", "manual_withdrawal_s", "first_feed_mm_min")
"""Keys whose values are numbers."""
PROPOSED = (
    "units", "dwell-p", "dwell-x", "dwell-f", "arc-tolerance", "arc-centres", "first-feed", "first-motion",
    "home-or-tap", "withdrawal", "points",
)  # fmt: skip
"""Readings whose keys a draft proposes: those that programs need, and those where the usual answer is often wrong."""


@dataclass(frozen=True, slots=True)
class DraftFile:
    """A draft: its name, its bytes, how many questions were added, and how many in it are open."""

    name: str
    content: bytes
    added: int
    left: int


def drafts(survey: Survey, machine: bytes, before: Mapping[str, bytes], folder: Path) -> list[DraftFile]:
    """Return the drafts of a survey: of the machine file ``machine``, or of the drafts in a folder, by name ``before``.

    Raises
    ------
    InputError
        A draft that exists cannot be read as such a file, or cannot take in what is new.
    """
    out = [_machine(survey, before.get(MACHINE, machine), str(folder / MACHINE))]
    tools = sorted({n.number for n in survey.numbers if n.kind in "THD"})
    offsets = sorted({n.number for n in survey.numbers if f"{n.kind}{n.number}" in OFFSETS})
    for kind, wanted in ((_TOOLS, tools), (_SETUP, offsets)):
        if wanted or kind.name in before:
            out.append(_rows(survey, kind, before.get(kind.name), wanted, str(folder / kind.name)))
    return out


HEAD_OF_TOOLS = (
    "# Draft of a tools file: every tool and row that the programs use. No length is known: measure each from the",
    "# spindle gauge point to the tip, take the # away and write it in. Until then this file is refused.",
)
HEAD_OF_SETUP = (
    "# Draft of a setup file: every work offset that the programs use. Where each is on the pallet (x y z in mm, a b c",
    "# in degrees) is not known: take the # away and write it in. Until then this file is refused.",
)


def _machine(survey: Survey, base: bytes, file: str) -> DraftFile:
    """Return the machine file with the rows and keys that are new."""
    known = {row.word for row in machine_from(base, file).dialect}
    text = _text(base)
    new = [w for w in survey.words if w.word not in known and decidable(w.word)]
    keys = [r for r in survey.readings if r.name in PROPOSED and _is_open(r, survey, text, base)]
    total = len(survey.sights)
    lines = [line for r in keys for line in _key(r, total)]
    if lines and (heading := HEADING.search(text)):
        at, end = heading.end(1), _line_end(text)
        text = text[:at] + end + end.join(lines) + text[at:]
    elif lines:
        text = _appended(text, ["", "[words]", *lines])
    text = _appended(text, [line for w in new for line in _word(w, total)])
    content = _mark(base) + text.encode()
    try:
        rows = machine_from(content, file).dialect
    except InputError as error:
        raise _cannot(file, "write dialect and words as tables of their own: [[dialect]], [words]", error) from None
    asked = [MATTERS[r.name] for r in survey.readings]
    needed = [row.key for row in asked if row.needed and f"{QUESTION}{row.key}:" in text]
    left = sum(row.action == UNDECIDED for row in rows) + sum(not _has_key(content, key) for key in needed)
    return DraftFile(MACHINE, content, len(new) + len(keys), left)


def _is_open(r: LibraryReading, survey: Survey, text: str, base: bytes) -> bool:
    """Return whether a reading is a question that the machine file neither answers nor holds yet."""
    row = MATTERS[r.name]
    if f"{QUESTION}{row.key}:" in text:
        return False
    if r.name in ("arc-tolerance", "arc-centres"):
        return True
    answered = row.needed and survey.wording.get(row.key) is not None
    return not answered and not _has_key(base, row.key)


def _has_key(base: bytes, key: str) -> bool:
    """Return whether the table ``[words]`` of a machine file has a key."""
    return parse(base, MACHINE).table("words", optional=True).has(key)


def _key(r: LibraryReading, total: int) -> Iterator[str]:
    """Yield the lines of a key of ``[words]``: a comment, and the key itself, which says nothing before ``#`` goes."""
    row = MATTERS[r.name]
    said = f"{about(r.name, r.low, r.high)}: {plural(r.programs, 'program')} of {total:,}"
    yield f"{QUESTION}{row.key}: {said}{'; without an answer they are refused' * row.needed}"
    yield from _spots(r.spots)
    for answer, means in answers(r.name, r.low, r.high).items():
        written = answer if row.key in NUMBERS else f'"{answer}"'
        yield f"#{row.key} = {written}  # {means}"


def _word(w: LibraryWord, total: int) -> Iterator[str]:
    """Yield the lines of a row of the dialect table that is undecided."""
    yield ""
    yield from _comment(f"{w.word}: {often(w.programs, w.blocks)}, of {plural(total, 'program')}{beside(w)}")
    with_them = parameters_of(w.word, w.left)
    if w.word[0] == "G" and set(with_them) & set("XYZABC"):
        axes = " ".join(sorted(set(with_them) & set("XYZABC")))
        yield from _comment(
            f"{axes} may be parameters of it, or a move. If parameters, add them to with; to ignore it leaves them out."
        )
    if w.word in SETTING:
        yield from _comment(
            f"On some controls it {SETTING[w.word]}; to ignore it needs harmless = true, where a manual says so."
        )
    yield from _spots(w.spots)
    yield "[[dialect]]"
    yield f'word = "{clean(w.word)}"'
    along = "".join(x for x in with_them if x not in "XYZABC")
    if is_known(w.word):
        yield f'action = "undecided"  # "same-as" with same_as = "{w.word}" reads {w.word} without what is in with'
    else:
        yield ACTION_OF_G if w.word[0] == "G" and not along else ACTION
    if along:
        yield f'with = "{along}"  # letters that go along with it'


def _tool(survey: Survey, number: int) -> Iterator[str]:
    """Yield the lines of a tool without its length."""
    uses = [n for n in survey.numbers if n.number == number and n.kind in "THD"]
    said = ", ".join(f"{n.kind}{number} in {plural(n.programs, 'program')}" for n in uses)
    yield ""
    yield from _comment(f"{said}; first {uses[0].spot.program}:{uses[0].spot.line}  {uses[0].spot.text}")
    for note in dict.fromkeys(n.said for n in uses if n.said):
        yield from _comment(f"a comment says: {note}")
    yield "[[tool]]"
    yield f"number = {number}"
    yield "#length_mm ="
    needed = any(n.kind == "D" for n in uses)
    yield "#diameter_mm =" + "  # D takes half of it for G41 and G42" * needed


def _offset(survey: Survey, number: int) -> Iterator[str]:
    """Yield the lines of a work offset without its place."""
    use = next(n for n in survey.numbers if n.kind == "G" and n.number == number)
    yield ""
    yield from _comment(f"{plural(use.programs, 'program')}; first {use.spot.program}:{use.spot.line}  {use.spot.text}")
    yield f"[offset.G{number}]"
    yield "#pose_mm_deg = [x, y, z, a, b, c]"


def _rows(survey: Survey, kind: "_RowKind", before: bytes | None, wanted: Sequence[int], file: str) -> DraftFile:
    """Return a draft of numbered rows: those of ``wanted`` that it does not have are put at its end."""
    base = before if before is not None else ("\n".join(kind.head) + "\n").encode()
    there = kind.known(base, file) if before is not None else set()
    new = [n for n in wanted if n not in there]
    text = _appended(_text(base), [line for n in new for line in kind.lines(survey, n)])
    content = _mark(base) + text.encode()
    try:
        kind.known(content, file)
    except InputError as error:
        raise _cannot(file, "write its rows as tables of their own", error) from None
    return DraftFile(kind.name, content, len(new), kind.lacking(content, file))


def _tool_tables(source: bytes, file: str) -> list[Table]:
    root = parse(source, file)
    return root.tables("tool") if root.has("tool") else []


def _tool_numbers(source: bytes, file: str) -> set[int]:
    """Return the numbers of the tools in a draft, which may lack everything else."""
    rows = _tool_tables(source, file)
    found = {t.whole("number", 1, MOST_TOOL_NUMBER) for t in rows}
    if rows and rows[0].faults:
        raise InputError(rows[0].faults)
    return found


def _offset_tables(source: bytes, file: str) -> list[tuple[int, Table]]:
    offsets = parse(source, file).table("offset", optional=True)
    return [(int(name[1:]), offsets.table(name)) for name in OFFSETS if offsets.has(name)]


def _offset_numbers(source: bytes, file: str) -> set[int]:
    """Return the codes of the offsets in a draft."""
    return {number for number, _ in _offset_tables(source, file)}


@dataclass(frozen=True, slots=True)
class _RowKind:
    """A kind of draft of numbered rows: head, lines of a new row, the numbers that it has, rows that lack their key."""

    name: str
    head: Sequence[str]
    lines: Callable[[Survey, int], Iterable[str]]
    known: Callable[[bytes, str], set[int]]
    lacking: Callable[[bytes, str], int]


_TOOLS = _RowKind(
    TOOLS, HEAD_OF_TOOLS, _tool, _tool_numbers,
    lambda source, file: sum(not t.has("length_mm") for t in _tool_tables(source, file)),
)  # fmt: skip
_SETUP = _RowKind(
    SETUP, HEAD_OF_SETUP, _offset, _offset_numbers,
    lambda source, file: sum(not t.has("pose_mm_deg") for _, t in _offset_tables(source, file)),
)  # fmt: skip


def _comment(said: str) -> Iterator[str]:
    """Yield a comment of one line; what a program holds cannot end it."""
    shown = clean(said)
    yield f"# {shown if len(shown) <= 3 * LONGEST else shown[: 3 * LONGEST] + ' ...'}"


def _spots(spots: Iterable[Mention]) -> Iterator[str]:
    """Yield places as comments."""
    for s in spots:
        yield f"#   {clean(f'{s.program}:{s.line}  {s.text}')[:LONGEST]}".rstrip()


def _appended(text: str, lines: Sequence[str]) -> str:
    """Return a text with lines at its end."""
    if not lines:
        return text
    end = _line_end(text)
    return text + ("" if text.endswith("\n") or not text else end) + end.join(lines) + end


def _line_end(text: str) -> str:
    """Return how the lines of a text end."""
    return "\r\n" if "\r\n" in text else "\n"


def _text(source: bytes) -> str:
    """Return a TOML file that was read before as text, as it is."""
    return source.removeprefix(_MARK).decode()


def _mark(source: bytes) -> bytes:
    """Return the mark that a file begins with, if it has one."""
    return _MARK if source.startswith(_MARK) else b""


def _cannot(file: str, hint: str, error: InputError) -> InputError:
    """Return the fault of a draft that cannot take in what is new."""
    what = f"cannot take in what is new: {error.faults[0].what}"
    return InputError([Fault(file=file, what=what, code="draft", hint=hint)])
