"""Every JSON output is what its schema says; the schemas are sound themselves (checked by jsonschema)."""

import json
from pathlib import Path

import pytest
from click.testing import CliRunner
from library.shop import slow_struts
from verify.folders import BROKEN, PROGRAM, convert, run

from hexpost.cli import COMMANDS, main
from hexpost.cli.schema import SCHEMAS

pytestmark = pytest.mark.usefixtures("untried")

jsonschema = pytest.importorskip("jsonschema", reason="jsonschema is not installed")
NAMES = sorted(file.stem for file in SCHEMAS.glob("*.json"))


def validator(name):
    shown = CliRunner().invoke(main, ["schema", name])
    assert shown.exit_code == 0, shown.output
    schema = json.loads(shown.output)
    jsonschema.Draft202012Validator.check_schema(schema)
    return jsonschema.Draft202012Validator(schema)


def faults(name, document):
    return [f"{list(e.absolute_path)}: {e.message}" for e in validator(name).iter_errors(document)]


@pytest.fixture(scope="module", params=[PROGRAM, BROKEN], ids=["clean", "broken"])
def job(request, tmp_path_factory):
    return convert(tmp_path_factory.mktemp("job"), request.param)


@pytest.mark.parametrize("name", ["report", "manifest", "segments"])
def test_files_of_a_job_are_what_their_schema_says(job, name):
    assert not faults(name, json.loads((job / f"{name}.json").read_text()))


def test_a_proof_is_what_its_schema_says(job):
    assert not faults("verify", json.loads(run("verify", job, "--json")[1]))


def samples(*names):
    return [str(Path(__file__).parent.parent.parent / "samples" / name) for name in names]


GIVEN = ["--tools", *samples("tools.toml"), "--setup", *samples("setup.toml")]
SERIAL = ["--serial", "--step-mm", "300"]
GATED = ["--no-cache", "--serial", *GIVEN]
DOCUMENTS = [
    ("refeed", ["refeed", *samples("limits.nc"), "-o", "new.nc", *GIVEN]),
    ("refeed", ["refeed", *samples("contour.nc"), "-o", "new.nc", *GIVEN]),
    ("diff", ["diff", *samples("limits.nc", "pocket.nc"), *GIVEN]),
    ("diff", ["diff", *samples("limits.nc", "limits.nc"), *GIVEN]),
    ("explain", ["explain", *samples("limits.nc"), *GIVEN]),
    ("explain", ["explain", *samples("pocket.nc"), *GIVEN]),
    ("words", ["words"]),
    ("align", ["align", *samples("probed_points.csv"), "-o", "new.toml"]),
    ("align", ["align", *samples("probed_datums.csv"), "-o", "new.toml"]),
    ("place", ["place", *samples("frustum.nc"), *GIVEN, "--turn-deg", "0", "0", *SERIAL]),
    ("calibrate", ["calibrate", *samples("measured_poses.csv"), "-o", "new.toml"]),
    ("calibrate-plan", ["calibrate", "--plan", "8", "-o", "plan.csv"]),
    ("gate", ["gate", *samples("limits.nc", "contour.nc"), "bad.nc", *GATED]),
    ("gate", ["gate", *samples("limits.nc"), *GATED, "--baseline", "accepted.json", "--update-baseline"]),
    ("gate-against", ["gate", *samples("limits.nc"), "bad.nc", *GATED, "--against", "slow.toml"]),
    ("survey", ["survey", *samples("limits.nc"), "bad.nc", "--serial"]),
    ("circle", ["machine", "circle", *samples("described.toml"), "--as-built", *samples("described.toml")]),
    ("report", ["audit", *samples("limits.nc"), *GIVEN, "--feed", "both"]),
    ("report", ["audit", *samples("pocket.nc"), *GIVEN, "--compare-with", *samples("ordinary.toml")]),
]


