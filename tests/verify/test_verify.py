"""Each planted fault is found and named; sound folders are proven, whatever they hold."""

import json

import numpy as np
import pytest
from verify.folders import BROKEN, PROGRAM, convert, copied, milder, proof, retold, run, sign, spoil

from hexpost.machine.load import DEMONSTRATION

pytestmark = pytest.mark.usefixtures("untried")


@pytest.fixture(scope="module")
def sound(tmp_path_factory):
    return convert(tmp_path_factory.mktemp("sound"))


@pytest.fixture
def job(sound, tmp_path):
    return copied(sound, tmp_path)


def test_a_sound_job_is_proven(sound):
    code, output = run("verify", sound)
    assert code == 0, output
    assert "PROVEN, CLEAN" in output
    assert "FAILED" not in output


def test_a_broken_job_is_proven_broken(tmp_path):
    code, output = run("verify", convert(tmp_path, BROKEN))
    assert code == 1, output
    assert "PROVEN, BROKEN" in output


WAVE = "G21 G90 G94\nT1 M06\nG43 H1\nG00 X0 Y0 Z40\n" + "".join(
    f"G01 X{0.5865 * k:.4f} Z{40 + 1.14 * np.sin(0.3 * k):.4f} F3000\n" for k in range(1, 12)
)


@pytest.mark.parametrize(("program", "period"), [(PROGRAM, 1), (WAVE + "M30\n", 4)])
def test_a_job_whose_jerk_is_far_over_the_limit_is_proven_broken(tmp_path, program, period):
    """Such a job is not continuous to the limit of the struts, but to what its report and the tip's limit own up to."""
    soft = DEMONSTRATION.read_text().replace("jerk_mm_s3 = 500000", "jerk_mm_s3 = 5000000")
    soft = soft.replace("tolerance_mm = 0.01", "tolerance_mm = 0.001").replace("n_mm_s2 = 12000", "n_mm_s2 = 1000")
    job = convert(
        tmp_path, program, "--period-ms", period, machine=soft.replace("jerk_mm_s3 = 700000", "jerk_mm_s3 = 20000")
    )
    assert proof(job) == (1, {})

    def within(report):
        assert max(s["worst"]["jerk"]["ratio"] for s in report["struts"]) > 5
        for strut in report["struts"]:
            strut["worst"]["jerk"]["value"], strut["worst"]["jerk"]["ratio"] = 20000.0, 1.0

    retold(job, within)
    assert "limits" in proof(job)[1]


def test_a_deviation_told_too_small_is_named_where_it_matters(sound, tmp_path):
    """Far below the limit a report may pick a sample that is not the very worst; it never tells too much."""
    for change, named in ((0.9, False), (1.2, True)):
        (tmp_path / str(change)).mkdir()
        job = copied(sound, tmp_path / str(change))
        milder(job, "deviation", change)
        faults = proof(job)[1].get("limits", ())
        assert any(f.startswith("deviation: the worst is") for f in faults) == named


@pytest.mark.parametrize("options", [("--table", "npy"), ("--period-ms", "4"), ("--period-ms", "0.5")])
def test_other_forms_are_proven(tmp_path, options):
    assert proof(convert(tmp_path, PROGRAM, *options)) == (0, {})


def test_parquet_is_proven(tmp_path):
    pytest.importorskip("pyarrow", reason="the Parquet extra is not installed")
    assert proof(convert(tmp_path, PROGRAM, "--table", "parquet")) == (0, {})


