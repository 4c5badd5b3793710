"""A program and its twin in other words (dialect, G70, G71, the machine's own unit) are the same to every command."""

import json
import re
from dataclasses import fields
from functools import cache

import numpy as np
import pytest
from click.testing import CliRunner
from hypothesis import given, settings
from hypothesis import strategies as st

from hexpost.cli import main
from hexpost.explain.blocks import documents
from hexpost.machine.load import DEMONSTRATION, load_machine, machine_from, no_setup
from hexpost.machine.model import Tool, Tools
from hexpost.moves.interpret import interpret
from hexpost.moves.model import Modal
from hexpost.moves.trace import trace
from hexpost.program.read import read
from hexpost.refeed.feeds import feeds_of

pytestmark = pytest.mark.usefixtures("untried")

SHIFT = 800
"""The shop says G801 for G01 and M803 for M03."""
CODES = {
    "G": [*range(5), 9, 17, 20, 21, 28, 40, 41, 43, 49, 53, 54, 55, 61, 64, *range(80, 85), *range(90, 96), 98, 99],
    "M": [0, 1, 2, 3, 5, 6, 8, 9, 19, 30, 98, 99],
}  # fmt: skip
ROWS = "".join(
    f'\n[[dialect]]\nword = "{x}{SHIFT + c}"\naction = "same-as"\nsame_as = "{x}{c}"\n' for x in CODES for c in CODES[x]
)
SLOW = DEMONSTRATION.read_text().replace("speed_mm_s = 1300", "speed_mm_s = 300").replace("_ms = 1.0", "_ms = 8.0")
SHOP = f'{SLOW}\n[words]\nunits = "inch"\n{ROWS}'
TOOLS = Tools(tools={n: Tool(number=n, length=100.0 + n, diameter=10.0) for n in (1, 2)}, given=True, file="t.toml")
OF_THE_WORDS = {"text", "readings", "program", "sha256", "hexpost", "inputs", "file", "name", "fingerprint"}
"""Parts of documents that show words as written, or name the file."""


@cache
def shop():
    """Return the machine of the shop."""
    return machine_from(SHOP.encode(), "shop.toml")


def twin(text, choose):
    """Return a program in other words: ``choose`` picks one of a list, for every G and M word."""

    def other(word):
        letter, code = word[1], int(word[2])
        if code not in CODES[letter]:
            return word[0]
        said = [word[0], f"{letter}{SHIFT + code}"]
        if letter == "G" and code in (20, 21):
            said.append(f"G{code + 50}")
            if code == 20 and word.start() == 0:
                said.append("")
        return choose(said)

    return re.sub(r"([GM])0*(\d+)(?![\d.])", other, text)


BLOCKS = [
    "G00 X{0} Y{1}", "G01 X{0} Y{1} Z-{2} F{3}", "X{0}", "G02 X{0} Y{1} R900 F{3}", "G03 I{2} J0 F{3}",
    "G04 X0.1", "F{3}",
    "G91 G01 X{2}\nG90", "G01 A{2} F{3}\nA0", "G01 X{1} A{2} F{3}\nA0", "M03 S{3}", "M05", "M08", "M09", "M00", "M01",
    "M19",
    "G55", "G54", "T1 M06", "G43 H1 Z{0}", "G49", "G53 G00 Z0", "G28 Z30", "G92 X{0}", "G93 G01 X{0} F30\nG94 F{3}",
    "M03 S{3}\nG95 G01 X{0} F0.2\nG94 F{3}", "G98 G81 X{0} R2 Z-{2} F{3}\nG80", "G99 G82 X{0} R2 Z-{2} P10 F{3}\nG80",
    "M03 S500\nG84 X{0} R2 Z-9 F700\nG80", "G61 G01 X{0} F{3}\nG64", "M98 P1", "M98 P1 L2", "C{2}\nC0",
    "G41 D1 G01 X0 Y300 F{3}\nX100\nY400\nG40 Y500", "G40 G17 G00 X1",
]  # fmt: skip
SUB = "O1\nG91 G01 X1\nG90 Y2 F600\nG04 P10\nM99\n"
HEAD = {"mm": "G21 G17 G90 G94 G40 G49\n", "inch": "G20 G17 G90 G94 G40 G49\n"}


@st.composite
def programs(draw, blocks=BLOCKS):
    """Return a program, as its blocks happen to come; many mean nothing and are refused, in both words."""
    unit = draw(st.sampled_from(sorted(HEAD)))
    chosen = draw(st.lists(st.tuples(st.sampled_from(blocks), st.integers(1, 60), st.integers(1, 9)), max_size=10))
    body = [b.format(x, (x * 7) % 50 + 0.5, k, 100 * k) for b, x, k in chosen]
    text = HEAD[unit] + "G00 X1 Y1 Z30\nG01 X2 F300\n" + "\n".join([*body, "M30", SUB])
    return text if unit == "mm" else re.sub(r"(?<=[XYZIJ])(-?\d[\d.]*)", lambda m: f"{float(m[1]) / 20:.4f}", text)


def understood(text):
    """Return program, meaning and faults on the shop's machine."""
    faults = []
    program = read(text.encode(), "part.nc", faults)
    return program, interpret(program, shop(), TOOLS, no_setup(), faults), faults


