"""It is still the same house: sizes, borders between stages, chapters, the top level."""

import ast
import re
import subprocess
import sys
from pathlib import Path

import pytest

from hexpost.audit.limits import LIMITS

ROOT = Path(__file__).parent.parent.parent
PACKAGE = ROOT / "hexpost"
FILES = sorted(PACKAGE.rglob("*.py"))
STAGES = {
    "program", "moves", "path", "feed", "setpoints", "audit", "tables", "report", "library", "setup", "refeed",
    "explain", "verify", "reach", "survey",
}  # fmt: skip
EVERYBODYS = {"cli", "kinematics", "machine", "pages", "workers"}
"""What several stages build on, and the command line, which calls them all."""
BORROWED = {
    ("audit", "setpoints"): "attitudes and loads are worked out once, for commands, table and limits",
    ("explain", "moves"): "it shows how a block was read, state by state",
    ("refeed", "moves"): "it cuts blocks that say nothing but where to go",
    ("refeed", "setpoints"): "it looks for the ticks at which blocks begin",
    ("survey", "library"): "its programs, their files and their workers are those of the gate",
    ("survey", "moves"): "it counts what programs hold and leave open",
    ("survey", "program"): "a program that is refused is read on, with its faults",
    ("verify", "moves"): "a proof shares the reading of inputs, and nothing else",
    ("verify", "program"): "a proof shares the reading of inputs, and nothing else",
}
"""Who imports more than the model of another stage, and why: nobody else does."""
CHAPTERS = [f for f in FILES if f.name == "__init__.py"]
TOP_LEVEL = {"README.md", "DEVELOPERS.md", "pyproject.toml", "hexpost", "grammars", "tests", "samples"}


def imports(file: Path) -> list[tuple[str, int]]:
    """Return the dotted hexpost modules that a file imports at any depth of its code, with their lines."""
    out = []
    for node in ast.walk(ast.parse(file.read_text())):
        if isinstance(node, ast.ImportFrom) and node.module and node.module.startswith("hexpost"):
            out.append((node.module, node.lineno))
            out += [(f"{node.module}.{n.name}", node.lineno) for n in node.names]
        elif isinstance(node, ast.Import):
            out += [(n.name, node.lineno) for n in node.names if n.name.startswith("hexpost")]
    return [(m, line) for m, line in out if (ROOT / Path(*m.split("."))).with_suffix(".py").exists()]


def module_name(file: Path) -> str:
    """Return the dotted name of a file."""
    parts = file.relative_to(ROOT).with_suffix("").parts
    return ".".join(parts[:-1] if parts[-1] == "__init__" else parts)


def test_files_are_at_most_300_lines():
    long = {str(f.relative_to(ROOT)): n for f in FILES if (n := len(f.read_text().splitlines())) > 300}
    assert not long


def test_functions_are_at_most_60_lines():
    long = [
        f"{file.relative_to(ROOT)}:{node.lineno} {node.name}"
        for file in FILES
        for node in ast.walk(ast.parse(file.read_text()))
        if isinstance(node, ast.FunctionDef) and node.end_lineno and node.end_lineno - node.lineno >= 60
    ]
    assert not long


def test_every_package_is_a_stage_or_everybodys():
    there = {f.parent.name for f in PACKAGE.glob("*/__init__.py")}
    assert there == STAGES | EVERYBODYS and not STAGES & EVERYBODYS


def test_a_stage_imports_from_another_stage_only_its_model():
    found = {}
    for file in FILES:
        own = file.relative_to(PACKAGE).parts[0]
        for module, line in imports(file):
            parts = module.split(".")
            if own in STAGES and len(parts) >= 3 and parts[1] in STAGES and parts[1] != own and parts[2] != "model":
                found[own, parts[1]] = f"{file.relative_to(ROOT)}:{line} imports {module}"
    assert [said for pair, said in found.items() if pair not in BORROWED] == []
    assert [pair for pair in BORROWED if pair not in found] == []


def test_there_are_no_import_cycles():
    graph = {module_name(f): {m for m, _ in imports(f)} - {module_name(f)} for f in FILES}
    seen: dict[str, int] = {}

    def visit(module: str, trail: tuple[str, ...]) -> None:
        assert module not in trail, " -> ".join([*trail, module])
        if seen.get(module):
            return
        for other in sorted(graph.get(module, ())):
            visit(other, (*trail, module))
        seen[module] = 1

    for module in graph:
        visit(module, ())


def test_top_level_is_as_agreed():
    git = subprocess.run(["git", "ls-files"], cwd=ROOT, capture_output=True, text=True, check=False)
    if git.returncode:
        pytest.skip("not a git checkout")
    names = {line.split("/")[0] for line in git.stdout.splitlines()}
    assert {n for n in names if not n.startswith(".")} == TOP_LEVEL


