"""``hexpost align``: frames from files, uncertainty, and the reason of every refusal."""

import csv
import io
import json
import re
import tomllib
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner
from machine.described import text as described
from scipy.linalg import lstsq

from hexpost.cli import main
from hexpost.kinematics.forward import forward
from hexpost.kinematics.frames import pose_matrix
from hexpost.kinematics.struts import StrutModel
from hexpost.machine.load import demonstration_machine, load_setup

SAMPLES = Path(__file__).parent.parent.parent / "samples"
TRUE = np.array([12.5, -8.25, 71.3, *np.deg2rad([0.8, -0.6, 3.2])])
NOMINAL = np.array([[-85, -85, 0], [85, -85, 0], [85, 85, 0], [-85, 85, 0], [-90, 0, -20], [0, -90, -20.0]])
RNG = np.random.default_rng(3)
PROBED = NOMINAL @ pose_matrix(TRUE, "ABC")[:3, :3].T + TRUE[:3] + 0.003 * RNG.normal(size=(6, 3))
HEAD = "nominal_x_mm,nominal_y_mm,nominal_z_mm,probed_x_mm,probed_y_mm,probed_z_mm"


def table(nominal=NOMINAL, probed=PROBED, head=HEAD, more=()):
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(head.split(","))
    for i, (a, b) in enumerate(zip(nominal, probed, strict=True)):
        writer.writerow([*a, *b, *(column[i] for column in more)])
    return out.getvalue()


def run(tmp_path, text, *options):
    points = tmp_path / "points.csv"
    points.write_bytes(text if isinstance(text, bytes) else text.encode())
    done = CliRunner().invoke(main, ["align", str(points), "-o", str(tmp_path / "setup.toml"), *options])
    assert done.exception is None or isinstance(done.exception, SystemExit), done.exception
    return done


def pose(tmp_path, offset="G54"):
    return load_setup(tmp_path / "setup.toml").offsets[offset]


def test_a_skewed_part(tmp_path):
    done = run(tmp_path, table(), "--offset", "G56", "--json")
    assert done.exit_code == 0
    said = json.loads(done.stdout)
    found = pose(tmp_path, "G56")
    assert found[:3] == pytest.approx(TRUE[:3], abs=0.006)
    assert found[3:] == pytest.approx(TRUE[3:], abs=1e-4)
    assert said["pose_mm_deg"] == pytest.approx([*found[:3], *np.rad2deg(found[3:])])
    sigma = np.array(said["uncertainty_mm_deg"])
    assert (np.abs(np.array(said["pose_mm_deg"]) - [*TRUE[:3], 0.8, -0.6, 3.2]) < 4 * sigma).all()
    assert said["noise_mm"] == pytest.approx(0.003, rel=0.6)
    assert said["spare"] == 12


def test_other_offsets_are_kept(tmp_path):
    kept = tmp_path / "kept.toml"
    kept.write_text((SAMPLES / "setup.toml").read_text() + "\n[start]\npose_mm_deg = [0, 0, 1000, 0, 0, 10]\n")
    assert run(tmp_path, table(), "--setup", str(kept)).exit_code == 0
    old, new = load_setup(kept), load_setup(tmp_path / "setup.toml")
    assert set(new.offsets) == set(old.offsets)
    assert new.offsets["G58"] == pytest.approx(old.offsets["G58"])
    assert new.offsets["G54"][:3] == pytest.approx(TRUE[:3], abs=0.006)
    assert new.start == pytest.approx(old.start)


def test_provenance_stands_in_the_file(tmp_path):
    import hashlib

    run(tmp_path, table())
    text = (tmp_path / "setup.toml").read_text()
    assert hashlib.sha256((tmp_path / "points.csv").read_bytes()).hexdigest() in text
    assert set(tomllib.loads(text)) == {"offset"}


def test_an_existing_file_is_not_overwritten_by_accident(tmp_path):
    mine = "[offset.G54]  # mine\n"
    (tmp_path / "setup.toml").write_text(mine)
    assert run(tmp_path, table()).exit_code == 2
    assert (tmp_path / "setup.toml").read_text() == mine
    assert run(tmp_path, table(), "--overwrite").exit_code == 0


