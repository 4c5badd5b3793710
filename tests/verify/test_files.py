"""What lies in the folder of a job in place of its files: links, folders, special files, documents of other forms."""

import json
import os

import numpy as np
import pytest
from verify.folders import convert, copied, proof, run, sign, spoil

SHORT = "G21 G90 G94\nG00 X0 Y0 Z60\nG01 X5 A1 F9000\nM30\n"
FILES = ["setpoints.csv", "events.csv", "segments.json", "inputs/program.nc", "inputs/machine.toml", "report.txt"]


@pytest.fixture(scope="module")
def sound(tmp_path_factory):
    return convert(tmp_path_factory.mktemp("sound"), SHORT)


@pytest.fixture
def job(sound, tmp_path):
    return copied(sound, tmp_path)


@pytest.mark.parametrize("name", FILES)
@pytest.mark.parametrize("kind", ["link", "pipe", "folder", "device"])
def test_what_is_no_plain_file_is_refused_before_it_is_opened(job, tmp_path, name, kind):
    """A pipe without a writer would be waited for without end."""
    path, away = job / name, tmp_path / "away"
    path.rename(away)
    if kind == "link":
        path.symlink_to(away)
    elif kind == "pipe":
        os.mkfifo(path)
    elif kind == "folder":
        path.mkdir()
    else:
        path.symlink_to("/dev/zero")
    code, faults = proof(job)
    assert code == 2
    assert any(f.startswith(name) for f in faults["files"])


@pytest.mark.parametrize("name", ["manifest.json", "report.json"])
def test_documents_that_are_links_are_refused(job, tmp_path, name):
    (job / name).rename(tmp_path / "away")
    (job / name).symlink_to(tmp_path / "away")
    code, output = run("verify", job)
    assert code == 2
    assert "expected a plain file, found a link" in output


def test_inputs_that_lead_elsewhere_are_refused(job, tmp_path):
    (job / "inputs").rename(tmp_path / "elsewhere")
    (job / "inputs").symlink_to(tmp_path / "elsewhere")
    code, faults = proof(job)
    assert code == 2
    assert any("inputs" in f for f in faults["files"])


def test_documents_with_a_key_twice_or_no_number_are_refused(job):
    text = (job / "report.json").read_text()
    for other in (text.replace("{", '{"verdict": "clean",', 1), text.replace('"rows": ', '"rows": NaN, "other": ', 1)):
        (job / "report.json").write_text(other)
        sign(job)
        code, output = run("verify", job)
        assert code == 2
        assert "expected JSON" in output


def test_a_field_longer_than_any_is_read_whole_or_refused(job):
    def longer(rows):
        rows[5][3] = "0" * 30 + rows[5][3] + "9"

    spoil(job, longer)
    sign(job)
    assert "readable" in proof(job)[1]


@pytest.mark.parametrize("text", ["nan", "inf", "1e3"])
def test_what_is_no_plain_decimal_is_refused(job, text):
    spoil(job, lambda rows: rows[9].__setitem__(9, text))
    sign(job)
    assert "readable" in proof(job)[1]


@pytest.mark.parametrize("value", [np.nan, np.inf, 1.0 + 1e-12, 1e300])
def test_records_hold_decimals_alone(tmp_path, value):
    job = convert(tmp_path, SHORT, "--table", "npy")
    records = np.load(job / "setpoints.npy")
    records["speed_3_mm_s"][40] = value
    head = (job / "setpoints.npy").read_bytes()[:4096]
    (job / "setpoints.npy").write_bytes(head + records.tobytes())
    sign(job)
    assert any("expected numbers of 6 decimals" in f for f in proof(job)[1]["readable"])


def test_columns_are_described_as_they_are(job):
    manifest = json.loads((job / "manifest.json").read_text())
    for change in (
        lambda c: c[3].update(unit="m"),
        lambda c: c[3].update(decimals=5),
        lambda c: c[3].update(name="length_2_mm"),
        lambda c: c.reverse(),
    ):
        other = json.loads(json.dumps(manifest))
        change(other["tables"]["setpoints.csv"]["columns"])
        (job / "manifest.json").write_text(json.dumps(other))
        assert "readable" in proof(job)[1]
    other = json.loads(json.dumps(manifest))
    other["tables"]["setpoints.csv"]["drives_follow"] = ["speed_1_mm_s"]
    (job / "manifest.json").write_text(json.dumps(other))
    assert any("drives_follow" in f for f in proof(job)[1]["readable"])
