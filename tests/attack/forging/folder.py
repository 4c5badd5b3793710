"""A job folder in the hands of a forger: all of it can be changed; hashes, segments and reports are mended again."""

import hashlib
import json
import shutil

import numpy as np

from hexpost.documents import measured, seconds
from hexpost.machine.load import load_machine
from hexpost.pipeline import Files, load, schedule

GROUPS = {"length": "length_{}_mm", "speed": "speed_{}_mm_s", "acceleration": "acceleration_{}_mm_s2",
          "command": "command_{}_mm", "turns": "turns_{}", "counts": "counts_{}",
          "jerk": "jerk_{}_mm_s3", "thrust": "thrust_{}_n", "torque": "torque_{}_nm", "power": "power_{}_w",
          "compensation": "compensation_{}_mm"}  # fmt: skip
SHOWN, SHOWN_MM = 5e-6, 5e-4
"""What a report rounds away of a worst value: it shows six significant digits, of a length at least 0.001 mm."""


class Forgery:
    """A copy of a job folder (CSV, one table), taken apart."""

    def __init__(self, base, source, place):
        self.base, self.folder = base, place
        shutil.copytree(source, place, symlinks=True)
        self.manifest = json.loads((place / "manifest.json").read_text())
        self.report = json.loads((place / "report.json").read_text())
        self.segments = json.loads((place / "segments.json").read_text())
        self.events = (place / "events.csv").read_text().splitlines()
        self._told = json.dumps([self.report, self.segments, self.manifest])
        self.after = []
        """Functions of the folder that run when all else is written and hashed."""
        self.before = []
        """Functions of the folder that run after writing, before hashes are taken."""
        self.twinned = False
        self._added = None
        self._read_table()
        self.kept = self.values.copy()

    def _read_table(self):
        ((self.table, told),) = self.manifest["tables"].items()
        self.decimals = [c["decimals"] for c in told["columns"]]
        self.names = [c["name"] for c in told["columns"]]
        header, *lines = (self.folder / self.table).read_text().splitlines()
        assert header.split(",") == self.names
        whole = [[int(x.replace(".", "")) for x in line.split(",")] for line in lines]
        self.values = np.array(whole, dtype=np.int64).T
        self.period = told["period_us"] / 1e6

    @property
    def line(self):
        """Return the line of each row (n,), to be changed in place."""
        return self.values[-1]

    def group(self, name):
        """Return the numbers of the columns of a group, none where the table has none."""
        first = GROUPS[name].format(1)
        return [self.names.index(GROUPS[name].format(k)) for k in range(1, 7)] if first in self.names else []

    def get(self, name):
        """Return a group of columns (6, n) as numbers."""
        rows = self.group(name)
        return self.values[rows] / 10.0 ** self.decimals[rows[0]]

    def put(self, name, values):
        """Put numbers (6, n) into a group of columns, rounded."""
        rows = self.group(name)
        self.values[rows] = np.rint(values * 10.0 ** self.decimals[rows[0]]).astype(np.int64)

    def clock(self):
        """Let the rows follow each other by the period again."""
        self.values[0] = np.arange(self.values.shape[1]) * round(self.period * 10 ** self.decimals[0])

    def commands(self, change):
        """Let commands and what follows from them go along with a change of the lengths (6, n), mm."""
        if not self.group("command"):
            return
        self.put("command", self.get("command") + change)

    def added(self):
        """Return what the honest job adds to its lengths for struts that give way (6, n), as many rows as now."""
        place = self.folder / "inputs"
        files = Files(program=place / "program.nc", machine=place / "machine.toml", tools=place / "tools.toml",
                      setup=place / "setup.toml")  # fmt: skip
        if self._added is None:
            period = self.manifest["settings"]["period_us"] / 1e6
            job = schedule(load(files, period), self.manifest["settings"]["feed"])
            self._added = np.concatenate([s.compensation for s in job.setpoints(commands=False)], axis=1)
        n = self.values.shape[1]
        return np.pad(self._added, ((0, 0), (0, max(n - self._added.shape[1], 0))), mode="edge")[:, :n]

    def rows(self, what, *, least=12):
        """Return first and last row of a block of a kind: the rows that name its line; the longest such block."""
        best = None
        for number, block in enumerate(self.base.blocks, 1):
            if block.what == what:
                found = np.flatnonzero(self.line == number)
                if len(found) >= least and (best is None or len(found) > best[1] - best[0]):
                    best = (int(found[0]), int(found[-1]))
        return best

    def text(self):
        """Return the text of the table."""
        columns = []
        for value, decimals in zip(self.values.tolist(), self.decimals, strict=True):
            unit = 10**decimals
            columns.append(
                [f"{'-' * (x < 0)}{abs(x) // unit}.{abs(x) % unit:0{decimals}d}" if decimals else str(x) for x in value]
            )
        return "\n".join([",".join(self.names), *(",".join(row) for row in zip(*columns, strict=True))]) + "\n"

    def differs(self):
        """Return whether motion, events or waits are others than those of the honest job."""
        honest = self.base.folder
        names = (self.table, "events.csv")
        now = (self.text(), "\n".join(self.events) + "\n")
        return any(not (honest / n).exists() or (honest / n).read_text() != t for n, t in zip(names, now, strict=True))

    def write(self, *, table=None):
        """Write all of it again, as a skilled forger would: segments, counts, worst values, hashes."""
        changed = self.values.shape != self.kept.shape or (self.values != self.kept).any()
        if changed:
            self.mend()
        (self.folder / self.table).write_text(table or self.text())
        report, segments, _ = json.loads(self._told)
        if self.segments != segments:
            (self.folder / "segments.json").write_text(json.dumps(self.segments, indent=1) + "\n")
        if self.report != report:
            (self.folder / "report.json").write_text(json.dumps(self.report, indent=1) + "\n")
        (self.folder / "events.csv").write_text("\n".join(self.events) + "\n")
        for change in self.before:
            change(self.folder)
        self.hashes()
        for change in self.after:
            change(self.folder)

    def hashes(self):
        """Take all hashes again, and write the manifest."""
        for name, told in self.manifest["files"].items():
            data = (self.folder / name).read_bytes()
            told.update(bytes=len(data), sha256=hashlib.sha256(data).hexdigest())
        if self.manifest != json.loads(self._told)[2]:
            (self.folder / "manifest.json").write_text(json.dumps(self.manifest, indent=2) + "\n")

    def mend(self):
        """Let segments, counts and worst values be those of the table."""
        self._mend_segments()
        self._mend_report()

    def _mend_segments(self):
        n, length = self.values.shape[1], self.values[self.group("length")]
        told = self.segments["segments"]
        was = told[-1]["last_row"] + 1
        for segment in told:
            if segment["last_row"] >= was - 1:
                segment["last_row"] = n - 1
            segment["last_row"] = min(segment["last_row"], n - 1)
            a, b = segment["first_row"], segment["last_row"]
            part = np.ascontiguousarray(length[:, a : b + 1].T.astype("<i8"))
            segment.update(rows=b + 1 - a, time_s=round(a * self.period, 6), until_s=round(b * self.period, 6))
            if len(part):
                ends = [[x / 1e6 for x in part[k].tolist()] for k in (0, -1)]
                segment.update(lengths_before_mm=ends[0], lengths_after_mm=ends[1])
            segment["sha256"] = hashlib.sha256(part.tobytes()).hexdigest()
        for name in self.manifest["tables"]:
            self.manifest["tables"][name]["rows"] = n
        duration = round((n - 1) * self.period, 6)
        self.report["rows"] = n
        for document in (self.report, self.manifest):
            if abs(document["duration_s"] - duration) > 1e-9:
                document["duration_s"] = duration

    def _mend_report(self):
        """Put the worst values of the table into the report, where the table shows others than before."""
        machine = load_machine(self.folder / self.manifest["inputs"]["machine"])
        acceleration = self.get("acceleration")
        jerk = np.zeros_like(acceleration)
        jerk[:, 1:] = np.diff(acceleration) / self.period
        length, speed = self.get("length"), self.get("speed")
        if machine.compensation is not None:
            added = self.added()
            length, speed = length + added, speed + np.diff(added, axis=1, prepend=added[:, :1]) / self.period
        columns = {"stroke": length, "speed": speed, "acceleration": acceleration, "jerk": jerk}
        steps = {"stroke": 1e-6, "speed": 1e-6, "acceleration": 1e-3, "jerk": 2e-3 / self.period, "deceleration": 1e-3}
        if machine.struts_slow_otherwise:
            slows, stands = self.get("speed") * acceleration < 0.0, np.abs(self.get("speed")) <= 1e-3
            columns["acceleration"] = np.where(slows & ~stands, 0.0, acceleration)
            columns["deceleration"] = np.where(slows | stands, acceleration, 0.0)
        for strut, said in zip(machine.struts, self.report["struts"], strict=True):
            k = said["strut"] - 1
            for name, worst in said["worst"].items():
                if name not in columns:
                    continue
                most = strut.slowing if name == "deceleration" else getattr(strut, name)
                band = strut.stroke if name == "stroke" else (-most, most)
                values, middle = columns[name][k], sum(band) / 2.0
                at = int(np.abs(values - middle).argmax())
                value = float(values[at]) if name == "stroke" else float(abs(values[at]))
                if abs(value - worst["value"]) > steps[name] + max(SHOWN * abs(value), SHOWN_MM * (name == "stroke")):
                    ratio = float(2.0 * abs(values[at] - middle) / (band[1] - band[0]))
                    worst.update(value=measured(value, worst["unit"], worst["allowed"]), line=int(self.line[at]),
                                 ratio=measured(ratio, beside=1.0), time_s=seconds(at * self.period))  # fmt: skip