def test_ball_compensation(tmp_path):
    """Points recorded at the centre of a 6 mm ball, surfaces facing up and to the sides."""
    normal = np.array([[0, 0, 1]] * 4 + [[-1, 0, 0], [0, -1, 0.0]])
    centres = (NOMINAL + 3 * normal) @ pose_matrix(TRUE, "ABC")[:3, :3].T + TRUE[:3]
    text = table(probed=centres, head=HEAD + ",normal_x,normal_y,normal_z", more=normal.T)
    assert run(tmp_path, text, "--ball-mm", "6").exit_code == 0
    assert pose(tmp_path) == pytest.approx(TRUE, abs=1e-9)


def test_weight_draws_the_fit(tmp_path):
    probed = PROBED.copy()
    probed[0] += [0, 0, 0.09]
    plain = run(tmp_path, table(probed=probed), "--json")
    weighted = run(tmp_path, table(probed=probed, head=HEAD + ",weight", more=[[1e-6, 1, 1, 1, 1, 1]]),
                   "--overwrite", "--json")  # fmt: skip
    left = [json.loads(d.stdout)["residuals"][0]["distance_mm"] for d in (plain, weighted)]
    assert left[1] > left[0]
    assert pose(tmp_path)[:3] == pytest.approx(TRUE[:3], abs=0.01)


UP = (NOMINAL[:, [0, 1, 2]] * [1, -1, 1]) @ pose_matrix(TRUE, "ABC")[:3, :3].T + TRUE[:3]
LINE = np.outer(np.arange(6), [10, 5, 1.0])
OFF = PROBED.copy()
OFF[2] += [0.0, 0.4, 0.9]
BENT = PROBED + 0.5 * RNG.normal(size=(6, 3))
REFUSALS = {
    "collinear": (table(LINE, LINE + 5), "lie in a line"),
    "mirrored": (table(probed=UP), "mirror image of the nominal points fits"),
    "flat and mirrored": (table(NOMINAL[:4], UP[:4]), "points in a plane fit their mirror image"),
    "nominal in inches": (table(nominal=NOMINAL / 25.4), "nominal points seem to be in inches"),
    "probed in inches": (table(probed=PROBED / 25.4), "probed points seem to be in inches"),
    "nominal in metres": (table(nominal=NOMINAL / 1e3), "nominal points seem to be in metres"),
    "probed in metres": (table(probed=PROBED / 1e3), "probed points seem to be in metres"),
    "probed in centimetres": (table(probed=PROBED / 10), "probed points seem to be in centimetres"),
    "signs of y and z turned": (table(probed=PROBED * [1, -1, -1]), "are the signs of two axes turned"),
    "signs of x and z turned": (table(probed=PROBED * [-1, 1, -1]), "the work frame is upside down"),
    "x and y exchanged": (table(probed=PROBED[:, [1, 0, 2]]), "mirror image of the nominal points fits"),
    "two rows exchanged": (
        table(probed=PROBED[[1, 0, 2, 3, 4, 5]]),
        "without the points of line 2, line 3 the other 4",
    ),
    "too few": (table(NOMINAL[:2], PROBED[:2]), "2 points are too few for six unknowns"),
    "repeated": (
        table(np.vstack([NOMINAL, NOMINAL[:1]]), np.vstack([PROBED, PROBED[:1]])),
        "the nominal point is that of",
    ),
    "one wrong point": (table(probed=OFF), "without the point of line 4 the others agree"),
    "no agreement": (table(probed=BENT), "no single point explains it"),
    "missing column": (table(head=HEAD.replace("probed_z_mm", "weight")), "no column probed_z_mm"),
    "misspelt column": (table(head=HEAD.replace("probed_z_mm", "probed_z")), "did you mean `probed_z_mm`?"),
    "semicolons": (table().replace(",", ";"), "separate fields by commas"),
    "not a number": (table().replace("-85", "abc", 1), "; write a number"),
    "infinite": (table().replace("-85", "inf", 1), "; write a number"),
    "short row": (table() + "1,2\n", "the row has 2 fields, the first line 6"),
    "empty": ("", "write a line of column names"),
    "binary": (bytes(range(128, 256)), "is no UTF-8 text"),
    "weight of zero": (table(head=HEAD + ",weight", more=[[1, 1, 1, 0, 1, 1]]), "weight is 0; it must be above 0"),
}


