"""Tables that say something else than the program, hashes, segments and reports mended: none is proven.

Tables are changed as columns of numbers and written again in the form of the table, speeds and accelerations made to
fit by the finite differences or by the exact smooth motion, so that only what the program asks for tells them apart.
"""

import hashlib
import json
from functools import partial

import numpy as np
import pytest
from machine.described import REST, STRUT, text
from verify.folders import SETUP, TOOLS, convert, copied, proof, sign, spoil

pytestmark = pytest.mark.usefixtures("untried")

PROGRAM = """%
O7 (FLANGE, FORGED)
G21 G17 G90 G94 G64
T1 M06
G43 H1 S1200 M03
G00 X-60. Y-40. Z60.
G01 Z20. F3000. M08
X40. F1200.
Y20. Z30.
G03 X20. Y40. I-20. J0.
G01 X-20.
G02 X-20. Y40. I0. J-12.
G04 P500
G01 X-60. Y-40. Z20. A8. B-6.
X-50. Y-30. A0. B0. M09
G81 X0. Y0. Z20. R30. F900.
G80
G53 G00 Z0.
M30
%
"""
LINES = {"down": 7, "cut": 8, "arc": 10, "circle": 12, "dwell": 13, "tilt": 14, "drill": 16}


@pytest.fixture(scope="module")
def sound(tmp_path_factory):
    job = convert(tmp_path_factory.mktemp("sound"), PROGRAM)
    assert proof(job) == (0, {})
    return job


@pytest.fixture
def job(sound, tmp_path):
    return copied(sound, tmp_path)


def read(job):
    path = next(job.glob("setpoints*.csv"))
    head, *rows = path.read_text().splitlines()
    return head, np.array([[float(x) for x in row.split(",")] for row in rows])


def write(job, head, table):
    """Write a table as convert would, and mend all that tells of its rows: times, segments, counts, hashes."""
    path = next(job.glob("setpoints*.csv"))
    table[:, 0] = np.arange(len(table)) * 1e-3
    decimals = [3] + [6] * 12 + [3] * 6 + [6] * (len(head.split(",")) - 20) + [0]
    rows = (",".join(f"{x:.{d}f}" for x, d in zip(row, decimals, strict=True)) for row in table)
    path.write_text("\n".join([head, *rows]).replace("-0.000000", "0.000000").replace("-0.000,", "0.000,") + "\n")
    whole = np.rint(table[:, 1:7] * 1e6).astype("<i8")
    segments = json.loads((job / "segments.json").read_text())
    for s in segments["segments"]:
        s["last_row"] = min(s["last_row"], len(table) - 1)
    segments["segments"][-1]["last_row"] = len(table) - 1
    for s in segments["segments"]:
        part = whole[s["first_row"] : s["last_row"] + 1]
        s.update(
            rows=len(part), until_s=round(s["last_row"] * 1e-3, 3), sha256=hashlib.sha256(part.tobytes()).hexdigest()
        )
        s.update(lengths_before_mm=(part[0] / 1e6).tolist(), lengths_after_mm=(part[-1] / 1e6).tolist())
    (job / "segments.json").write_text(json.dumps(segments))
    report, manifest = (json.loads((job / f"{n}.json").read_text()) for n in ("report", "manifest"))
    report["rows"], report["duration_s"] = len(table), round((len(table) - 1) * 1e-3, 3)
    manifest["duration_s"] = report["duration_s"]
    (job / "report.json").write_text(json.dumps(report))
    (job / "manifest.json").write_text(json.dumps(manifest))
    sign(job, rows=len(table))


def of(table, name):
    return np.flatnonzero(table[:, -1] == LINES[name])


def bump(table, at, size, strut):
    """Add a smooth bump to one strut, with the speeds and accelerations that belong to it."""
    n = len(at)
    x = np.linspace(0.0, 1.0, n)
    h = 1e-3 * (n - 1)
    table[at, 1 + strut] += size * (x * (1 - x)) ** 4 * 256
    table[at, 7 + strut] += size * 256 * 4 * (x * (1 - x)) ** 3 * (1 - 2 * x) / h
    table[at, 13 + strut] += size * 256 * (12 * (x * (1 - x)) ** 2 * (1 - 2 * x) ** 2 - 8 * (x * (1 - x)) ** 3) / h**2


