"""The survey of a library against counts of its own: words, tools, offsets, extents, classes; what it proposes."""

import json
import math
import re
import tomllib
from collections import Counter
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from hexpost import pipeline
from hexpost.errors import InputError
from hexpost.library.policy import Policy
from hexpost.library.settings import Settings
from hexpost.machine.load import DEMONSTRATION, demonstration_machine, load_machine, no_setup, no_tools
from hexpost.survey.document import document, to_json
from hexpost.survey.drafts import MACHINE, SETUP, TOOLS, drafts
from hexpost.survey.gather import survey
from hexpost.workers.engines import serial

ROOT = Path(__file__).parent.parent.parent
SAMPLES = sorted(str(p) for p in (ROOT / "samples").glob("*.nc"))


def look(folder: Path, machine: Path | None = None, **programs: str):
    """Return the survey of programs ``name="text"``."""
    names = []
    for name, text in programs.items():
        path = folder / f"{name}.nc"
        path.write_bytes(text.encode("latin-1"))
        names.append(str(path))
    policy = Policy(over=Settings(machine=None if machine is None else str(machine)))
    return survey(names, policy, demonstration_machine() if machine is None else load_machine(machine), serial())


def plain(text: str) -> str:
    """Return a program without comments and labels: an own way to look at words."""
    return re.sub(r"\([^)]*\)|;.*|%.*|\bN\d+|\bO\d+", " ", text)


@pytest.mark.parametrize("path", SAMPLES, ids=lambda p: Path(p).name)
def test_tools_rows_and_offsets_are_those_of_a_search_of_the_text(path):
    (sight,) = survey([path], Policy(), demonstration_machine(), serial()).sights
    text = plain(Path(path).read_text("latin-1"))
    wanted = {}
    for letter in "THD":
        wanted |= {f"{letter}{n}": k for n, k in Counter(map(int, re.findall(rf"{letter}(\d+)", text))).items() if n}
    wanted |= {f"G{n}": k for n, k in Counter(map(int, re.findall(r"G(5[4-9])(?!\d)", text))).items()}
    assert {f"{n.kind}{n.number}": n.blocks for n in sight.numbers if n.blocks} == wanted


def walked(text: str) -> dict[str, tuple[float, float]]:
    """Return the extents of a program of G00 to G03, G20, G21, G90, G91 in the plane XY, arcs cut into 2,000 chords.

    The words of the program alone: an axis counts from where it is first named, A B C from 0.
    """
    at, known, seen = dict.fromkeys("XYZABC", 0.0), set("ABC"), {}
    motion, unit, absolute = 0, 1.0, True
    for line in plain(text).splitlines():
        words = [(x, float(v)) for x, v in re.findall(r"([A-Z])\s*([-+]?[\d.]+)", line)]
        for x, v in words:
            if x == "G":
                motion = int(v) if v < 4 else motion
                unit = {20: 25.4, 21: 1.0}.get(v, unit)
                absolute = {90: True, 91: False}.get(v, absolute)
        value = dict(words)
        named = [x for x in "XYZABC" if x in value]
        if not named:
            continue
        start, end = dict(at), dict(at)
        for x in named:
            v = value[x] * (unit if x in "XYZ" else 1.0)
            end[x] = v if absolute else at[x] + v
        points = [end, {x: start[x] for x in named if x in "ABC" and start[x] != end[x]}]
        if motion in (2, 3):
            centre = [start[x] + value.get(i, 0.0) * unit for x, i in zip("XY", "IJ", strict=True)]
            r = math.dist(centre, (start["X"], start["Y"]))
            a = math.atan2(start["Y"] - centre[1], start["X"] - centre[0])
            b = math.atan2(end["Y"] - centre[1], end["X"] - centre[0])
            turn = (b - a) % (2 * math.pi) if motion == 3 else -((a - b) % (2 * math.pi))
            turn = turn or (2 * math.pi if motion == 3 else -2 * math.pi)
            for k in range(2001):
                p = a + turn * k / 2000
                points.append({"X": centre[0] + r * math.cos(p), "Y": centre[1] + r * math.sin(p)})
        known |= set(named)
        for point in points:
            for x, v in point.items():
                if x in known and (x in named or len(points) > 2):
                    low, high = seen.get(x, (v, v))
                    seen[x] = (min(low, v), max(high, v))
        at = end
    return seen