@pytest.mark.parametrize(("name", "words"), DOCUMENTS, ids=lambda x: x if isinstance(x, str) else Path(x[-1]).name)
def test_what_a_command_prints_is_what_its_schema_says(name, words, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    (tmp_path / "bad.nc").write_text("G21\nG999\n")
    (tmp_path / "slow.toml").write_text(slow_struts())
    done = CliRunner().invoke(main, [*words, "--json"])
    assert done.exit_code in ((2, 0) if "bad.nc" in words else (0, 1)), done.output
    documents = [json.loads(x) for x in (done.stdout.splitlines() if name == "explain" else [done.stdout])]
    assert documents and not [f for document in documents for f in faults(name, document)]
    assert '"line": 0' not in done.stdout


def test_every_json_has_a_schema():
    """Whatever command prints JSON is in the list above, or among those of jobs, libraries and errors."""
    spoken = {words[0] for _, words in DOCUMENTS} | {"convert", "verify"}
    commands = {name: main.get_command(None, name) for name in COMMANDS}
    parts = {name: [command, *getattr(command, "commands", {}).values()] for name, command in commands.items()}
    assert spoken == {n for n, some in parts.items() if any("--json" in p.opts for c in some for p in c.params)}
    assert {name for name, _ in DOCUMENTS} <= set(NAMES)


@pytest.mark.parametrize("name", NAMES)
def test_a_schema_refuses_other_versions_and_missing_keys(name):
    assert faults(name, {})
    assert any("schema_version" in f for f in faults(name, {"schema_version": 2}))


def test_a_spoilt_report_is_refused(job):
    report = json.loads((job / "report.json").read_text())
    report["struts"].pop()
    assert faults("report", report)


@pytest.mark.parametrize(
    "command",
    [
        ["audit", "{bad}", "--json"],
        ["convert", "{bad}", "--out", "{new}", "--json"],
        ["explain", "{bad}", "--json"],
        ["audit", "{none}", "--json"],
        ["convert", "{good}", "--out", "{here}", "--json"],
        ["refeed", "{good}", "-o", "{bad}", "--json"],
        ["audit", "--json"],
        ["audit", "{good}", "--json", "--feed", "slow"],
        ["audit", "{good}", "--json", "--period-ms", "0"],
        ["gate", "--json", "{none}"],
        ["verify", "--json"],
        ["nonesuch", "--json"],
    ],
    ids=" ".join,
)
def test_a_run_that_cannot_go_on_prints_one_document_that_says_why(command, tmp_path):
    (tmp_path / "bad.nc").write_text("G21\nG999 X1\nX1.2.3\n")
    (tmp_path / "good.nc").write_text(PROGRAM)
    (tmp_path / "here").mkdir()
    (tmp_path / "here" / "kept").write_text("something else")
    places = {name: tmp_path / name for name in ("here", "new", "none")}
    words = [word.format(bad=tmp_path / "bad.nc", good=tmp_path / "good.nc", **places) for word in command]
    done = CliRunner().invoke(main, words)
    assert done.exit_code == 2
    document = json.loads(done.stdout)
    assert not faults("error", document)
    assert document["faults_total"] == sum(f["count"] for f in document["faults"])
    assert "Traceback" not in done.output
    if "{bad}" in command[1]:
        assert [f["line"] for f in document["faults"]] == [2, 3]
    else:
        assert document["faults"][0]["what"] in document["message"]


def test_a_rule_about_the_program_has_no_ratio(root):
    samples = root / "samples"
    files = ["--tools", str(samples / "tools.toml"), "--setup", str(samples / "setup.toml"), "--json"]
    report = json.loads(CliRunner().invoke(main, ["audit", str(samples / "limits.nc"), *files]).stdout)
    assert not faults("report", report)
    ratios = {f["limit"]: f["ratio"] for f in report["findings"]}
    assert ratios["tool-number"] is ratios["retract"] is ratios["pallet"] is ratios["tool-length"] is None
    assert ratios["speed"] > 1 and ratios["stroke"] > 1