def reversed_run(table, at):
    """Run rows backward: speeds change their sign."""
    out = table[at[::-1]].copy()
    out[:, 7:13] *= -1.0
    return out


def twice(table, name):
    at = of(table, name)
    return np.concatenate([table[: at[-1] + 1], table[at], table[at[-1] + 1 :]])


def back_and_forth(table, name):
    at = of(table, name)
    return np.concatenate([table[: at[-1] + 1], reversed_run(table, at), table[at], table[at[-1] + 1 :]])


def left_out(table, name):
    at = of(table, name)
    return np.concatenate([table[: at[0]], table[at[-1] + 1 :]])


def quarter_circle(table, name):
    at = of(table, name)
    part = at[: len(at) // 4]
    back = reversed_run(table, part)
    return np.concatenate([table[: part[-1] + 1], back, table[at[-1] + 1 :]])


def faster(table, name, share):
    """Run a line faster: every so many rows of it, speeds and accelerations to fit."""
    at = of(table, name)
    time = np.arange(0.0, len(at) - 1, share)
    i = np.minimum(time.astype(int), len(at) - 2)
    f = time - i
    new = table[at[i]] * (1 - f[:, None]) + table[at[i + 1]] * f[:, None]
    new[:, -1] = LINES[name]
    new[:, 7:13] *= share
    new[:, 13:19] *= share**2
    return np.concatenate([table[: at[0]], new, table[at[-1] :]])


def short_dwell(table):
    at = of(table, "dwell")
    return np.concatenate([table[: at[0] + 5], table[at[-1] + 1 :]])


def long_stop(table):
    k = of(table, "drill")[-1]
    return np.concatenate([table[: k + 1], np.repeat(table[k : k + 1], 40, axis=0), table[k + 1 :]])


def line_shift(table, by):
    lines = table[:, -1].copy()
    change = np.flatnonzero(np.diff(lines))
    for i in change:
        low, high = (i - by + 1, i + 1) if by > 0 else (i + 1, i + 1 - by)
        lines[low:high] = lines[i + 1] if by > 0 else lines[i]
    table[:, -1] = lines
    return table


def dwell_told_early(table):
    """Let the last 20 rows before a dwell, when the tool still moves, name it."""
    first = of(table, "dwell")[0]
    table[first - 20 : first, -1] = LINES["dwell"]
    return table


def rows_swapped(table):
    k = of(table, "cut")[300]
    table[[k, k + 1]] = table[[k + 1, k]]
    return table


def single(table, column, size, name):
    at = of(table, name)
    table[at[len(at) // 2], column] += size
    return table


def bumped(table, name, size):
    at = of(table, name)
    bump(table, at[len(at) // 4 : 3 * len(at) // 4], size, 2)
    return table


FORGED = {
    "a full circle twice": partial(twice, name="circle"),
    "a full circle left out": partial(left_out, name="circle"),
    "a quarter of the circle and back": partial(quarter_circle, name="circle"),
    "a line forth, back and forth": partial(back_and_forth, name="cut"),
    "an arc twice": partial(twice, name="arc"),
    "a line left out": partial(left_out, name="tilt"),
    "a drilled hole left out": partial(left_out, name="drill"),
    "a feed twice as fast": partial(faster, name="cut", share=2.0),
    "a feed a thousandth too fast": partial(faster, name="cut", share=1.001),
    "a plunge twice as fast": partial(faster, name="down", share=2.0),
    "a dwell of 5 ms": short_dwell,
    "a stop of 40 ms": long_stop,
    "lines told early": partial(line_shift, by=8),
    "lines told late": partial(line_shift, by=-8),
    "lines told one row early": partial(line_shift, by=1),
    "lines told one row late": partial(line_shift, by=-1),
    "a dwell told early": dwell_told_early,
    "rows swapped": rows_swapped,
    "one length off by 20 nm": partial(single, column=3, size=2e-5, name="cut"),
    "one length off by 20 nm in a dwell": partial(single, column=3, size=2e-5, name="dwell"),
    "one speed off": partial(single, column=9, size=0.5, name="cut"),
    "one acceleration off": partial(single, column=15, size=900.0, name="cut"),
    "a bump of 0.01 mm in a line": partial(bumped, name="cut", size=0.01),
    "a bump of 20 nm in a line": partial(bumped, name="cut", size=2e-5),
    "a bump of 0.01 mm in an arc": partial(bumped, name="arc", size=0.01),
    "a bump of 0.01 mm in a tilt": partial(bumped, name="tilt", size=0.01),
    "a bump of 0.01 mm in a dwell": partial(bumped, name="dwell", size=0.01),
}


@pytest.mark.parametrize("kind", FORGED)
def test_no_forged_table_is_proven(job, kind):
    head, table = read(job)
    write(job, head, FORGED[kind](table))
    code, faults = proof(job)
    assert code == 2, kind
    assert set(faults) & {"path", "feeds", "stops", "continuity", "limits"}, faults


def test_the_same_table_written_again_is_proven(job):
    write(job, *read(job))
    assert proof(job) == (0, {})


@pytest.mark.parametrize(
    ("one", "other"),
    [
        ("G03 X20. Y40. I-20. J0.", "G02 X20. Y40. I0. J20."),  # the other way about, the other centre
        ("G81 X0.", "G85 X0."),  # up at the feed, not at rapid
        ("F1200.", "F1199."),
        ("G04 P500", "G04 P480"),
        ("X-50. Y-30. A", "X-50. Y-30.001 A"),
    ],
)
def test_the_table_of_another_program_is_not_proven(job, tmp_path, one, other):
    place = tmp_path / "other"
    place.mkdir()
    assert one in PROGRAM
    made = convert(place, PROGRAM.replace(one, other))
    program = (job / "inputs/program.nc").read_bytes()
    (made / "inputs/program.nc").write_bytes(program)
    sign(made)
    assert proof(made)[0] == 2


@pytest.fixture(scope="module")
def geared(tmp_path_factory):
    place = tmp_path_factory.mktemp("geared")
    (place / "m.toml").write_text(text(STRUT, REST))
    columns = "time,length,speed,acceleration,command,turns,counts,line"
    job = convert(place, PROGRAM, "--machine", place / "m.toml", "--columns", columns)
    assert proof(job) == (0, {})
    return job


@pytest.mark.parametrize("first", [19, 25, 31])
@pytest.mark.parametrize("how", ["zero", "permuted", "off"])
def test_columns_that_drives_follow_are_found_again(geared, tmp_path, first, how):
    job = copied(geared, tmp_path)

    def change(rows):
        for k, row in enumerate(rows[1:]):
            if how == "zero":
                row[first : first + 6] = ["0.000000" if first < 31 else "0"] * 6
            elif how == "permuted":
                row[first], row[first + 1] = row[first + 1], row[first]
            elif k == 700:
                row[first + 2] = f"{float(row[first + 2]) + 1e-5:.6f}" if first < 31 else f"{int(row[first + 2]) + 2}"

    spoil(job, change)
    sign(job)
    code, faults = proof(job)
    assert code == 2
    assert set(faults) == {"drives"}


@pytest.mark.parametrize(
    ("name", "value"),
    [
        ("lift_mm", -40.0), ("lift_mm", float("1e9")), ("override_percent", 0.0), ("override_percent", 400.0),
        ("yaw", "free"), ("yaw_deg", 30.0), ("stops", "no"), ("from_line", 1.5), ("feed", "fastest"), ("other", 1),
        ("period_us", 2000),
    ],
)  # fmt: skip
def test_settings_are_not_believed(job, name, value):
    manifest = json.loads((job / "manifest.json").read_text())
    manifest["settings"][name] = value
    (job / "manifest.json").write_text(json.dumps(manifest))
    assert proof(job)[0] == 2


def test_a_job_at_half_feed_is_not_one_at_full_feed_and_the_other_way_round(sound, tmp_path):
    half = convert(tmp_path, PROGRAM, "--override", "50")
    assert proof(half) == (0, {})
    path = half / "manifest.json"
    manifest = json.loads(path.read_text())
    manifest["settings"]["override_percent"] = 40
    path.write_text(json.dumps(manifest))
    assert "feeds" in proof(half)[1]


BELOW = "G21 G90 G94\nT1 M06\nG43 H1 S1000 M03\nG54 G00 X0 Y0 Z40\nG01 Z-{} F3000\nX30.\nG00 Z40\nM30\n"


def test_findings_of_the_pallet_are_found_again(tmp_path):
    job = convert(tmp_path, BELOW.format(85), setup=SETUP, tools=TOOLS)
    code, faults = proof(job)
    assert (code, faults) == (1, {})
    report = json.loads((job / "report.json").read_text())
    assert {f["limit"] for f in report["findings"]} == {"pallet"}
    for change in (
        lambda r: r.update(findings=[], findings_total=0, findings_listed=0),
        lambda r: r["findings"].pop(),
        lambda r: r["findings"][0].update(peak=-4.9),
        lambda r: r["findings"][0].update(line=4),
        lambda r: r["findings"].append({**r["findings"][0], "limit": "retract", "strut": None}),
    ):
        other = json.loads(json.dumps(report))
        change(other)
        other["findings_total"] = other["findings_listed"] = len(other["findings"])
        (job / "report.json").write_text(json.dumps(other))
        sign(job)
        assert "rules" in proof(job)[1]


RULES = """G21 G90 G94
T1 M06
G54 G00 X0 Y0 Z60
G01 X20. F3000
T2 M06
G43 H1 G00 Z50
G01 X0.
G53 G00 Z-60.
G53 G00 Z-100.
M30
"""


def test_findings_of_rules_about_the_program_are_found_again(tmp_path):
    job = convert(tmp_path, RULES, setup=SETUP, tools=TOOLS)
    report = json.loads((job / "report.json").read_text())
    assert {"tool-length", "tool-number", "retract"} <= {f["limit"] for f in report["findings"]}
    assert proof(job) == (1, {})
    for limit in ("tool-length", "tool-number", "retract"):
        other = json.loads(json.dumps(report))
        other["findings"] = [f for f in report["findings"] if f["limit"] != limit]
        other["findings_total"] = other["findings_listed"] = len(other["findings"])
        (job / "report.json").write_text(json.dumps(other))
        sign(job)
        assert any(limit in f for f in proof(job)[1]["rules"])


def test_a_jerk_told_in_the_report_opens_no_room(job):
    head, table = read(job)
    k = of(table, "cut")[300]
    table[k:, 3] += 0.3
    write(job, head, table)
    report = json.loads((job / "report.json").read_text())
    for strut in report["struts"]:
        strut["worst"]["jerk"].update(value=1e30, ratio=1e24)
    (job / "report.json").write_text(json.dumps(report))
    sign(job)
    assert {"continuity", "path", "limits"} <= set(proof(job)[1])


@pytest.mark.parametrize("name", ["M9", "M8", "G4"])
@pytest.mark.parametrize("by", [-1, 1])
def test_an_event_moved_by_one_row_is_named(job, name, by):
    def move(rows):
        row = next(r for r in rows if r[3] == name)
        row[1] = str(int(row[1]) + by)
        row[0] = f"{int(row[1]) * 1e-3:.6f}"

    spoil(job, move, "events.csv")
    sign(job)
    assert "events" in proof(job)[1]


def test_a_proof_says_what_it_did_not_check_and_for_whom_it_counts(sound):
    from click.testing import CliRunner

    from hexpost.cli import main

    document = json.loads(CliRunner().invoke(main, ["verify", str(sound), "--json"]).output)
    assert any("report.txt" in x for x in document["not_checked"])
    assert any("what the words of the program mean" in x for x in document["remarks"])
    assert any("who writes those can have any program proven" in x for x in document["remarks"])