@st.composite
def everyday(draw):
    """Return a program of lines and closed arcs, in either unit, absolute or incremental by stretches."""
    number = st.integers(-4000, 4000).map(lambda k: k / 100)
    lines = [draw(st.sampled_from(["G21", "G20"])) + " G90 G17", f"G00 X{draw(number)} Y{draw(number)} Z{draw(number)}"]
    lines.append("F500")
    for _ in range(draw(st.integers(1, 12))):
        kind = draw(st.sampled_from(["line", "rapid", "circle", "half", "mode", "tilt"]))
        x, y, z = draw(number), draw(number), draw(number)
        if kind in ("line", "rapid"):
            axes = draw(st.sets(st.sampled_from("XYZ"), min_size=1))
            code = "G01" if kind == "line" else "G00"
            lines.append(" ".join([code, *(f"{a}{v}" for a, v in zip("XYZ", (x, y, z), strict=True) if a in axes)]))
        elif kind in ("circle", "half"):
            turn = draw(st.sampled_from(["G02", "G03"]))
            x = x or 1.0
            lines.append("G91")
            end = "X0 Y0" if kind == "circle" else f"X{2 * x:.4f} Y{2 * y:.4f}"
            lines.append(f"{turn} {end} I{x} J{y}")
            lines.append("G90")
        elif kind == "mode":
            lines.append(draw(st.sampled_from(["G90", "G91"])))
        else:
            lines.append(f"G01 A{round(x / 10, 3)} C{round(y / 10, 3)}")
    return "\n".join([*lines, "M30", ""])


@given(everyday())
@settings(max_examples=60, deadline=None)
def test_extents_are_those_of_a_walk_along_the_words(tmp_path_factory, text):
    (sight,) = look(tmp_path_factory.mktemp("walk"), one=text).sights
    wanted = walked(text)
    assert sight.state == "read"
    assert set(sight.extents) <= set(wanted)
    for axis, ends in wanted.items():  # an axis that never moves has no extent
        assert sight.extents.get(axis, (0.0, 0.0)) == pytest.approx(ends, abs=2e-3)  # chords: 1/2000 turn of 80 mm


def test_machine_coordinates_and_returns_are_no_extents(tmp_path):
    text = "G21 G90\nG91 G28 Z0\nG90 G00 X5 Y6\nZ7\nG53 G00 Z-1\nG00 X8\nM30\n"
    (sight,) = look(tmp_path, one=text).sights
    assert sight.extents == {"X": (5.0, 8.0), "Y": (6.0, 6.0), "Z": (7.0, 7.0)}


@pytest.mark.parametrize("home", ["G53 G00 Z0", "G91 G28 Z0\nG90", "G28", "G53 G00 Z0\nG43 H1", "G55\nG00 X3\nG54"])
def test_a_place_of_machine_coordinates_is_none_of_the_work_whatever_comes_between(tmp_path, home):
    text = f"G21 G90 G54\nG00 X5 Y6\nZ7\nG01 Z-2 F90\n{home}\nG00 X8\nY9\nX7\nZ4\nG01 Z-1\n{home}\nG00 Y8\nM30\n"
    (sight,) = look(tmp_path, one=text).sights
    assert sight.extents["Z"] == (-2.0, 7.0)
    assert sight.extents["Y"] == (6.0, 9.0)


def test_programs_without_units_keep_their_own_numbers(tmp_path):
    machine = tmp_path / "m.toml"
    machine.write_text(DEMONSTRATION.read_text() + '\n[words]\nunits = "inch"\n')
    text = "G90\nG00 X1.5 Y2\nZ3\nM30\n"
    for file, state in ((None, "open"), (machine, "read")):
        (sight,) = look(tmp_path, file, one=text).sights
        assert (sight.state, sight.units) == (state, "")
        assert sight.extents == {"X": (1.5, 1.5), "Y": (2.0, 2.0), "Z": (3.0, 3.0)}