def equal(a, b):
    """Assert that all columns of two records are the same."""
    for field in fields(a):
        one, other = (getattr(x, field.name) for x in (a, b))
        if isinstance(one, Modal):
            equal(one, other)
        elif isinstance(one, np.ndarray):
            assert np.array_equal(one, other, equal_nan=one.dtype.kind == "f"), field.name


@given(programs(), st.data())
@settings(max_examples=50)
def test_twins_mean_the_same(text, data):
    other = twin(text, lambda said: data.draw(st.sampled_from(said)))
    program, a, faults = understood(text)
    second, b, found = understood(other)
    assert [(f.line, f.code) for f in faults] == [(f.line, f.code) for f in found]
    if faults:
        return
    equal(a.moves, b.moves)
    equal(a.moves.arcs, b.moves.arcs)
    equal(a.events, b.events)
    equal(a.written, b.written)
    equal(feeds_of(a), feeds_of(b))
    assert (a.radius_rows, a.c_line) == (b.radius_rows, b.c_line)
    blocks = []
    for one in (program, second):
        parts = trace(one, shop(), TOOLS, no_setup(), (1, 10**6))
        blocks.append([{**block, "text": ""} for block in documents(one, parts)])
    assert blocks[0] == blocks[1]


def scrubbed(value):
    """Return a document without what shows words as written."""
    if isinstance(value, dict):
        return {k: scrubbed(v) for k, v in value.items() if k not in OF_THE_WORDS}
    if isinstance(value, str):
        return re.sub(r"(?<=Line )(\d+) \(.*?\)(?= )", r"\1", value)
    return [scrubbed(v) for v in value] if isinstance(value, list) else value


INCH = """G20 G17 G90 G94 G40 G49 G64
T1 M06
G54 G43 H1 G00 X0 Y0 Z12.
S2000 M03
G01 X2. F2600.
Y2. F50.
G02 X3. Y1. I0. J-1. F40.
G04 X0.1
M08
G99 G81 X0.5 Y0.5 Z11. R11.5 F30.
X1.
G80 M09
M98 P1 L2
G53 G00 Z0
M05
M30
O1
G91 G01 X0.25 Y-0.1 F20.
G90
M99
"""
METRIC = """G21 G17 G90 G94 G40 G49 G64
T1 M06
G55 G43 H1
S900 M03
G00 X0 Y0 Z300.
G01 X60. F66000
Y40. A3. F900
A0.
G84 X40. Y20. Z290. R295. F900
G80
G28 Z310.
M19
M30
"""


@pytest.mark.parametrize(("text", "which"), [(INCH, 1), (INCH, -1), (METRIC, 1)], ids=["dialect", "own unit", "mm"])
def test_twins_are_the_same_to_every_command(text, which, tmp_path):
    (tmp_path / "shop.toml").write_text(SHOP)
    assert load_machine(tmp_path / "shop.toml").words.units == "inch"
    (tmp_path / "tools.toml").write_text("[[tool]]\nnumber = 1\nlength_mm = 80\ndiameter_mm = 10\n")
    (tmp_path / "setup.toml").write_text(
        "[offset.G54]\npose_mm_deg = [0, 0, 0, 0, 0, 0]\n[offset.G55]\npose_mm_deg = [9, 0, 0, 0, 0, 5]\n"
    )
    files = [f"--{name}={tmp_path / name}.toml" for name in ("tools", "setup")] + [
        f"--machine={tmp_path / 'shop.toml'}"
    ]
    sources = {"one": text, "two": twin(text, lambda said: said[which % len(said)])}
    assert sources["one"] != sources["two"]
    coarse = ["--step-mm=100", "--turn-deg", "0", "0", "--x-mm", "0", "50", "--y-mm", "0", "0", "--serial"]
    commands = {
        "convert": [*files, "--json"],
        "audit": [*files, "--json"],
        "audit --yaw=best": [*files, "--json"],
        "explain": [*files, "--json"],
        "gate": [*files, "--no-cache", "--serial", "--json"],
        "place": [*files, *coarse, "--json"],
        "refeed": [*files, "--json"],
    }
    answers = {}
    for name, source in sources.items():
        folder = tmp_path / name
        folder.mkdir()
        part = folder / "part.nc"
        part.write_text(source)
        for command, options in commands.items():
            more = {"convert": ["--out", str(folder / "job")], "refeed": ["-o", str(folder / "new.nc")]}.get(
                command, []
            )
            done = CliRunner().invoke(main, [*command.split(), str(part), *options, *more])
            assert done.exit_code in (0, 1), (command, done.output)
            lines = done.stdout.splitlines() if command == "explain" else [done.stdout]
            plain = [json.loads(line.replace(str(folder), "")) for line in lines]
            answers[name, command] = (done.exit_code, scrubbed(plain))
        tables = sorted(x for x in (folder / "job").rglob("*") if "setpoints" in x.name or "events" in x.name)
        answers[name, "tables"] = [(x.name, x.read_bytes()) for x in tables]
        assert len(tables) == 2
        new = (folder / "new.nc").read_text().splitlines()
        answers[name, "feeds"] = [re.findall(r"F[0-9.]+", x) for x in new if not x.startswith("(FEEDS")]
    for command in (*commands, "tables", "feeds"):
        assert answers["one", command] == answers["two", command], command
    both = [str(tmp_path / name / "part.nc") for name in sources]
    assert CliRunner().invoke(main, ["diff", *both, *files]).exit_code == 0
    assert answers["one", "refeed"][1][0]["changed"]
