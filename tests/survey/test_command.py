"""``hexpost survey`` as people meet it: text, JSON, page, drafts; hostile names; the same whatever does the work."""

import html
import json
import os
import re
from pathlib import Path

import pytest
from click.testing import CliRunner

from hexpost.cli import main
from hexpost.cli.schema import SCHEMAS
from hexpost.machine.load import DEMONSTRATION

jsonschema = pytest.importorskip("jsonschema", reason="jsonschema is not installed")

PLAIN = "G21 G90\nT5 M06\nG54 G00 X1 Y2\nG01 X9 F300\nM30\n"
OPEN = "G00 X1 M77\nX2\nG04 P250\nM30\n"
NEVER = "G21\n#1=5\nG00 X#1\nM30\n"


@pytest.fixture
def here(tmp_path, monkeypatch):
    """Return a working directory with a small library in ``lib``."""
    monkeypatch.chdir(tmp_path)
    for name, text in (
        ("a.nc", PLAIN),
        ("b/c.nc", OPEN),
        ("b/d.TAP", OPEN),
        ("never.iso", NEVER),
        ("notes.txt", "hello"),
    ):
        (tmp_path / "lib" / name).parent.mkdir(parents=True, exist_ok=True)
        (tmp_path / "lib" / name).write_text(text)
    return tmp_path


def run(*words, code=0, **more):
    """Run a survey in this process and return what it prints."""
    done = CliRunner().invoke(main, ["survey", *map(str, words)], **more)
    assert done.exit_code == code, done.output
    return done


def test_the_text_says_what_the_library_needs(here):
    said = run("lib", "--serial").output
    assert "4 programs: 1 is read as the files say now, 2 more once the questions below are answered, 1 by no" in said
    assert "M77: 2 programs, 2 blocks; beside it G in 2, X in 2" in said
    assert 'words.dwell_p: "ms" (now): 0.25 s; "s": 250 s' in said
    assert "lib/b/c.nc:1  G00 X1 M77" in said and "lib/never.iso:2  #1=5" in said
    assert "next: hexpost survey lib --propose DIR" in said
    assert "not looked at, by their ending: 1 .txt; name such files, or their endings as programs" in said
    assert "not looked at" not in run("lib/a.nc", "--serial").output


@pytest.mark.parametrize("way", [["--serial"], ["--jobs", "2"]])
def test_the_document_is_what_its_schema_says_whatever_does_the_work(here, way):
    schema = json.loads((SCHEMAS / "survey.json").read_text())
    found = json.loads(run("lib", "--json", *way).stdout)
    jsonschema.Draft202012Validator(schema).validate(found)
    assert [case["program"] for case in found["cases"]] == ["lib/a.nc", "lib/b/c.nc", "lib/b/d.TAP", "lib/never.iso"]
    assert [case["state"] for case in found["cases"]] == ["read", "open", "open", "text"]
    assert found["classes"][0]["programs"] == ["lib/never.iso"]


def test_the_same_bytes_from_one_process_and_from_two(here):
    alone, together = run("lib", "--json", "--serial").stdout, run("lib", "--json", "--jobs", "2").stdout
    assert alone == together


def test_units_answer_for_all_and_a_policy_for_some(here):
    assert json.loads(run("lib", "--json", "--serial", "--units", "inch").stdout)["words"]
    rows = '[[where]]\npath = ["lib/b/*.nc"]\nunits = "mm"\n[[where]]\npath = ["*.iso"]\nskip = true\n'
    (here / "gate.toml").write_text(rows)
    found = json.loads(run("lib", "--json", "--serial").stdout)
    wrong = {case["program"]: [t["name"] for t in case["troubles"]] for case in found["cases"]}
    assert wrong == {
        "lib/a.nc": [], "lib/b/c.nc": ["unknown words"], "lib/b/d.TAP": ["unknown words", "units not stated"],
    }  # fmt: skip


def test_from_survey_to_decision_to_a_library_that_is_read(here):
    said = run("lib", "--serial", "--propose", "drafts").output
    assert "drafts/machine.toml: 3 questions added, 2 open" in said
    machine = here / "drafts" / "machine.toml"
    text = machine.read_text()
    assert text.startswith(DEMONSTRATION.read_text())
    text = text.replace('action = "undecided"', 'action = "ignore"').replace('#units = "mm"  # l', 'units = "mm"  # l')
    machine.write_text(text)
    tools = here / "drafts" / "tools.toml"
    refused = run("lib", "--serial", "--tools", tools, code=2).output
    assert "length_mm" in refused
    tools.write_text(
        tools.read_text().replace("#length_mm =", "length_mm = 90").replace("#diameter_mm =", "diameter_mm = 9")
    )
    again = run("lib", "--serial", "--propose", "drafts").output
    assert "read for drafts/machine.toml" in again
    assert "4 programs: 3 are read as the files say now, 1 by no setting" in again
    assert "drafts/machine.toml: kept as it is, 0 open" in again and "drafts/tools.toml: kept as it is, 0 open" in again
    assert machine.read_text() == text
    setup = here / "drafts" / "setup.toml"
    setup.write_text(
        setup.read_text().replace("#pose_mm_deg = [x, y, z, a, b, c]", "pose_mm_deg = [0, 0, 80, 0, 0, 0]")
    )
    whole = run("lib", "--serial", "--propose", "drafts").output
    assert re.search(r"T5 tool +\d +0 ", whole) and re.search(r"G54 work offset +\d +0 ", whole)
    drafted = "--machine drafts/machine.toml --tools drafts/tools.toml --setup drafts/setup.toml"
    assert whole.endswith(f"next: hexpost gate lib {drafted}\n")
    files = ["--machine", machine, "--tools", tools, "--setup", setup]
    done = CliRunner().invoke(main, ["audit", "lib/b/c.nc", *map(str, files)])
    assert done.exit_code == 0, done.output


