"""The job made again from its inputs: every file the same, byte for byte; what equations do not read is seen here."""

import json
import re

import pytest
from verify.folders import PROGRAM, convert, copied, run, sign

from hexpost.remake import remade

pytestmark = pytest.mark.usefixtures("untried")

FORMS = (
    (),
    ("--feed", "strut-limited", "--table", "npy"),
    ("--feed", "strut-limited", "--effort", "best"),
    ("--yaw", "best", "--rows-per-file", "4000", "--stride", "7", "--period-ms", "4"),
    ("--override", "50", "--lift", "5", "--single-block", "--period-ms", "2"),
    ("--from-line", "9", "--columns", "time,length,speed,acceleration,line"),
)


@pytest.fixture(scope="module")
def made(tmp_path_factory):
    return convert(tmp_path_factory.mktemp("made"))


@pytest.mark.parametrize("form", FORMS, ids=" ".join)
def test_a_job_of_any_form_is_made_again_byte_for_byte(tmp_path, form):
    program = PROGRAM.replace(" C4.", "") if "--yaw" in form else PROGRAM
    job = convert(tmp_path, program, *form)
    code, said = run("verify", job)
    assert code == 0, said
    assert "made again from its inputs, compared byte for byte" in said


def text(name, old, new):
    """Return a damage: a text in a file replaced by another."""

    def change(job):
        content = (job / name).read_text()
        assert old in content
        (job / name).write_text(content.replace(old, new, 1))

    return change


def told(change):
    """Return a damage of the manifest."""

    def damage(job):
        manifest = json.loads((job / "manifest.json").read_text())
        change(manifest)
        (job / "manifest.json").write_text(json.dumps(manifest))

    return damage


def listed(manifest):
    manifest["files"]["notes.txt"] = {"bytes": 0, "sha256": ""}


def stranger(job):
    (job / "notes.txt").write_text("run it twice")
    told(listed)(job)


def left_out(job):
    (job / "report.txt").unlink()
    told(lambda m: m["files"].pop("report.txt"))(job)


DAMAGES = {
    "words of the page": (text("report.html", "</body>", "<p>approved</p></body>"), "report.html"),
    "words of the text": (text("report.txt", "CLEAN", "CLEAN, approved"), "report.txt"),
    "the tool of the setup sheet": (text("report.json", '"diameter_mm": 10', '"diameter_mm": 12'), "report.json"),
    "units": (told(lambda m: m["units"].update(length="inch")), "units"),
    "versions": (told(lambda m: m["versions"].update(numpy="9.9")), "versions"),
    "words beside": (told(lambda m: m.update(approved=True)), "approved"),
    "a stranger": (stranger, "notes.txt"),
    "a report that is gone": (left_out, "report.txt"),
}


@pytest.mark.parametrize("kind", DAMAGES)
def test_damage_that_no_equation_reads_is_refused(made, tmp_path, kind):
    change, name = DAMAGES[kind]
    job = copied(made, tmp_path)
    change(job)
    sign(job)
    code, said = run("verify", job)
    assert code == 2
    assert "NOT PROVEN" in said
    faults = [
        f for f in remade(job).faults if re.search(rf"{re.escape(name)}.* (is not what|does not belong|is missing)", f)
    ]
    assert faults


def other_tools(job):
    told(lambda m: m.update(made_by="0" * 64))(job)


def test_other_tools_may_move_the_last_decimal_and_nothing_else(made, tmp_path):
    job = copied(made, tmp_path)
    other_tools(job)
    assert remade(job).proven
    lines = (job / "setpoints.csv").read_text().split("\n")
    row = lines[500].split(",")
    for units, proven in ((1, True), (2, False)):
        moved = [*row[:1], f"{float(row[1]) + units * 1e-6:.6f}", *row[2:]]
        (job / "setpoints.csv").write_text("\n".join([*lines[:500], ",".join(moved), *lines[501:]]))
        assert remade(job).proven is proven
    (job / "setpoints.csv").write_text("\n".join(lines))
    text("report.txt", "CLEAN", "CLEAR")(job)
    assert not remade(job).proven


def worst(change):
    """Return a damage of the worst uses of strut 2 in the report."""

    def damage(job):
        whole = (job / "report.json").read_text()
        old = json.loads(whole)["struts"][1]
        new = json.loads(json.dumps(old))
        change(new["worst"])
        assert json.dumps(old) in whole
        (job / "report.json").write_text(whole.replace(json.dumps(old), json.dumps(new)))

    return damage


def _event(job):
    lines = (job / "events.csv").read_text().split("\n")
    cells = lines[1].split(",")
    cells[2] = str(int(cells[2]) + 1)
    (job / "events.csv").write_text("\n".join([lines[0], ",".join(cells), *lines[2:]]))


FORGED_ELSEWHERE = {
    "its line": worst(lambda w: w["speed"].update(line=w["speed"]["line"] + 1)),
    "its time": worst(lambda w: w["speed"].update(time_s=round(w["speed"]["time_s"] + 0.2, 6))),
    "two units": worst(lambda w: w["speed"].update(value=round(w["speed"]["value"] + 0.003, 6))),
    "a whole number of the report": text("report.json", '"diameter_mm": 10', '"diameter_mm": 11'),
    "the word of an event": text("events.csv", "M6,after", "M7,after"),
    "a sample of an event": _event,
    "what made it": told(lambda m: m.update(made_by="<b>approved</b>")),
    "versions": told(lambda m: m["versions"].update(numpy="2 (approved by the shop)")),
    "a version more": told(lambda m: m["versions"].update(shop="1")),
}


SHORT = ("its line", "what made it")
"""Kinds that are tried in every run: the others take as long each."""


@pytest.mark.parametrize(
    "kind", [k if k in SHORT else pytest.param(k, marks=pytest.mark.long) for k in FORGED_ELSEWHERE]
)
def test_who_says_that_other_tools_made_it_forges_no_more_than_the_last_decimal(made, tmp_path, kind):
    job = copied(made, tmp_path)
    other_tools(job)
    FORGED_ELSEWHERE[kind](job)
    sign(job)
    code, _ = run("verify", job)
    assert code == 2


def test_other_tools_may_tell_another_of_two_equal_places(made, tmp_path):
    """The place of a worst value may be any row that is as bad: here the rows beside it, which equations allow."""
    job = copied(made, tmp_path)
    other_tools(job)
    period = json.loads((job / "report.json").read_text())["period_ms"] / 1e3
    worst(lambda w: w["speed"].update(time_s=round(w["speed"]["time_s"] + period, 6)))(job)
    assert remade(job).proven
    sign(job)
    code, said = run("verify", job)
    assert code == 0, said


def test_without_the_remake_it_says_so(made):
    code, said = run("verify", made, "--without-remake")
    assert code == 0
    assert "not made again" in said
    assert "remake" not in said.split("note")[0]


def test_inputs_that_make_no_job_are_a_fault(made, tmp_path):
    job = copied(made, tmp_path)
    (job / "inputs" / "program.nc").write_text("G01 X?\n")
    check = remade(job)
    assert not check.proven
    assert "cannot be made again" in check.faults[0]
