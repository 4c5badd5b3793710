"""Job folders to prove: made once, copied, and spoilt in one way each."""

import hashlib
import json
import shutil

from click.testing import CliRunner

from hexpost.cli import main

SETUP = "[offset.G54]\npose_mm_deg = [10, -20, 80, 0, 0, 30]\n[offset.G55]\npose_mm_deg = [-60, 40, 100, 6, -4, 20]\n"
TOOLS = (
    "[[tool]]\nnumber = 1\nlength_mm = 120\ndiameter_mm = 10\n[[tool]]\nnumber = 2\nlength_mm = 90\ndiameter_mm = 6\n"
)
PROGRAM = """%
O7 (TIDAL BLADE ROOT)
G21 G17 G90 G94 G64
T1 M06
G43 H1 S1200 M03
G00 X-60. Y-40. Z60.
G01 Z20. F3000. M08
X40.
Y20. Z30.
G03 X20. Y40. I-20. J0.
G01 X-20.
G02 X-20. Y0. Z34. I0. J-20.
G01 X-60. Y-40. Z20. A8. B-6.
A0. B5.
X-50. Y-30. B0. M09
G04 X0.2
G53 G00 Z0.
T2 M06
G55 G43 H2
G00 X0. Y0. Z40.
G01 Z5. F2000.
G02 I15. J0.
G03 X10. Y0. Z8. I5. J0.
G01 X20. Y5. C4.
G53 G00 Z0.
M30
%
"""
SWING = """G00 X-240. Y-250. Z40. A7. B3. C-6.
G01 X-40. Y-60. Z420. A-7. B-3. C6. F72000
X-240. Y-250. Z40. A7. B3. C-6.
G00 A0. B0. C0. X-60. Y-40. Z20.
G01
"""
BROKEN = PROGRAM.replace("X40.\n", SWING + "X40. F3000.\n")


def run(*words):
    """Run the command line; return its exit code and output."""
    done = CliRunner().invoke(main, [str(w) for w in words])
    return done.exit_code, done.output


def tried(folder, program=PROGRAM, *options, setup=SETUP, tools=TOOLS, machine=None):
    """Convert a program in ``folder``, for a machine file if one is given; return exit code, output and the job."""
    texts = {"setup": setup, "tools": tools, **({"machine": machine} if machine else {})}
    for name, text in (("p.nc", program), *((f"{role[0]}.toml", text) for role, text in texts.items())):
        (folder / name).write_text(text)
    files = (*(x for role in texts for x in (f"--{role}", folder / f"{role[0]}.toml")), "--out", folder / "job")
    return *run("convert", folder / "p.nc", *files, *options), folder / "job"


def convert(folder, program=PROGRAM, *options, **files):
    """Convert a program in ``folder``; return its job folder."""
    code, output, job = tried(folder, program, *options, **files)
    assert code in (0, 1), output
    return job


def copied(job, place):
    """Return a copy of a job folder."""
    return shutil.copytree(job, place / "copy")


def sign(job, **tables):
    """Put the hashes of the files as they are now into the manifest, as a forger would; change table entries."""
    path = job / "manifest.json"
    manifest = json.loads(path.read_text())
    for name in manifest["files"]:
        data = (job / name).read_bytes()
        manifest["files"][name] = {"bytes": len(data), "sha256": hashlib.sha256(data).hexdigest()}
    for told in manifest["tables"].values():
        told.update(tables)
    path.write_text(json.dumps(manifest))


def retold(job, change):
    """Change the report of a job folder, and sign the folder again."""
    report = json.loads((job / "report.json").read_text())
    change(report)
    (job / "report.json").write_text(json.dumps(report))
    sign(job)


def milder(job, limit, share, *, strut=None):
    """Tell a worst value of the tool, or of a strut (from 0), and its ratio as so much of what they are."""

    def change(report):
        worst = (report["tool"] if strut is None else report["struts"][strut])["worst"][limit]
        worst["value"], worst["ratio"] = worst["value"] * share, worst["ratio"] * share

    retold(job, change)


def left_out(job, limit):
    """Leave a block's findings of a limit out of the report of a job folder; return the line."""
    lines = []

    def change(report):
        lines.append(next(f["line"] for f in report["findings"] if f["limit"] == limit))
        report["findings"] = [f for f in report["findings"] if (f["limit"], f["line"]) != (limit, lines[0])]
        report["findings_total"] = report["findings_listed"] = len(report["findings"])

    retold(job, change)
    return lines[0]


def spoil(job, change, name="setpoints.csv"):
    """Change the rows (lists of words, the header first) of a CSV file of the job."""
    rows = [line.split(",") for line in (job / name).read_text().splitlines()]
    change(rows)
    (job / name).write_text("".join(",".join(row) + "\n" for row in rows))


def proof(job):
    """Return the exit code and the faults by check."""
    code, output = run("verify", job, "--json", "--without-remake")
    document = json.loads(output)
    return code, {c["name"]: c["faults"] for c in document["checks"] if not c["proven"]}
