"""Mutation testing of the numeric core and the audit: ``python tests/attack/mutants.py --of 400 --seed 1``.

One operator, comparison, number or function of the source is changed at a time, in a copy of the tree, and tests that
run the changed line are run; a mutant that no test notices survives. Which tests run a line comes from one run of the
suite under coverage.py with a context for each test (``--map FILE``, made when it is not there). ``survivors.txt``
lists changes that change no answer, with the reason: they are counted apart. Any other survivor ends the run with 1.
"""

import argparse
import ast
import json
import os
import random
import shutil
import subprocess
import sys
import tempfile
import time
from pathlib import Path

ROOT = Path(__file__).parent.parent.parent
CORE = ("kinematics", "setpoints", "audit")
AREAS = (*CORE, "feed", "published", "selfcheck")
QUICK_S, MOST_S = 2.0, 20.0
"""Tests that together take so long are tried first, and so long at most if none of those notices the mutant."""
PATIENCE_S = 90.0
SURVIVORS = Path(__file__).with_name("survivors.txt")

SWAPS = {
    ast.Add: ast.Sub, ast.Sub: ast.Add, ast.Mult: ast.Div, ast.Div: ast.Mult, ast.FloorDiv: ast.Div, ast.Pow: ast.Mult,
    ast.Lt: ast.LtE, ast.LtE: ast.Lt, ast.Gt: ast.GtE, ast.GtE: ast.Gt, ast.Eq: ast.NotEq, ast.NotEq: ast.Eq,
    ast.And: ast.Or, ast.Or: ast.And, ast.BitAnd: ast.BitOr, ast.BitOr: ast.BitAnd, ast.Mod: ast.Mult,
}  # fmt: skip
NAMES = {
    "minimum": "maximum", "maximum": "minimum", "min": "max", "max": "min", "argmin": "argmax", "argmax": "argmin",
    "sin": "cos", "cos": "sin", "floor": "ceil", "ceil": "floor", "any": "all", "all": "any", "add": "subtract",
    "subtract": "add", "multiply": "divide", "divide": "multiply", "arcsin": "arccos", "flatnonzero": "arange",
}  # fmt: skip
DROPPED = ("abs", "sqrt", "negative", "cumsum")


def mutants(source):
    """Return (line, what, text of the module) of every mutant of a module."""
    return [(line, what, made(source, number, what)) for line, what, number in places(source)]


def places(source):
    """Return (line, what, number of the node) of every change that may be made to a module."""
    tree = ast.parse(source)
    skipped = _annotations_and_texts(tree)
    nodes = [(k, node) for k, node in enumerate(_nodes(tree)) if id(node) not in skipped]
    return [(node.lineno, what, k) for k, node in nodes for what, _ in _changes(node)]


def made(source, number, what):
    """Return the text of a module with one of the changes of a node made."""
    tree = ast.parse(source)
    node = _nodes(tree)[number]
    dict(_changes(node))[what](node)
    return ast.unparse(ast.fix_missing_locations(tree))


def _nodes(tree):
    """Return what may be changed, in one order."""
    return [n for n in ast.walk(tree) if hasattr(n, "lineno") or isinstance(n, ast.operator | ast.cmpop)]


def _annotations_and_texts(tree):
    """Return what does not run or does not count: annotations, texts of messages, and numbers inside them."""
    out = set()
    for node in ast.walk(tree):
        parts = [getattr(node, "annotation", None), getattr(node, "returns", None)]
        if isinstance(node, ast.Raise | ast.JoinedStr | ast.Assert):
            parts.append(node)
        for part in filter(None, parts):
            out |= {id(n) for n in ast.walk(part)}
    return out