@pytest.mark.parametrize(
    ("text", "state", "classes"),
    [
        ("G21 G00 X1\nM30\n", "read", []),
        ("G00 X1\nM30\n", "open", ["units not stated"]),
        ("G21 G00 X1 M77\nM30\n", "open", ["unknown words"]),
        ("G21 G00 X1\nG12.3 P5 Q2\nX2\nM30\n", "open", ["unknown words"]),
        ("G21 G64 P0.05\nG00 X1\nM30\n", "read", []),
        ("G21 G64 P0.005\nG00 X1\nM30\n", "open", ["parameters of known words"]),
        ("G21 G61 P0.05\nG00 X1\nM30\n", "open", ["parameters of known words"]),
        ("G21 G43 H1 Z50\nG00 X1\nM30\n", "read", []),
        ("G21 G43 H1 Z50\nX1\nM30\n", "open", ["no motion word at the head"]),
        ("G21 G00 X0 Y0\nG02 X10 I5.1 F9\nM30\n", "open", []),
        ("G21 G00 X0 Y0\nG02 X10 I9 F9\nM30\n", "text", ["arcs off their circle"]),
        ("G21\n#1=5\nG00 X#1\nM30\n", "text", ["variables and macros"]),
        ("G21 G00 X1\nIF [#1 GT 2] GOTO 20\nN20 M30\n", "text", ["variables and macros"]),
        ('[words]\nunits = "mm"\n', "text", ["no part programs"]),
        ("G21\nG00 X{{left}}\nM30\n", "text", ["templates"]),
        ("G21 G01 X5\nM30\n", "open", ["feeds missing"]),
        ("G21 G01 X5\nG93 G01 X9\nF5 X3\nM30\n", "text", ["feeds missing"]),
        ("G21 G00 X5 Y0\nG02 X-5 I0 J0 F9\nM30\n", "open", []),
        ("G21 G00 X1E2\nM30\n", "text", ["exponents"]),
        ("G21 G00 X1\nM98 P77\nM30\n", "text", ["subprograms in other files"]),
        ("hello there, this is no program\n", "text", ["text outside comments"]),
        ("G21 X1\nG00 Y2\nM30\n", "open", ["no motion word at the head"]),
        ("G21 G00 X1 A0\nA700\nM30\n", "open", ["rotary axes of another machine"]),
        ("G21 G00 X1 I0 J0 K1\nG01 X2 I0 J.6 K.8 F9\nM30\n", "open", ["tool axis as a vector"]),
        ("G21 G00 X1 I0 J0 K1 M77\nM30\n", "open", ["unknown words", "tool axis as a vector"]),
        ("G21 G00 X1 I3 J0 K1\nM30\n", "text", ["arcs off their circle"]),
        ("G21 G00 X1\nG74 Z5\nM30\n", "open", ["home or tap"]),
        ("G21 G00 X1 M-5\nM30\n", "text", ["words that no row can name"]),
    ],
)
def test_states_and_classes(tmp_path, text, state, classes):
    (sight,) = look(tmp_path, one=text).sights
    assert (sight.state, [t.name for t in sight.troubles]) == (state, classes)


@pytest.mark.parametrize("path", SAMPLES, ids=lambda p: Path(p).name)
def test_what_is_read_is_what_a_job_reads(path):
    try:
        pipeline.understand(
            pipeline.parse(Path(path).read_bytes(), path), demonstration_machine(), no_tools(), no_setup()
        )
        wanted = "read"
    except InputError:
        wanted = "open"
    assert survey([path], Policy(), demonstration_machine(), serial()).sights[0].state == wanted


def test_words_are_counted_once_with_what_is_beside_them(tmp_path):
    found = look(
        tmp_path,
        a="G21 G00 X1 M77 (one)\nM77 P3\nU5\nU6 M77\nM30\n",
        b="G21 G00 X1\nM077\nM30\n",
    )
    first, second = found.words
    assert (first.word, first.programs, first.blocks, dict(first.beside)) == (
        "M77",
        2,
        4,
        {"G": 1, "P": 1, "U": 1, "X": 1},
    )
    assert (second.word, second.programs, second.blocks) == ("U", 1, 2)
    assert [(Path(s.program).name, s.line, s.text) for s in first.spots] == [
        ("a.nc", 1, "G21 G00 X1 M77 (one)"), ("b.nc", 2, "M077"), ("a.nc", 2, "M77 P3"),
    ]  # fmt: skip


def proposed(found, before=None, folder=Path("d")):
    """Return the drafts of a survey by name."""
    return {d.name: d for d in drafts(found, DEMONSTRATION.read_bytes(), before or {}, folder)}


