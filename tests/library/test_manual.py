"""The examples of the gate's manual, run word for word in a copy of the samples."""

import json
import os
import re
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

from hexpost.cli import MANUALS

LONG = ("flange.nc", "crown.nc", "blade_band.nc")
"""Samples that pass, and take longest."""


@pytest.fixture
def clone(tmp_path, root, monkeypatch):
    shutil.copytree(root / "samples", tmp_path / "samples", ignore=shutil.ignore_patterns(*LONG))
    tools = tmp_path / "bin"
    tools.mkdir()
    (tools / "hexpost").write_text(f'#!/bin/sh\nexec "{sys.executable}" -m hexpost "$@"\n')
    (tools / "hexpost").chmod(0o755)
    monkeypatch.setenv("PATH", f"{tools}:{os.environ['PATH']}")
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path / "home"))
    monkeypatch.chdir(tmp_path)
    return tmp_path


def shell(text):
    return subprocess.run(["sh", "-c", text], capture_output=True, text=True, check=False)


@pytest.mark.skipif(not shutil.which("sh"), reason="no shell")
def test_the_example_fails_passes_with_a_baseline_and_keeps_its_results(clone):
    shown = re.findall(r"^  \$ (hexpost [^\n\\]*(?:\\\n[^\n\\]*)*)$", (MANUALS / "gate.txt").read_text(), re.MULTILINE)
    check, accept_once, then = shown
    first = shell(check)
    assert first.returncode == 1 and first.stderr == "", first.stdout + first.stderr
    results = json.loads(Path("gate.sarif").read_text())["runs"][0]["results"]
    places = [r["locations"][0]["physicalLocation"] for r in results if r["level"] == "error"]
    assert {p["artifactLocation"]["uri"] for p in places} == {"samples/limits.nc", "samples/overdriven.nc"}
    for p in places:
        lines = Path(p["artifactLocation"]["uri"]).read_text().splitlines()
        assert p["region"]["snippet"]["text"] == lines[p["region"]["startLine"] - 1].strip()
    written = {p: p.read_bytes() for p in (Path("gate.sarif"), Path("gate.xml"), Path("gate.html"))}
    kept = {p: p.stat().st_mtime_ns for p in Path(".gate-cache").rglob("*")}
    assert shell(check).returncode == 1
    assert {p: p.read_bytes() for p in written} == written
    assert {p: p.stat().st_mtime_ns for p in Path(".gate-cache").rglob("*")} == kept, "nothing may be computed again"
    assert shell(accept_once).returncode == 0
    again = shell(then)
    assert again.returncode == 0 and "accepted" in again.stdout