def _changes(node):
    """Yield what may be changed in a node, with a function that changes the node of the copy."""
    if isinstance(node, ast.BinOp | ast.BoolOp | ast.AugAssign) and type(node.op) in SWAPS:
        new = SWAPS[type(node.op)]
        yield f"{type(node.op).__name__} -> {new.__name__}", lambda n, new=new: setattr(n, "op", new())
    if isinstance(node, ast.Compare) and type(node.ops[0]) in SWAPS:
        new = SWAPS[type(node.ops[0])]
        yield f"{type(node.ops[0]).__name__} -> {new.__name__}", lambda n, new=new: n.ops.__setitem__(0, new())
    if isinstance(node, ast.UnaryOp) and isinstance(node.op, ast.USub | ast.Not | ast.Invert):
        yield f"drop {type(node.op).__name__}", _keep(lambda n: n.operand)
    if isinstance(node, ast.Constant) and type(node.value) in (int, float):
        value = node.value + 1 if isinstance(node.value, int) else node.value * 1.5 + 0.25
        yield f"{node.value!r} -> {value!r}", lambda n, value=value: setattr(n, "value", value)
    if isinstance(node, ast.Call) and (name := _name(node.func)):
        if name in NAMES:
            yield f"{name} -> {NAMES[name]}", lambda n, new=NAMES[name]: _rename(n.func, new)
        if name in DROPPED and node.args and not node.keywords:
            yield f"drop {name}", _keep(lambda n: n.args[0])


def _keep(part):
    """Return what turns a node into one of its parts, in place."""

    def change(node):
        kept = part(node)
        node.__class__ = type(kept)
        node.__dict__ = kept.__dict__

    return change


def _name(func):
    return func.attr if isinstance(func, ast.Attribute) else getattr(func, "id", None)


def _rename(func, new):
    setattr(func, "attr" if isinstance(func, ast.Attribute) else "id", new)


def mapped(tree, kept):
    """Return {file: {line: [(test, seconds)]}} from one run under coverage.py."""
    if not kept.exists():
        data, rc = tree / "mutants.cov", tree / "mutants.rc"
        rc.write_text(f"[run]\nsource = hexpost\ndynamic_context = test_function\ndata_file = {data}\n")
        words = ["coverage", "run", f"--rcfile={rc}", "-m", "pytest", "-q", "-p", "no:cacheprovider", "--durations=0"]
        areas = [f"tests/{a}" for a in AREAS]
        done = _run([*words, "--durations-min=0", *areas], tree, timeout=3600)
        kept.write_text(json.dumps(_tests_of_lines(data, done.stdout, tree)))
    return json.loads(kept.read_text())


def _tests_of_lines(data, text, tree):
    """Return {file: {line: [(test, seconds)]}} from coverage data and the durations that pytest printed."""
    from coverage import CoverageData

    spent = {}
    for row in text.splitlines():
        parts = row.split()
        if len(parts) == 3 and parts[1] == "call":
            test = parts[2].split("[")[0]
            spent[test] = spent.get(test, 0.0) + float(parts[0].rstrip("s"))
    read, out = CoverageData(basename=str(data)), {}
    read.read()
    for file in read.measured_files():
        lines = out.setdefault(str(Path(file).relative_to(tree)), {})
        for line, contexts in read.contexts_by_lineno(file).items():
            lines[line] = [(t, spent.get(t, 0.01)) for t in filter(None, map(_test, contexts))]
    return out


def _test(context):
    """Return the test that a context names, as pytest selects it: ``tests/area/test_x.py::test_y``."""
    module, _, test = context.rpartition(".")
    path = "tests/" + module.removeprefix("tests.").replace(".", "/") + ".py"
    return f"{path}::{test}" if test.startswith("test_") and (ROOT / path).exists() else None


def _run(words, tree, timeout):
    env = {**os.environ, "PYTHONPATH": str(tree), "OMP_NUM_THREADS": "1", "OPENBLAS_NUM_THREADS": "1"}
    return subprocess.run(
        [sys.executable, "-m", *words], cwd=tree, env=env, capture_output=True, text=True, timeout=timeout, check=False
    )