HOSTILE = (
    'G21\nG00 X1 M77 (")]] \x7f "" <script>alert(1)</script> \xa0\x85)\n(T5 """ \\ \xe4 \x1b[2J)\nT5 M06\nG54\n'
    "G41 D7 G01 X9 F9\nG40 X0\nM30\n"
)


def test_drafts_decide_nothing_and_hold_no_length(tmp_path):
    found = look(tmp_path, a="G00 X1 M77 P3 T5\nG74 Z3\nG04 P4\nG54 M06\nM30\n", b="G21 G00 X1 M77\nM30\n")
    out = proposed(found)
    machine = tomllib.loads(out[MACHINE].content.decode())
    assert machine["dialect"] == [{"word": "M77", "action": "undecided", "with": "P"}]
    assert machine["words"] == {}
    assert tomllib.loads(out[TOOLS].content.decode()) == {"tool": [{"number": 5}]}
    assert tomllib.loads(out[SETUP].content.decode()) == {"offset": {"G54": {}}}
    assert out[MACHINE].content.startswith(DEMONSTRATION.read_bytes())
    text = out[MACHINE].content.decode()
    assert "M77: 2 programs, 2 blocks" in text and "a.nc:1  G00 X1 M77 P3 T5" in text and "P in 1" in text
    assert '#units = "mm"' in text and '#g74 = "direct"' in text and '#dwell_p = "s"  # 4 s' in text


def test_a_question_that_a_row_has_settled_is_open_no_more(tmp_path):
    text = "G21 G00 X0 Y10\nG12.3\nG02 X10 Y0 I0 J0 F90\nM30\n"
    out = proposed(look(tmp_path, a=text))
    assert "# question: words.arc_centre:" in out[MACHINE].content.decode() and out[MACHINE].left == 2
    machine = tmp_path / "m.toml"
    machine.write_bytes(out[MACHINE].content.replace(b'action = "undecided"', b'action = "absolute-centres"'))
    again = look(tmp_path, machine, a=text)
    assert again.of("read")
    assert proposed(again, {MACHINE: machine.read_bytes()})[MACHINE].left == 0


@pytest.mark.parametrize("action", ["ignore", "refuse", "same-as"])
def test_whatever_is_decided_the_letters_of_a_draft_may_stay(tmp_path, action):
    out = proposed(look(tmp_path, a="G21 G00 X1\nM77 P3\nM30\n"))[MACHINE].content.decode()
    assert 'with = "P"' in out
    more = {"ignore": "", "refuse": '\nmessage = "why"', "same-as": '\nsame_as = "M08"'}[action]
    machine = tmp_path / "m.toml"
    machine.write_text(out.replace('action = "undecided"  #', f'action = "{action}"{more}  #'))
    (row,) = load_machine(machine).dialect
    assert (row.action, row.along) == (action, "P")


def test_what_was_decided_is_kept_byte_for_byte_and_only_what_is_new_is_added(tmp_path):
    out = proposed(look(tmp_path, a="G00 X1 M77 T5\nG54 M06\nM30\n"))
    edited = {
        MACHINE: out[MACHINE].content.replace(b'action = "undecided"', b'action   =   "ignore" # chips', 1)
        .replace(b'#units = "mm"  # l', b'units = "mm"  # l'),
        TOOLS: out[TOOLS].content.replace(b"#length_mm =", b"length_mm = 100.5 # measured"),
        SETUP: out[SETUP].content,
    }  # fmt: skip
    machine = tmp_path / "m.toml"
    machine.write_bytes(edited[MACHINE])
    same = proposed(look(tmp_path, machine, a="G00 X1 M77 T5\nG54 M06\nM30\n"), edited)
    assert {name: d.content for name, d in same.items()} == edited
    assert [d.added for d in same.values()] == [0, 0, 0]
    assert [d.left for d in same.values()] == [0, 0, 1]
    more = look(tmp_path, machine, a="G00 X1 M77 T5\nG54 M06\nM30\n", b="G21 G55 T6 M1234 M06\nG00 X1\nG04 P3\nM30\n")
    later = proposed(more, edited)
    for name, draft in later.items():
        rest = iter(draft.content.splitlines(keepends=True))
        assert all(line in rest for line in edited[name].splitlines(keepends=True)), "a line was lost or moved"
        assert draft.added
    rows = tomllib.loads(later[MACHINE].content.decode())["dialect"]
    assert [(r["word"], r["action"]) for r in rows] == [("M77", "ignore"), ("M1234", "undecided")]
    assert [t["number"] for t in tomllib.loads(later[TOOLS].content.decode())["tool"]] == [5, 6]
    assert "#dwell_p" in later[MACHINE].content.decode()