def test_a_flipped_bit_is_named_by_its_file(job):
    data = bytearray((job / "setpoints.csv").read_bytes())
    data[len(data) // 2] ^= 1
    (job / "setpoints.csv").write_bytes(data)
    code, faults = proof(job)
    assert code == 2
    assert any("setpoints.csv" in f and "SHA-256" in f for f in faults["files"])


@pytest.mark.parametrize("name", ["events.csv", "report.txt", "inputs/machine.toml", "inputs/program.nc"])
def test_any_changed_file_is_named(job, name):
    data = bytearray((job / name).read_bytes())
    data[len(data) // 2] ^= 1
    (job / name).write_bytes(data)
    code, faults = proof(job)
    assert code == 2
    assert any(f.startswith(name) for f in faults["files"])


def test_missing_and_foreign_files_are_named(job):
    (job / "events.csv").unlink()
    (job / "setpoints.old.csv").write_text("")
    _, faults = proof(job)
    assert any("events.csv: missing" in f for f in faults["files"])
    assert any("setpoints.old.csv: does not belong" in f for f in faults["files"])


@pytest.mark.parametrize("told", [False, True])
def test_a_dropped_row_is_named_by_its_number(job, told):
    rows = json.loads((job / "report.json").read_text())["rows"]
    spoil(job, lambda r: r.pop(501))  # row 500
    sign(job, **({"rows": rows - 1} if told else {}))
    code, faults = proof(job)
    assert code == 2
    assert any("row 500" in f and "missing" in f for f in faults["time"])


def test_exchanged_struts_are_named(job):
    def exchange(rows):
        for group in (0, 6, 12):
            a, b = group + 2, group + 5
            for row in rows[1:]:
                row[a], row[b] = row[b], row[a]

    spoil(job, exchange)
    sign(job)
    code, faults = proof(job)
    assert code == 2
    assert any("struts 2 and 5 are exchanged" in f for f in faults["path"])


def test_a_changed_machine_file_is_seen_even_with_its_hash_made_good(job):
    path = job / "inputs" / "machine.toml"
    text = path.read_text()
    k = text.index("base_joint_mm = [") + len("base_joint_mm = [")
    end = text.index(",", k)
    path.write_text(f"{text[:k]}{float(text[k:end]) + 0.05}{text[end:]}")
    sign(job)
    code, faults = proof(job)
    assert code == 2
    assert any("does not belong to this program" in f for f in faults["path"])
    assert any("row 0" in f for f in faults["stops"])


def test_the_table_of_another_program_is_seen(job, tmp_path):
    other = tmp_path / "other"
    other.mkdir()
    made = convert(other, PROGRAM.replace("X40.\n", "X40.02\n"))
    for name in ("setpoints.csv", "report.json", "events.csv", "segments.json"):
        (job / name).write_bytes((made / name).read_bytes())
    rows = json.loads((job / "report.json").read_text())["rows"]
    sign(job, rows=rows)
    code, faults = proof(job)
    assert code == 2
    assert {"path"} <= set(faults) <= {"path", "rows", "feeds"}
    assert any("line 9" in f for f in faults["path"]), faults


def test_a_shifted_length_breaks_continuity(job):
    def shift(rows):
        rows[700][3] = f"{float(rows[700][3]) + 0.001:.6f}"

    spoil(job, shift)
    sign(job)
    _, faults = proof(job)
    assert any("row 699" in f and "strut 3 jumps" in f for f in faults["continuity"])


def test_a_limit_that_the_report_does_not_say_is_named(job):
    path = job / "inputs" / "machine.toml"
    text = path.read_text()
    start = text.index("[[strut]]")
    lower = text[start:].replace("speed_mm_s = ", "speed_mm_s = 60 # ", 1)
    path.write_text(text[:start] + lower)
    sign(job)
    _, faults = proof(job)
    assert any("speed of strut 1: broken in line" in f for f in faults["limits"])


def test_a_report_that_was_made_milder_is_seen(tmp_path):
    job = convert(tmp_path, BROKEN)
    lost = next(f for f in json.loads((job / "report.json").read_text())["findings"] if f["limit"] == "speed")

    def shorter(report):
        report["findings"].remove(lost)
        report["findings_total"] = report["findings_listed"] = len(report["findings"])

    retold(job, shorter)
    _, faults = proof(job)
    assert any(f"speed of strut {lost['strut']}: broken in line {lost['line']}" in f for f in faults["limits"])


def test_an_event_at_another_sample_is_named(job):
    def late(rows):
        row = next(r for r in rows if r[3] == "M9")
        row[0], row[1] = f"{float(row[0]) - 0.3:.6f}", str(int(row[1]) - 300)

    spoil(job, late, "events.csv")
    sign(job)
    _, faults = proof(job)
    assert any("the tool comes to its move's place at row" in f for f in faults["events"])


def test_a_segment_that_is_not_its_rows_is_named(job):
    path = job / "segments.json"
    told = json.loads(path.read_text())
    told["segments"][1]["sha256"] = told["segments"][0]["sha256"]
    told["segments"][2]["lengths_before_mm"][3] += 1e-6
    path.write_text(json.dumps(told))
    sign(job)
    _, faults = proof(job)
    assert faults["segments"] == [
        "segment 2: its checksum is not that of its rows",
        "segment 3: lengths before it are not those of its rows",
    ]


def test_an_event_that_is_missing_is_named(job):
    spoil(job, lambda rows: rows.pop(3), "events.csv")
    sign(job)
    _, faults = proof(job)
    assert any("events in the table" in f for f in faults["events"])


def test_a_table_that_is_cut_off_is_named(job):
    data = (job / "setpoints.csv").read_bytes()
    (job / "setpoints.csv").write_bytes(data[: len(data) * 2 // 3])
    sign(job)
    _, faults = proof(job)
    assert any("cut off" in f for f in faults["readable"])


@pytest.mark.parametrize("text", ["", "[]", "{", '{"job": "hexpost", "schema_version": 1}', '{"job": "x"}'])
def test_a_folder_without_a_sound_manifest_is_no_job(job, text):
    (job / "manifest.json").write_text(text)
    code, output = run("verify", job)
    assert code == 2
    assert "manifest.json" in output


def test_names_that_lead_out_of_the_folder_are_refused(job):
    manifest = json.loads((job / "manifest.json").read_text())
    manifest["inputs"]["program"] = "../p.nc"
    (job / "manifest.json").write_text(json.dumps(manifest))
    code, output = run("verify", job)
    assert code == 2
    assert "names of files in the folder" in output


def test_reports_of_another_layout_are_refused_without_a_fault_of_our_own(job):
    (job / "report.json").write_text('{"struts": [1], "verdict": "clean"}')
    sign(job)
    code, faults = proof(job)
    assert code == 2
    assert "readable" in faults


def test_no_folder_is_no_job(tmp_path):
    code, output = run("verify", tmp_path / "none")
    assert code == 2
    assert "found no folder" in output


@pytest.mark.parametrize("feeds", [(3000, 100, 3000), (100, 3000, 100), (9000, 10, 9000)])
def test_a_slow_arc_between_fast_lines_is_proven(feeds, tmp_path):
    """A corner between a line and an arc that meet without a kink bends: its rows are seen askew of both moves."""
    lines = ("X24. Y4.", "G03 X20. Y8. I-4. J0.", "G01 X10.")
    cut = "".join(f"{words} F{feed}\n" for words, feed in zip(lines, feeds, strict=True))
    job = convert(tmp_path, f"G21\nT1 M06\nG43 H1\nG55 G00 X23.5 Y3.9 Z30\nG01 {cut}M30\n")
    assert proof(job) == (0, {})