def test_what_is_no_draft_is_not_touched(here):
    (here / "drafts").mkdir()
    (here / "drafts" / "tools.toml").write_text("my shopping list\n")
    assert "tools.toml" in run("lib", "--serial", "--propose", "drafts", code=2).output
    assert [path.name for path in (here / "drafts").iterdir()] == ["tools.toml"]
    (here / "file").write_text("x")
    assert "file" in run("lib", "--serial", "--propose", "file", code=2).output
    (here / "drafts" / "tools.toml").unlink()
    (here / "drafts" / "setup.toml").symlink_to(here / "elsewhere.toml")
    assert "link" in run("lib", "--serial", "--propose", "drafts", code=2).output
    assert not (here / "elsewhere.toml").exists()


def test_the_page_holds_nothing_that_acts(here):
    name = "lib/<img src=x onerror=alert(1)>\x1b[2J\u202e.nc"
    Path(name).write_text("G21 G00 X1 M1234 (<script>alert(2)</script> \x1b]0;x\x07)\nM30\n")
    said = run("lib", "--serial", "--html", "page.html", "--propose", "drafts").output
    page = (here / "page.html").read_text()
    assert page.count("<script>") == 1 and "<img" not in page and "&lt;img" in page and "&lt;script&gt;" in page
    for text in (page, said, (here / "drafts" / "machine.toml").read_text()):
        assert not {c for c in text if not c.isprintable()} - {"\n"}
    assert run("lib", "--serial", "--html", "page.html", code=2).output.count("exists already") == 1
    run("lib", "--serial", "--html", "page.html", "--overwrite")
    (here / "other.html").write_text("<p>mine</p>")
    assert "another kind" in run("lib", "--serial", "--html", "other.html", "--overwrite", code=2).output


def test_files_that_cannot_be_read_cost_only_themselves(here):
    (here / "lib" / "gone.nc").symlink_to("nowhere")
    os.mkfifo(here / "lib" / "pipe.nc")
    (here / "lib" / "empty.nc").write_bytes(b"")
    (here / "lib" / "zeros.nc").write_bytes(bytes(4096))
    (here / "lib" / "picture.nc").write_bytes(os.urandom(20_000))
    found = json.loads(run("lib", "--json", "--serial").stdout)
    state = {Path(case["program"]).name: case["state"] for case in found["cases"]}
    assert state["a.nc"] == "read"
    assert {state[name] for name in ("gone.nc", "pipe.nc", "empty.nc", "zeros.nc", "picture.nc")} == {"text"}


def test_nothing_found_and_nothing_to_ask(here):
    (here / "none").mkdir()
    assert "no program found" in run("none", code=2).output
    (here / "t.toml").write_text("[[tool]]\nnumber = 5\nlength_mm = 90\ndiameter_mm = 8\n")
    (here / "s.toml").write_text("[offset.G54]\npose_mm_deg = [0, 0, 80, 0, 0, 0]\n")
    files = ["--tools", "t.toml", "--setup", "s.toml"]
    said = "next: hexpost gate lib/a.nc --tools t.toml --setup s.toml checks what is read"
    assert said in run("lib/a.nc", "--serial", *files).output
    many = ["lib/a.nc", "./lib/a.nc", "lib/../lib/a.nc", "lib/b/../a.nc"]
    assert "next: hexpost gate lib/a.nc ... --tools t.toml" in run(*many, "--serial", *files).output


def test_the_first_day_is_told_by_the_help_and_by_the_check_of_a_machine(here):
    said = CliRunner().invoke(main, ["--help"]).output
    steps = ["machine file", "tools, setup", "survey", "explain", "audit", "convert", "verify"]
    assert [said.index(f"{k} {step}") for k, step in enumerate(steps, 1)] == sorted(
        said.index(f"{k} {step}") for k, step in enumerate(steps, 1)
    )
    (here / "m.toml").write_text(DEMONSTRATION.read_text())
    checked = CliRunner().invoke(main, ["machine", "check", "m.toml"])
    assert checked.exit_code == 0
    assert checked.output.endswith("next: hexpost survey PROGRAMS --machine m.toml --propose drafts\n")


def test_the_page_says_all_that_the_text_says_and_fits_any_width(here):
    """No line is left to scroll: places break anywhere, tables scroll by themselves."""
    said = run("lib", "--serial", "--html", "page.html").stdout
    page = (here / "page.html").read_text()
    assert "<pre" not in page and page.count("<table") == page.count('tabindex="0"') >= 3
    plain = " ".join(html.unescape(re.sub(r"<[^>]*>", " ", page.partition("</style>")[2])).split())
    known = said[said.index("Words that") : said.index("next:")]
    assert {word for word in known.split() if word not in plain} <= {"said"}  # the head of a column that is empty
    assert '<p class="item">M77: 2 programs, 2 blocks; beside it G in 2, X in 2</p>' in page
    assert '<p class="spot">lib/b/c.nc:1 <code>G00 X1 M77</code></p>' in page
    assert '<tr><td>T5 tool</td><td class="number">1</td><td class="number">1</td><td>lib/a.nc:2</td></tr>' in page