@pytest.mark.parametrize("end", ["\n", "\r\n"])
@pytest.mark.parametrize("mark", [b"", b"\xef\xbb\xbf"])
@pytest.mark.parametrize("tail", ["", "[words] # ours", "[words]\nrotary = 'shortest'", "# no line end"])
def test_a_machine_file_of_any_shape_takes_the_questions(tmp_path, end, mark, tail):
    base = mark + (DEMONSTRATION.read_text() + tail).replace("\n", end).encode()
    found = look(tmp_path, a="G00 X1 M77\nM30\n")
    (draft, *_) = drafts(found, base, {}, tmp_path)
    rest = iter(draft.content.splitlines(keepends=True))
    kept = base.splitlines(keepends=True)
    assert all(line in rest for line in kept[:-1])
    assert draft.content.count(b"\r\n") in (0, draft.content.count(b"\n"))
    again = tmp_path / "m.toml"
    again.write_bytes(draft.content)
    assert [row.word for row in load_machine(again).dialect] == ["M77"]


@pytest.mark.parametrize("tail", ["dialect = []", "words = {}\ndialect = [{word='M1234', action='ignore'}]"])
def test_a_machine_file_that_cannot_take_them_is_refused(tmp_path, tail):
    found = look(tmp_path, a="G00 X1 M77\nM30\n")
    with pytest.raises(InputError, match=r"cannot take in what is new|dialect is \[\]"):
        drafts(found, (tail + "\n" + DEMONSTRATION.read_text()).encode(), {}, tmp_path)


def test_a_draft_that_is_half_edited_is_refused_with_its_place(tmp_path):
    found = look(tmp_path, a="G21 G00 X1 M77 T5\nM30\n")
    out = proposed(found)
    broken = {MACHINE: out[MACHINE].content.replace(b'"undecided"', b'"skip"', 1)}
    with pytest.raises(InputError, match=r"dialect\[1\].action"):
        drafts(found, b"", broken, tmp_path)
    with pytest.raises(InputError, match=r"tools.toml:.*not TOML"):
        drafts(found, DEMONSTRATION.read_bytes(), {TOOLS: b"[[tool]\nnumber = 5\n"}, tmp_path)


def test_what_programs_hold_cannot_act_in_a_draft(tmp_path):
    found = look(tmp_path, a=HOSTILE, b='G21 G00 X1 M1234 ("""\nM30\n', c="G21 U5 (\x1b[31m]\r\nM30\n")
    for draft in proposed(found).values():
        text = draft.content.decode()
        tomllib.loads(text)
        own = text.removeprefix(DEMONSTRATION.read_text())
        assert all(c.isprintable() or c == "\n" for c in own)
        assert all(not line or line[0] in "#[awn" for line in own.splitlines())


def test_the_text_of_the_document_is_the_document(tmp_path):
    """Written out program by program, it is what one call of the encoder writes; hostile texts change nothing."""
    hostile = 'G21 G00 X1 M77 ("cases": [])\nM30\n'
    for programs in ({}, {"a": "G21 G00 X1\nM30\n"}, {"a": hostile, "b": "G00 X1\n#1=5\n", "c": hostile + "é"}):
        found = look(tmp_path, **programs)
        assert to_json(found) == json.dumps(document(found), indent=1) + "\n"


def test_words_beside_one_that_is_not_read_are_no_moves_at_the_head(tmp_path):
    machine = tmp_path / "m.toml"
    row = '\n[[dialect]]\nword = "G65"\naction = "refuse"\nmessage = "no macros"\n'
    machine.write_text(DEMONSTRATION.read_text() + row)
    for decided in (None, machine):
        found = look(tmp_path, decided, a="G21 G90\nG43 H1 Z20\nG65 P9100 X0 Y0\nG00 X5\nM30\n")
        assert "first-motion" not in {r.name for r in found.readings}
        assert [(r.name, r.blocks) for r in found.readings if "first" in r.name] == [("first-heights", 1)]
