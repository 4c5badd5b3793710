"""The grammar files are found wherever the package lies, and the scanner's tables come from them."""

import itertools
import re
import subprocess
import sys

import pytest
from lark import UnexpectedInput

from hexpost.errors import HexpostError
from hexpost.grammar_text import PACKAGE, grammar_text
from hexpost.program.grammar import part_programs
from hexpost.program.parse import Line, parse
from hexpost.program.roles import BLANK, DIGIT, END, LABEL, LETTER, MINUS, OPEN, OTHER, PLUS, POINT, SKIP, pair, roles


@pytest.mark.parametrize("folder", ["hexpost/grammars", "grammars"])
def test_a_grammar_lies_in_the_package_or_beside_it(tmp_path, folder):
    (tmp_path / folder).mkdir(parents=True)
    (tmp_path / folder / "a.lark").write_text("start: X", encoding="utf-8")
    assert grammar_text("a.lark", tmp_path / "hexpost") == "start: X"


def test_a_missing_grammar_is_a_damaged_installation(tmp_path):
    with pytest.raises(HexpostError, match=r"a\.lark is missing from the installation"):
        grammar_text("a.lark", tmp_path)


def test_the_working_directory_plays_no_part(tmp_path):
    code = "from hexpost.program.read import read; f = []; print(read(b'G1 X2', 't', f).value.tolist(), f)"
    environment = {"PYTHONPATH": str(PACKAGE.parent)}
    run = [sys.executable, "-c", code]
    out = subprocess.run(run, cwd=tmp_path, env=environment, capture_output=True, text=True, check=True)
    assert out.stdout == "[1.0, 2.0] []\n"


def test_the_roles_of_bytes_are_those_of_the_grammar():
    """Spelled out once more, by hand."""
    expected = dict.fromkeys(range(256), OTHER)
    expected |= dict.fromkeys(b"0123456789", DIGIT)
    expected |= dict.fromkeys(b"ABCDFGHIJKLMPQRSTUVWXYZabcdfghijklmpqrstuvwxyz", LETTER)
    expected |= dict.fromkeys(b"NnOo:", LABEL) | dict.fromkeys(b" \t", BLANK) | dict.fromkeys(b"\r\n", END)
    expected |= {ord("."): POINT, ord("-"): MINUS, ord("+"): PLUS, ord("/"): SKIP}
    expected |= dict.fromkeys(b"(;", OPEN)
    assert dict(enumerate(roles().of)) == expected


def terminal(name):
    """Return the compiled regular expression of a terminal of the grammar."""
    found = next(t.pattern.to_regexp() for t in part_programs().terminals if t.name == name)
    return re.compile(found.encode("latin-1"))


def legal(text):
    """Return whether the parser takes a text as a block."""
    try:
        part_programs().parse(text, start="block")
    except UnexpectedInput:
        return False
    return True


def test_the_roles_of_bytes_are_what_the_terminals_say():
    number, label, comment, skip = (terminal(x) for x in ("NUMBER", "LABEL", "COMMENT", "SKIP"))
    address, blank, end = (terminal(x) for x in ("ADDRESS", "BLANK", "_NL"))

    def role(c):
        tests = (
            (number.fullmatch(c), DIGIT),
            (number.fullmatch(b"1" + c + b"1"), POINT),
            (number.fullmatch(c + b"1"), MINUS if c == b"-" else PLUS),
            (address.fullmatch(c), LETTER),
            (label.fullmatch(c + b"1"), LABEL),
            (blank.fullmatch(c), BLANK),
            (end.fullmatch(c), END),
            (comment.fullmatch(c) or comment.fullmatch(c + b")"), OPEN),
            (skip.fullmatch(c), SKIP),
        )
        return next((r for true, r in tests if true), OTHER)

    assert roles().of == bytes(role(bytes([i])) for i in range(256))


def test_pairs_of_bytes_are_plain_where_the_parser_takes_them_in_one_of_a_few_surroundings():
    samples = {POINT: ".", MINUS: "-", PLUS: "+", LETTER: "X", LABEL: "N", BLANK: " ", END: ""}
    before, after = ["", "X", "X1", "X-", "N", "N1"], ["", "1", "1 ", ".5", "-1"]
    odd = bytearray(b"\1" * 256)
    for a, digits, b in itertools.product(samples, (0, 1), samples):
        opened = a in (LETTER, LABEL) and b == BLANK and not digits
        resumed = a == BLANK and (digits or b in (POINT, MINUS, PLUS))
        if opened or resumed or (b == LABEL and a != END):
            continue
        heads, tails = ([""] if a == END else before), ([""] if b == END else after)
        middle = samples[a] + "7" * digits + samples[b]
        odd[pair(a, digits, b)] = not any(legal(h + middle + t) for h in heads for t in tails)
    assert roles().odd == bytes(odd)


@pytest.mark.parametrize(
    ("name", "alphabet", "longest", "more"),
    [
        ("NUMBER", "+-.70X", 5, ["7" * 20, "7" * 21, "7." + "7" * 20, "." + "7" * 21, "-" + "7" * 20 + "."]),
        ("SKIP", "/01 9\tX", 4, ["/ \t 5"]),
        ("COMMENT", "(;)a \n", 6, ["(a" * n + ")b" * n for n in range(1, 7)] + [";a \t", "(((()()))(a))(b)"]),
    ],
)
def test_regular_expressions_match_what_terminals_match(name, alphabet, longest, more):
    theirs, mine = terminal(name), {"NUMBER": roles().number, "SKIP": roles().skip, "COMMENT": roles().comment}[name]
    theirs = theirs.fullmatch if name == "NUMBER" else theirs.match
    texts = ["".join(x) for n in range(longest + 1) for x in itertools.product(alphabet, repeat=n)] + more
    for text in (x.encode() for x in texts):
        one, two = theirs(text), mine(text)
        assert (one and one.span()) == (two and two.span()), text


@pytest.mark.parametrize("text", ["%", " %", "%\t ", " \t% "])
def test_a_lone_percent_is_what_the_parser_makes_of_it(text):
    assert parse(text) == Line(percent=True)


def test_most_programs_are_read_without_the_parser():
    code = (
        "import sys; from hexpost.program.read import read; faults = []\n"
        "read(b'%\\nO1 (PART)\\n/N10 G1 X2. ; end\\n%\\n', 't', faults); assert not faults\n"
        "assert 'lark' not in sys.modules; read(b'X1E3\\n', 't', faults); assert faults and 'lark' in sys.modules"
    )
    subprocess.run([sys.executable, "-c", code], check=True)
