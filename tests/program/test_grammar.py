"""The grammar files are found wherever the package lies, and the scanner's tables come from them."""

import subprocess
import sys

import pytest

from hexpost.errors import HexpostError
from hexpost.grammar_text import PACKAGE, grammar_text
from hexpost.program.grammar import terminal
from hexpost.program.roles import BLANK, DIGIT, END, LABEL, LETTER, MINUS, OPEN, OTHER, PLUS, POINT, SKIP, roles


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
    """The table is asked of the grammar; here it is spelled out once, by hand."""
    expected = dict.fromkeys(range(256), OTHER)
    expected |= dict.fromkeys(b"0123456789", DIGIT)
    expected |= dict.fromkeys(b"ABCDFGHIJKLMPQRSTUVWXYZabcdfghijklmpqrstuvwxyz", LETTER)
    expected |= dict.fromkeys(b"NnOo:", LABEL) | dict.fromkeys(b" \t", BLANK) | dict.fromkeys(b"\r\n", END)
    expected |= {ord("."): POINT, ord("-"): MINUS, ord("+"): PLUS, ord("/"): SKIP}
    expected |= dict.fromkeys(b"(;", OPEN)
    assert dict(enumerate(roles().of)) == expected


def test_a_terminal_is_a_regular_expression():
    assert terminal("BLANK") == "[ \\t]+".replace("\\t", "\t")