def test_no_name_of_ours_needs_an_alias():
    """Two things of one name would meet in a file: one of them has the wrong name."""
    wrong = [
        f"{file.relative_to(ROOT)}:{node.lineno} {name.name} as {name.asname}"
        for file in FILES
        for node in ast.walk(ast.parse(file.read_text()))
        if isinstance(node, ast.ImportFrom | ast.Import)
        for name in node.names
        if name.asname and (getattr(node, "module", None) or name.name).split(".")[0] == "hexpost"
    ]
    assert not wrong


def test_a_class_has_a_name_of_its_own():
    """Two classes of one name, in any two files of the package, are two things for one word."""
    found: dict[str, list[str]] = {}
    for file in FILES:
        for node in ast.walk(ast.parse(file.read_text())):
            if isinstance(node, ast.ClassDef):
                found.setdefault(node.name, []).append(f"{file.relative_to(ROOT)}:{node.lineno}")
    assert not {name: places for name, places in found.items() if len(places) > 1}


NAMELESS = ("cli", "documents.py", "library", "refeed", "report", "setup", "voice.py")
"""Rooms that read the rows of limits and name none of them."""


def named_limits(code: str) -> list[str]:
    """Return the texts of code that are the name of a limit, or hold one of two words."""
    names = {row.name for row in LIMITS}
    pair = re.compile(rf"\b({'|'.join(n for n in names if '-' in n)})\b")
    tree = ast.parse(code)
    silent = {id(node.value) for node in ast.walk(tree) if isinstance(node, ast.Expr)}  # docstrings
    texts = [n.value for n in ast.walk(tree) if isinstance(n, ast.Constant) and id(n) not in silent]
    return [x for x in texts if isinstance(x, str) and (x in names or pair.search(x))]


def test_who_reads_the_rows_of_limits_names_none():
    assert named_limits("if name == 'jerk' or x == 'no tool-length here': pass") == ["jerk", "no tool-length here"]
    files = [f for f in FILES if f.relative_to(PACKAGE).parts[0] in NAMELESS]
    assert len(files) > 60
    assert not {str(f.relative_to(ROOT)): found for f in files if (found := named_limits(f.read_text()))}


@pytest.mark.parametrize("file", CHAPTERS, ids=[module_name(f) for f in CHAPTERS])
def test_a_package_opens_with_a_chapter(file):
    """What comes in, what goes out, the idea, the rule to know, and where to start reading: names that exist."""
    chapter = ast.get_docstring(ast.parse(file.read_text())) or ""
    lines = chapter.splitlines()
    assert 5 <= len(lines) <= 25
    openings = [line.split(" ")[0] for line in lines]
    kept = [x for x in openings if x in {"In:", "Out:", "Idea:", "Rule:", "Start"}]
    assert kept == ["In:", "Out:", "Idea:", "Rule:", "Start"]
    named = re.findall(r"``([\w/]+\.py)``", chapter)
    assert not [name for name in named if not (file.parent / name).exists()]
    assert named or "COMMANDS" in chapter


def test_help_imports_nothing_heavy():
    code = (
        "import sys\nfrom hexpost.cli import main\n"
        "try: main(['--help'])\nexcept SystemExit: pass\n"
        "heavy = {'numpy', 'scipy', 'lark', 'hexpost.pipeline'} & set(sys.modules)\n"
        "sys.exit(f'imported: {heavy}' if heavy else 0)"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr


def readers_of_words(code: str) -> list[str]:
    """Return where code looks at letters of words, or at the table of them, instead of asking what they mean."""
    out = []
    for node in ast.walk(ast.parse(code)):
        if isinstance(node, ast.Attribute) and node.attr in ("letter", "pointed", "letters"):
            out.append(f"{node.lineno}: .{node.attr}")
        elif isinstance(node, ast.ImportFrom) and node.module == "hexpost.machine.words":
            out.append(f"{node.lineno}: {node.module}")
        elif isinstance(node, ast.Call) and isinstance(node.func, ast.Name) and node.func.id == "ord":
            letter = node.args[0]
            if isinstance(letter, ast.Constant) and re.fullmatch("[A-Z:]", str(letter.value)):
                out.append(f"{node.lineno}: ord({letter.value})")
    return out


def test_only_the_reader_and_the_interpreter_look_at_letters_and_values_of_words():
    assert readers_of_words('at = program.letter == ord("F")\nfrom hexpost.machine.words import WORDS\n')
    found = {
        str(file.relative_to(PACKAGE)): places
        for file in FILES
        if file.relative_to(PACKAGE).parts[0] not in ("program", "moves", "machine")
        and file != PACKAGE / "cli" / "words.py"  # which prints the table itself
        and (places := readers_of_words(file.read_text()))
    }
    assert not found