@pytest.mark.parametrize("name", REFUSALS)
def test_refusals_say_why(name, tmp_path):
    text, words = REFUSALS[name]
    done = run(tmp_path, text)
    assert done.exit_code == 2
    assert words in done.output
    assert "internal fault" not in done.output
    assert not (tmp_path / "setup.toml").exists()


def test_points_that_are_not_on_the_pallet_are_refused(tmp_path):
    """As far as the machine file knows how large the pallet is."""
    (tmp_path / "m.toml").write_text(described())
    there = table(probed=PROBED - np.array([0.0, 0.0, 3000.0]))
    assert run(tmp_path, there).exit_code == 0
    done = run(tmp_path, there, "--machine", str(tmp_path / "m.toml"), "--overwrite")
    assert done.exit_code == 2
    assert "mm from the middle of the pallet; at most 1800 mm is allowed" in done.output
    assert run(tmp_path, table(), "--machine", str(tmp_path / "m.toml"), "--overwrite").exit_code == 0


def test_a_ball_without_normals_is_refused(tmp_path):
    done = run(tmp_path, table(), "--ball-mm", "6")
    assert done.exit_code == 2 and "a probe ball needs the columns normal_x, normal_y, normal_z" in done.output


DATUM_HEAD = "datum,shape,at_mm,probed_x_mm,probed_y_mm,probed_z_mm\n"
R = 3.0
ANGLES = np.linspace(0, 5, 8)


def datums(rows, matrix=None, at=(0, 0, 0)):
    """A file of datum points given in the work frame of the true skew."""
    matrix = pose_matrix(TRUE, "ABC") if matrix is None else matrix
    roles = ("primary", "secondary", "tertiary")
    out = DATUM_HEAD
    for role, shape, p in rows:
        q = matrix[:3, :3] @ np.array(p, float) + matrix[:3, 3]
        out += f"{role},{shape},{at[roles.index(role)]}," + ",".join(repr(float(x)) for x in q) + "\n"
    return out


def hole(role, x, y, radius, shape="cylinder"):
    return [
        (role, shape, [x + radius * np.cos(t), y + radius * np.sin(t), -2 - (k % 3) * 3]) for k, t in enumerate(ANGLES)
    ]


TOP = [("primary", "plane", [x, y, R]) for x, y in ((10, 10), (90, 15), (50, 70), (20, 60))]
SIDE = [("secondary", "line", [x, -R, -8]) for x in (5, 95)]
WALL = [("secondary", "plane", [x, -R, z]) for x, z in ((5, -5), (95, -9), (50, -20))]
END = [("tertiary", "point", [-R, 30, -8])]
BORE = [
    ("primary", "cylinder", [(20 - R) * np.cos(t), (20 - R) * np.sin(t), -3 - 5 * (k % 4)])
    for k, t in enumerate(ANGLES)
]
SHOULDER = [("secondary", "plane", [30 * np.cos(t), 30 * np.sin(t), R]) for t in (0, 2, 4)]
FRAMES = {
    "3-2-1": TOP + SIDE + END,
    "face, wall, end": TOP + WALL + END,
    "face and two holes": TOP + hole("secondary", 0, 0, 8) + hole("tertiary", 60, 0, 5),
    "face, side, hole": TOP + SIDE + hole("tertiary", 0, 40, 6),
    "bore, shoulder, hole": BORE + SHOULDER + hole("tertiary", 45, 0, 4),
}


@pytest.mark.parametrize("name", FRAMES)
def test_datum_features_give_the_frame(name, tmp_path):
    """Authority: the construction of the points; the frame comes back to 1e-7."""
    done = run(tmp_path, datums(FRAMES[name]), "--ball-mm", "6", "--noise-mm", "0.002", "--json")
    assert done.exit_code == 0, done.output
    assert pose(tmp_path) == pytest.approx(TRUE, abs=1e-7)
    assert all(0 < x < 0.2 for x in json.loads(done.stdout)["uncertainty_mm_deg"])


def test_datums_may_stand_elsewhere(tmp_path):
    shifted = pose_matrix(TRUE, "ABC") @ pose_matrix(np.array([-90, -90, 5.0, 0, 0, 0]), "ABC")
    text = datums(TOP + SIDE + END, shifted, at=(5, -90, -90))
    assert run(tmp_path, text, "--ball-mm", "6").exit_code == 0
    assert pose(tmp_path) == pytest.approx(TRUE, abs=1e-9)


