"""Middle angles of the tilt order near 90 degrees: refused before a table is made, judged by an audit all the same."""

import json

from verify.folders import TOOLS, run

from hexpost.machine.load import DEMONSTRATION

SETUP = "[offset.G54]\npose_mm_deg = [0, 0, 80, 0, 0, 90]\n"
PROGRAM = "G21 G17 G90 G94 G64\nT1 M06\nG43 H1\nG00 X-10 Y0 Z60 C90 M03 S900\nG01 X10 F3000\nM30\n"
TOLD = "C comes within 2 degrees of 90, where A and B turn the tool about one axis"


def files(place):
    """Return the options for a machine that turns about C between A and B, and an offset turned by 90 degrees."""
    texts = {
        "machine": DEMONSTRATION.read_text().replace('tilt_order = "ABC"', 'tilt_order = "ACB"'),
        "setup": SETUP,
        "tools": TOOLS,
    }
    for name, text in texts.items():
        (place / f"{name}.toml").write_text(text)
    (place / "p.nc").write_text(PROGRAM)
    return [word for name in texts for word in (f"--{name}", place / f"{name}.toml")]


def test_such_a_job_is_refused_before_it_is_made_and_says_what_to_do(tmp_path):
    options = files(tmp_path)
    code, said = run("convert", tmp_path / "p.nc", "--out", tmp_path / "job", *options)
    flat = " ".join(said.split())
    assert code == 2 and "the job cannot be proven: line 4: " + TOLD in flat, said
    assert "hexpost audit looks at its limits" in flat and "report it" not in flat
    assert not (tmp_path / "job").exists()


def test_an_audit_judges_its_limits_and_says_that_nothing_is_proven(tmp_path):
    options = files(tmp_path)
    code, said = run("audit", tmp_path / "p.nc", "--json", *options)
    assert code in (0, 1), said
    proof = json.loads(said)["proof"]
    assert proof["proven"] == [] and {"path", "singular poses", "stops"} <= set(proof["not_proven"])
    assert proof["why"].startswith("line 4: " + TOLD)
    assert TOLD in " ".join(run("audit", tmp_path / "p.nc", *options)[1].split())
