"""No input can make the tool run code, write where it was not told to, or act on who looks at its results."""

import ast
import json
import os
import xml.etree.ElementTree as ET
from html.parser import HTMLParser
from pathlib import Path

import pytest
from click.testing import CliRunner

from hexpost.cli import main
from hexpost.errors import InputError, OutputError
from hexpost.library.policy import load_policy
from hexpost.library.settings import Settings
from hexpost.tables.job import JobFolder
from hexpost.tables.whole import write_whole

PACKAGE = Path(__file__).parent.parent.parent / "hexpost"
FILES = sorted(PACKAGE.rglob("*.py"))
NO_CALLS = {"eval", "exec", "compile", "__import__", "breakpoint", "input"}
NO_MODULES = {
    "pickle", "cPickle", "dill", "cloudpickle", "shelve", "marshal", "yaml", "ruamel", "subprocess", "pty", "ctypes",
    "socket", "urllib", "http", "ftplib", "smtplib", "requests", "xml.sax", "xml.dom", "code", "runpy",
}  # fmt: skip
NO_ATTRIBUTES = {("os", "system"), ("os", "popen"), ("os", "execv"), ("os", "spawnl"), ("os", "fork")}
NO_HARM = {"urllib.parse", "xml.sax.saxutils"}
"""Functions on strings alone."""
SYSTEM_CALLS = {
    "__main__.py": {"ctypes"}, "tables/exchange.py": {"ctypes"}, "workers/leash.py": {"ctypes", "pickle"},
    "workers/engines.py": {"pickle"}, "workers/ordered.py": {"pickle"},
}  # fmt: skip
"""Calls of the system that Python has no function for, by fixed names; results of processes that this one started."""
LOADERS = {"load", "loads", "fromfile", "loadtxt", "genfromtxt", "memmap", "read_pickle"}


@pytest.mark.parametrize("file", FILES, ids=lambda f: str(f.relative_to(PACKAGE)))
def test_no_code_from_data(file):
    for node in ast.walk(ast.parse(file.read_text())):
        if isinstance(node, ast.Import | ast.ImportFrom):
            names = [n.name for n in node.names] if isinstance(node, ast.Import) else [node.module or ""]
            for name in set(names) - NO_HARM - SYSTEM_CALLS.get(file.relative_to(PACKAGE).as_posix(), set()):
                assert not any(name == m or name.startswith(m + ".") for m in NO_MODULES), f"line {node.lineno}: {name}"
        elif isinstance(node, ast.Call):
            called = node.func
            if isinstance(called, ast.Name):
                assert called.id not in NO_CALLS, f"line {node.lineno}: {called.id}"
            elif isinstance(called, ast.Attribute) and isinstance(called.value, ast.Name):
                assert (called.value.id, called.attr) not in NO_ATTRIBUTES, f"line {node.lineno}"
                if called.value.id == "np" and called.attr in LOADERS:
                    words = {k.arg: k.value for k in node.keywords}
                    assert called.attr == "load", f"line {node.lineno}: np.{called.attr}"
                    assert words["allow_pickle"].value is False
            assert not any(k.arg == "shell" for k in node.keywords), f"line {node.lineno}"


@pytest.mark.parametrize("name", ["../m.toml", "a/../../m.toml", "/etc/m.toml", "..", "c:/m.toml", "..\\\\m.toml"])
@pytest.mark.parametrize("key", ["machine", "tools", "setup"])
def test_files_of_a_policy_stay_in_its_folder(name, key, tmp_path):
    file = tmp_path / "gate.toml"
    for text in (f'[all]\n{key} = "{name}"\n', f'[[where]]\npath = ["*.nc"]\n{key} = "{name}"\n'):
        file.write_text(text)
        with pytest.raises(InputError, match="leads out of the folder of the policy"):
            load_policy(file, Settings())
    file.write_text(f'[all]\n{key} = "below/m.toml"\n')
    policy = load_policy(file, Settings(**{key: "/elsewhere/m.toml"}))
    assert getattr(policy.settings("x.nc"), key) == "/elsewhere/m.toml"  # the command line may


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="no pipes with names here")
@pytest.mark.parametrize("kind", ["link", "dangling", "pipe", "folder", "device"])
def test_links_and_special_files_are_no_outputs(kind, tmp_path):
    target, path = tmp_path / "target", tmp_path / "out"
    target.write_text("precious")
    if kind == "link":
        path.symlink_to(target)
    elif kind == "dangling":
        path.symlink_to(tmp_path / "nowhere")
    elif kind == "pipe":
        os.mkfifo(path)
    elif kind == "folder":
        path.mkdir()
    else:
        path = Path("/dev/full")
    with pytest.raises(OutputError, match="a link, a folder or a special file"):
        write_whole(path, b"x")
    if kind != "folder":
        with pytest.raises(OutputError), JobFolder(path, overwrite=True):
            pass
    assert target.read_text() == "precious"
    assert not (tmp_path / "nowhere").exists()


HOSTILE = "(<script>alert(1)</script> ]]> <![CDATA[ &amp; \"' \x1b[31m\x07 \u202e --> %s)"
NAMES = ["<script>x()<.nc", "a\nb.nc", "a\x1b[31mb.nc", "\"'&.nc", b"\xff\xfe.nc", "]]>.nc", "-x.nc"]


class Scripts(HTMLParser):
    """Counts scripts and attributes that act."""

    def __init__(self):
        super().__init__()
        self.found = []

    def handle_starttag(self, tag, attrs):
        if tag == "script" and dict(attrs).get("src"):
            self.found.append(attrs)
        self.found += [a for a in attrs if a[0].startswith("on") or (a[1] or "").strip().startswith("javascript:")]

    def handle_data(self, data):
        if "alert(1)" in data and self.cdata_elem == "script":
            self.found.append(data)


@pytest.mark.parametrize("name", NAMES, ids=repr)
def test_names_and_comments_act_nowhere(name, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    raw = os.fsencode(name)
    Path(os.fsdecode(raw)).write_bytes(
        f"G21 G00 X0 Z80 {HOSTILE}\nG01 X90 F90000 {HOSTILE}\nG77\n".encode()[:-4] + b"M30\n"
    )
    argument = "./" + os.fsdecode(raw)
    words = ["gate", argument, "--serial", "--no-cache", "--sarif", "s.sarif", "--junit", "j.xml", "--html", "p.html"]
    said = CliRunner().invoke(main, words)
    assert said.exit_code in (0, 1), said.output
    for run in (
        ["audit", argument, "--full"],
        ["explain", argument],
        ["convert", argument, "--out", "job"],
        ["gate", "nothing" + argument[2:]],
    ):
        said = CliRunner().invoke(main, run)
        assert not isinstance(said.exception, UnicodeError), said.exception
        acting = [c for c in said.output if not c.isprintable() and c not in "\n\udcff\udcfe"]
        assert not acting, (run[0], acting)
    json.loads(Path("s.sarif").read_bytes())
    ET.fromstring(Path("j.xml").read_bytes())
    for page in ("p.html", "job/report.html"):
        seen = Scripts()
        seen.feed(Path(page).read_text("utf-8", "replace"))
        assert not seen.found, page