@pytest.mark.parametrize("heights", [(-2, -20, -35), (-3, -3, -40, -8), (-5, -4.9)])
def test_how_high_a_side_was_probed_is_no_error_of_it(heights, tmp_path):
    """Sides good to 0.003 mm; with a wall that leans by 0.5 mm over its height, only its way along counts."""
    xs = np.linspace(5, 95, len(heights))
    rng = np.random.default_rng(len(heights))
    side = [("secondary", "line", [x, -R + rng.uniform(-0.003, 0.003), z]) for x, z in zip(xs, heights, strict=True)]
    done = run(tmp_path, datums(TOP + side + END), "--ball-mm", "6", "--json")
    assert done.exit_code == 0, done.output
    said = json.loads(done.stdout)
    assert pose(tmp_path) == pytest.approx(TRUE, abs=0.01)
    assert said["largest_mm"] < 0.004
    assert said["spare"] == 1 + max(len(heights) - 2, 0)  # one of four points of the face, the rest of the side


def test_a_side_point_that_is_off_along_its_normal_is_still_found(tmp_path):
    side = [("secondary", "line", [x, -R + (0.9 if x == 50 else 0), -3 - x / 5]) for x in (5, 50, 95)]
    done = run(tmp_path, datums(TOP + side + END), "--ball-mm", "6")
    assert done.exit_code == 2
    assert "from the secondary line" in done.output


@pytest.mark.parametrize("seed", range(6))
@pytest.mark.parametrize(("count", "wrong"), [(8, 2), (9, 3), (30, 8)])
def test_several_wrong_points_are_named(count, wrong, seed, tmp_path):
    """As many as leave a majority: the frame of good points alone is among those tried."""
    rng = np.random.default_rng(seed)
    m = pose_matrix(TRUE, "ABC")
    nominal = rng.uniform(-90, 90, (count, 3))
    probed = nominal @ m[:3, :3].T + m[:3, 3] + rng.normal(0, 0.002, (count, 3))
    off = np.sort(rng.permutation(count)[:wrong])
    probed[off, rng.integers(0, 3, wrong)] += rng.choice([-1, 1], wrong) * rng.uniform(0.8, 9, wrong)
    head = "nominal_x_mm,nominal_y_mm,nominal_z_mm,probed_x_mm,probed_y_mm,probed_z_mm\n"
    text = head + "".join(",".join(f"{x:.6f}" for x in (*a, *b)) + "\n" for a, b in zip(nominal, probed, strict=True))
    done = run(tmp_path, text)
    assert done.exit_code == 2
    named = ", ".join(f"line {i + 2}" for i in off)
    assert f"without the points of {named} the other {count - wrong} agree" in " ".join(done.output.split()), (
        done.output
    )


DATUM_REFUSALS = {
    "no tertiary": (datums(TOP + SIDE), "no tertiary datum: a freedom stays open"),
    "two points on a plane": (datums(TOP[:2] + SIDE + END), "2 points on the primary plane are too few"),
    "a plane of points in a line": (
        datums([("primary", "plane", [x, 2 * x, R]) for x in (0, 10, 20)] + SIDE + END),
        "the points of the primary plane lie in a line",
    ),
    "a side along the normal": (
        datums(TOP + [("secondary", "line", [0, 0, z]) for z in (0, -9)] + END), "the turn about z stays open"),
    "no such role": (datums(TOP + SIDE + END).replace("tertiary", "third"), "unknown datum `third`"),
    "no such shape": (datums(TOP + SIDE + END).replace("line", "cone"), "unknown shape `cone`"),
    "a plane that is none": (datums([*TOP, ("primary", "plane", [80, 80, R + 2]), *SIDE, *END]), "from the primary"),
    "wrong order": (datums(SIDE + END).replace("secondary,line", "primary,line") + datums(WALL).split("\n", 1)[1],
                    "these datums do not follow the 3-2-1 principle"),
}  # fmt: skip


@pytest.mark.parametrize("name", DATUM_REFUSALS)
def test_datum_refusals_say_why(name, tmp_path):
    text, words = DATUM_REFUSALS[name]
    done = run(tmp_path, text)
    assert done.exit_code == 2
    assert words in " ".join(done.output.split())