def _of(lines, line):
    """Return the tests that run a line, quick ones and slow ones; for a line that runs on import, those of the file."""
    own = lines.get(str(line)) or list({t: (t, s) for tests in lines.values() for t, s in tests}.values())
    quick, slow, total = [], [], 0.0
    for test, seconds in sorted(own, key=lambda entry: entry[1]):
        total += seconds
        if total > MOST_S and slow:
            break
        (quick if total <= QUICK_S else slow).append(test)
    return quick, slow


def survives(tree, file, text, tests):
    """Return whether none of ``tests`` notices that ``file`` of the tree holds ``text``."""
    if not tests:
        return True
    path = tree / file
    before = path.read_text()
    path.write_text(text)
    try:
        return _run(["pytest", "-x", "-q", "-p", "no:cacheprovider", *tests], tree, PATIENCE_S).returncode == 0
    except subprocess.TimeoutExpired:
        return False
    finally:
        path.write_text(before)


def main():
    """Try the mutants and print the table: how many of how many were killed, and the survivors."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--of", type=int, default=400, help="mutants to try, drawn from all")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--only", nargs="*", default=CORE, help="folders of hexpost")
    parser.add_argument("--map", type=Path, default=Path(tempfile.gettempdir(), "hexpost-tests-of-lines.json"))
    parser.add_argument("--out", type=Path, help="write a line for each mutant here as it is tried")
    chosen = parser.parse_args()
    with tempfile.TemporaryDirectory(prefix="hexpost-mutants-") as folder:
        tree = Path(folder, "tree")
        shutil.copytree(ROOT, tree, ignore=shutil.ignore_patterns(".*", "__pycache__"))
        tests = mapped(tree, chosen.map)
        drawn = draw(tree, chosen.only, chosen.of, chosen.seed)
        counts, known = {}, {row[:3] for row in recorded()}
        for k, (file, line, what, text) in enumerate(drawn):
            begin = time.monotonic()
            quick, slow = _of(tests.get(file, {}), line)
            alive = survives(tree, file, text, quick) and survives(tree, file, text, slow)
            same = (file, text_of(tree, file, line), what) in known
            verdict = "killed" if not alive else "listed" if same else "SURVIVED"
            counts.setdefault(file.split("/")[1], []).append(verdict)
            spent = time.monotonic() - begin
            row = f"{verdict} {file}:{line} {what} ({len(quick + slow)} tests, {spent:.1f} s)"
            print(f"{k + 1}/{len(drawn)} {row}", flush=True)
            if chosen.out:
                with chosen.out.open("a") as rows:
                    rows.write(row + "\n")
    for area, found in sorted(counts.items()):
        killed, listed, tried = found.count("killed"), found.count("listed"), len(found)
        print(f"{area:12} {killed:5} of {tried:5} killed, {killed / tried:.1%}; {listed} change no answer")
    return int(any("SURVIVED" in found for found in counts.values()))


def text_of(tree, file, line):
    """Return a line of a module without its indentation."""
    return (tree / file).read_text().splitlines()[line - 1].strip()


def recorded():
    """Return the survivors that change no answer: file, text of the line, what is changed, and the reason."""
    rows = [r for r in SURVIVORS.read_text().splitlines() if r and not r.startswith("#")]
    return [tuple(part.strip() for part in row.split(" || ")) for row in rows]


def draw(tree, areas, count, seed):
    """Return ``count`` mutants (file, line, what, text) of the areas, drawn with a seed."""
    every = []
    for area in areas:
        for path in sorted((tree / "hexpost" / area).rglob("*.py")):
            file = str(path.relative_to(tree))
            every += [(file, *place) for place in places(path.read_text())]
    print(f"{len(every)} mutants of {', '.join(areas)}", flush=True)
    chosen = random.Random(seed).sample(every, min(count, len(every)))
    return [(file, line, what, made((tree / file).read_text(), k, what)) for file, line, what, k in chosen]


if __name__ == "__main__":
    sys.exit(main())
