"""Columns for drives: the same in all formats, found again by verify; work and energy; what a repeated job takes."""

import json

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from machine.described import REST, STRUT, described, text
from verify.folders import copied, proof, run, sign, tried

from hexpost.audit.duty import Repeated
from hexpost.setpoints.command import gearing
from hexpost.tables.columns import choose
from hexpost.tables.decimals import RowText
from hexpost.tables.quantise import Quantised

pytestmark = pytest.mark.usefixtures("untried")

PROGRAM = (
    "G21 G90 T1 M06\nG43 H1\nG00 X40 Y0 Z150\nG01 Z140 F3000\nG03 X40 Y0 I-40 J0\nG01 X20 F1500\nY20 A5\n"
    "X40 Y0 A0\nG00 Z150\nM30\n"
)
COLUMNS = "time,length,speed,acceleration,command,turns,counts,jerk,thrust,torque,power,compensation,line"
UNCUT = REST.replace("force_n = [300, 0, 150]\nmoment_nm = [0, 0, 5]\n", "")


def made(place, *words, rest=REST, columns=COLUMNS):
    place.mkdir(exist_ok=True)
    code, said, folder = tried(
        place, PROGRAM, "--columns", columns, *words, machine=text(STRUT, rest + "[compensation]\nsag = true\n")
    )
    assert code == 0, said
    return folder


@pytest.fixture(scope="module")
def job(tmp_path_factory):
    return made(tmp_path_factory.mktemp("drives"))


def table(folder):
    return np.genfromtxt(folder / "setpoints.csv", delimiter=",", names=True)


def six(rows, name):
    return np.array([rows[name.format(k)] for k in range(1, 7)])


def test_a_proof_finds_the_columns_again(job):
    code, said = run("verify", job)
    assert code == 0 and "jerks, loads and compensation belong to the motion" in said, said


def test_columns_follow_from_each_other(job):
    rows, screw = table(job), described().struts[0].screw
    command, counts, turns = (six(rows, x) for x in ("command_{}_mm", "counts_{}", "turns_{}"))
    assert (counts == np.rint(counts)).all() and np.abs(counts - turns * screw.counts).max() <= 0.51
    assert np.allclose(turns, command * screw.gear / screw.lead, atol=1e-6)
    jerk = np.diff(six(rows, "acceleration_{}_mm_s2"), axis=1) / 1e-3
    assert np.abs(six(rows, "jerk_{}_mm_s3")[:, 1:] - jerk).max() < 1.01
    spin = six(rows, "speed_{}_mm_s") * screw.gear / screw.lead * 2 * np.pi
    power, torque = six(rows, "power_{}_w"), six(rows, "torque_{}_nm")
    assert np.abs(power - torque * spin).max() < 1e-3 + 6e-4 * np.abs(spin).max()


def test_formats_hold_the_same_numbers(job, tmp_path):
    pytest.importorskip("pyarrow")
    import pyarrow.parquet as pq

    rows = table(job)
    binary = np.load(made(tmp_path / "npy", "--table", "npy") / "setpoints.npy")
    parquet = pq.read_table(made(tmp_path / "parquet", "--table", "parquet") / "setpoints.parquet")
    assert binary.dtype["counts_3"] == np.dtype("<i8") and str(parquet.schema.field("counts_3").type) == "int64"
    for name in rows.dtype.names:
        assert (binary[name] == rows[name]).all(), name
        assert (np.array(parquet[name].to_pylist(), dtype=float) == rows[name]).all(), name


def test_jerks_are_the_same_on_two_workers(job, tmp_path):
    other = made(tmp_path / "two", "--jobs", "2")
    assert (other / "setpoints.csv").read_bytes() == (job / "setpoints.csv").read_bytes()


def test_work_is_the_growth_of_energy(tmp_path):
    """From rest to rest thrusts do the work that lifts the platform, whatever the way (conservation of energy)."""
    rows = table(made(tmp_path, rest=UNCUT))
    thrust, speed, z = six(rows, "thrust_{}_n"), six(rows, "speed_{}_mm_s"), 150.0 - 140.0
    power = (thrust * speed).sum(axis=0) * 1e-3  # W
    start, low = (int(np.flatnonzero(rows["line"] == k)[-1]) for k in (3, 4))
    between = np.concatenate([[0.0], np.cumsum((power[1:] + power[:-1]) / 2.0) * 1e-3])
    assert between[low] - between[start] == pytest.approx(-810.0 * 9.81 * z * 1e-3, rel=1e-2)