def test_a_program_that_knew_nothing_of_the_skew_cuts_the_skewed_part(tmp_path):
    """The table of the aligned job, run backwards: in the true part frame the tip follows the program.

    The program cuts a square of 164 mm at full depth (its own comment); probing noise of 3 micrometres may show.
    """
    done = CliRunner().invoke(main, ["align", str(SAMPLES / "probed_points.csv"), "-o", str(tmp_path / "s.toml")])
    assert done.exit_code == 0
    words = ["convert", str(SAMPLES / "contour.nc"), "--tools", str(SAMPLES / "tools.toml"),
             "--setup", str(tmp_path / "s.toml"), "--out", str(tmp_path / "job"), "--table", "npy"]  # fmt: skip
    assert CliRunner().invoke(main, words).exit_code == 0
    proof = CliRunner().invoke(main, ["verify", str(tmp_path / "job")])
    assert proof.exit_code == 0, proof.output
    rows = np.load(tmp_path / "job" / "setpoints.npy")
    lengths = np.stack([rows[f"length_{k}_mm"] for k in range(1, 7)]).astype(float)[:, ::40]
    machine = demonstration_machine()
    part = pose_matrix(machine.pallet.pose, "ABC") @ pose_matrix(TRUE, "ABC")
    tip = machine.platform.gauge_point - np.array([0, 0, 120.0])
    struts = StrutModel(machine).in_frame(part, tip)
    guess = np.tile(np.array([0, 0, 20.0, 0, 0, 0])[:, None], (1, lengths.shape[1]))
    found = forward(struts, lengths, guess)
    assert found.converged.all()
    x, y, z = found.pose[:3]
    low = z < z.min() + 0.02
    long, short = np.maximum(np.abs(x), np.abs(y)), np.minimum(np.abs(x), np.abs(y))
    square = low & (long > 81) & (short > 30) & (short < 75)  # away from the roll-in and from the corners
    assert square.sum() > 50
    assert np.abs(long[square] - 82).max() < 0.012
    assert np.abs(np.rad2deg(found.pose[3:][:, square])).max() < 0.005


@pytest.mark.parametrize("count", [1, 2, 3])
@pytest.mark.parametrize("role", ["primary plane", "secondary plane"])
def test_every_point_that_is_off_its_datum_is_named(tmp_path, count, role):
    """Points of a plane at 60 places of a grid, some of them lifted; distances by a plane of least squares (SciPy)."""
    name = role.split()[0]
    grid = [(x, z) for x in range(0, 100, 10) for z in range(0, 60, 10)]
    flat = {"primary": [("primary", "plane", [x, y, R]) for x, y in grid],
            "secondary": [("secondary", "plane", [x, -R, -z - 5]) for x, z in grid]}  # fmt: skip
    top = flat["primary"] if name == "primary" else TOP
    side = flat["secondary"] if name == "secondary" else SIDE
    rows = top + side + END
    first = rows.index(flat[name][0])
    axis = 2 if name == "primary" else 1
    lifted = [first + 13, first + 31, first + 47][:count]
    for k, row in enumerate(lifted):
        point = list(rows[row][2])
        point[axis] += (1.0 + 0.3 * k) * (1 if axis == 2 else -1)
        rows[row] = (*rows[row][:2], point)
    done = run(tmp_path, datums(rows), "--ball-mm", "6")
    assert done.exit_code == 2
    points = np.array([p for _, _, p in rows[first : first + 60]], float)
    others = [i for i in range(3) if i != axis]
    design = np.column_stack([points[:, others], np.ones(60)])
    fit = lstsq(design, points[:, axis])[0]
    off = np.abs(points[:, axis] - design @ fit) / np.sqrt(1.0 + fit[0] ** 2 + fit[1] ** 2)
    far = sorted(np.flatnonzero(off > 0.1), key=lambda i: -off[i])
    named = re.findall(rf":(\d+): the point is ([\d.]+) mm from the {role}", done.output)
    assert [int(line) for line, _ in named] == [2 + first + i for i in far] and len(far) >= count
    assert [float(x) for _, x in named] == pytest.approx(off[far], rel=1e-3)
    assert ("pulls the others off" in done.output) is (len(far) > 1)