@pytest.mark.parametrize(
    ("name", "change"),
    [("thrust_2_n", 1.0), ("torque_5_nm", 0.05), ("power_1_w", 5.0), ("jerk_3_mm_s3", 5.0), ("compensation_6_mm", 1e-5),
     ("counts_4", 1)],
)  # fmt: skip
def test_a_number_that_is_changed_is_named(job, tmp_path, name, change):
    folder = copied(job, tmp_path)
    lines = (folder / "setpoints.csv").read_text().split("\n")
    column, cells = lines[0].split(",").index(name), lines[900].split(",")
    decimals = len(cells[column].partition(".")[2])
    cells[column] = f"{float(cells[column]) + change:.{decimals}f}"
    lines[900] = ",".join(cells)
    (folder / "setpoints.csv").write_text("\n".join(lines))
    sign(folder)
    found = proof(folder)[1]
    assert any(name in fault for faults in found.values() for fault in faults), found


def test_turns_and_torques_are_refused_where_no_screw_is_described(tmp_path):
    code, said, _ = tried(tmp_path, PROGRAM, "--columns", "time,torque,line")
    assert code == 2 and "torque" in said
    code, said, folder = tried(tmp_path, PROGRAM, "--columns", "time,length,speed,acceleration,thrust,line")
    assert code == 0 and "thrust_6_n" in (folder / "setpoints.csv").read_text().split("\n", 1)[0], said


@settings(max_examples=60, deadline=None)
@given(st.lists(st.integers(-(10**12), 10**12) | st.integers(-2000, 2000), min_size=1, max_size=20))
def test_whole_numbers_are_written_as_they_are(values):
    columns = choose(["counts_1"], gearing(described()))
    n = len(values)
    row = np.array([values], dtype=float)
    none = np.zeros(n, dtype=np.int64)
    rows = Quantised(none, (row,), (row.min(),), (row.max(),), none.astype(np.int32))
    assert RowText(columns, 1e-3, n).text(rows).decode().split() == [str(x) for x in values]


@settings(max_examples=60, deadline=None)
@given(n=st.integers(1, 40), size=st.integers(1, 90), cut=st.integers(1, 13), seed=st.integers(0, 9))
def test_the_mean_of_a_repeated_job_is_that_by_brute_force(n, size, cut, seed):
    values = np.random.default_rng(seed).uniform(0.0, 1.0, (6, n)) ** 3
    found = Repeated(size)
    for k in range(0, n, cut):
        found.add(values[:, k : k + cut])
    again = np.tile(values, 2 + size // n + 1)
    most = [again[:, k : k + size].mean(axis=1) for k in range(n)]
    assert found.mean() == pytest.approx(np.max(most, axis=0), rel=1e-9)


def test_a_job_shorter_than_the_window_is_not_diluted_by_standing_still(tmp_path):
    folder = made(tmp_path, rest=REST.replace("window_s = 2", "window_s = 60"))
    report, rows = json.loads((folder / "report.json").read_text()), table(folder)
    square = (six(rows, "thrust_{}_n") ** 2).mean(axis=1) ** 0.5
    told = report["drives"]["drives"]
    assert [d["thrust_rms_n"] for d in told] == pytest.approx(square.tolist(), rel=5e-3)
    torque, speed = six(rows, "torque_{}_nm"), six(rows, "speed_{}_mm_s")
    for k, d in enumerate(told):
        at = np.abs(torque[k]).argmax()
        assert d["torque_peak_nm"] == pytest.approx(np.abs(torque[k, at]), abs=1e-3)
        assert d["speed_at_peak_1_min"] == pytest.approx(abs(speed[k, at]) * 60 * 1.5 / 20, rel=1e-3, abs=0.01)
    text_ = " ".join((folder / "report.txt").read_text().split())
    assert "What drives bear when the job is repeated without a pause" in text_
    assert "What drives bear" in (folder / "report.html").read_text()


def test_a_repeated_job_over_a_continuous_limit_is_warned_of(tmp_path):
    strut = STRUT.replace("thrust_continuous_n = 6000", "thrust_continuous_n = 1500")
    _, _, folder = tried(tmp_path, PROGRAM, machine=text(strut, REST.replace("window_s = 2", "window_s = 60")))
    warnings = json.loads((folder / "report.json").read_text())["warnings"]
    assert any("Repeated without a pause, the job takes the thrust of strut 2 to" in w for w in warnings), warnings
