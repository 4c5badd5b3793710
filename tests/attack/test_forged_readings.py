"""Jobs read one way and said to be read the other: first feeds, arc centres, dialect codes, vectors, returns, units.

Equations find each from the table, without the folder made again; a forger has mended all hashes.
"""

import hashlib
import json
from pathlib import Path

import pytest
from attack.forger import proven
from attack.jobs import inside, write

from hexpost.machine.load import DEMONSTRATION

MACHINE = DEMONSTRATION.read_text().replace("_ms = 1.0", "_ms = 4.0")
HEAD = "G21 G90\nG00 X0 Y0 Z60\n"


def words(key, value):
    """Return a table of readings."""
    return f"[words]\n{key} = {value}\n"


def row(word, **keys):
    """Return a row of the dialect table."""
    return f'[[dialect]]\nword = "{word}"\n' + "".join(f'{k} = "{v}"\n' for k, v in keys.items())


def vector(letters):
    """Return the letters of a tool vector."""
    return "[programmed_axes]\ntool_vector = [{}]\n".format(", ".join(f'"{x}"' for x in letters))


def home(z):
    """Return where a return leads."""
    return f"[reference_return]\ng28_pose_mm_deg = [0, 0, {z}, 0, 0, 0]\n"


CIRCLE = HEAD + "G01 X20 F3000\nG02 I10 J0\nM30\n"
READINGS = {
    "first feed": (HEAD + "G01 X20\nY9\nM30\n", words("first_feed_mm_min", 6000), words("first_feed_mm_min", 2000)),
    "first motion": (
        "G21 G90 F6000\nZ60\nX20\nG01 Y9\nM30\n",
        words("first_motion", '"G01"'),
        words("first_motion", '"G00"'),
    ),
    "arc centres": (CIRCLE, words("arc_centre", '"incremental"'), words("arc_centre", '"absolute"')),
    "word for arc centres": (
        CIRCLE.replace("G02", "G12.3 G02"),
        row("G12.3", action="absolute-centres"),
        row("G12.3", action="incremental-centres"),
    ),
    "dialect code of coolant": (
        HEAD + "M1234\nG01 X20 F3000\nM30\n",
        row("M1234", action="same-as", same_as="M08"),
        row("M1234", action="same-as", same_as="M07"),
    ),
    "dialect code of motion": (
        HEAD + "G123 X20 F600\nM30\n",
        row("G123", action="same-as", same_as="G01"),
        row("G123", action="same-as", same_as="G00"),
    ),
    "tool vector": (HEAD + "G01 X20 I0.1 J0 K0.995 F3000\nX30\nM30\n", vector("IJK"), vector("JIK")),
    "bare return": (HEAD + "G01 X20 F3000\nG28\nM30\n", home(520), home(519.9)),
}

SLOWER = ("first feed",)
"""Readings whose second table is a slower job: equations bound the pace from above, and leave that to the remake."""


def converted(place, text, machine, *options):
    """Return the folder of a job made with what is added to the machine file."""
    place.mkdir()
    paths = write(place, p_nc=text, m_toml=MACHINE + "\n" + machine)
    code, said, wrong = inside("convert", paths["p"], "--machine", paths["m"], "--out", place / "job", *options)
    assert code in (0, 1) and not wrong, said
    return place / "job"


def mended(folder, change):
    """Change the manifest of a folder, and take all hashes again."""
    manifest = json.loads((folder / "manifest.json").read_text())
    change(manifest)
    for name, told in manifest["files"].items():
        data = (folder / name).read_bytes()
        told.update(bytes=len(data), sha256=hashlib.sha256(data).hexdigest())
    (folder / "manifest.json").write_text(json.dumps(manifest, indent=2) + "\n")


@pytest.mark.parametrize("name", READINGS)
def test_a_job_of_the_other_reading_is_found_by_equations(name, tmp_path):
    text, *tables = READINGS[name]
    folders = [converted(tmp_path / str(k), text, table) for k, table in enumerate(tables)]
    assert proven(folders[0])
    copies = [Path(f) / json.loads((f / "manifest.json").read_text())["inputs"]["machine"] for f in folders]
    texts = [copy.read_bytes() for copy in copies]
    for folder, copy, other in list(zip(folders, copies, reversed(texts), strict=True))[: 1 + (name not in SLOWER)]:
        copy.write_bytes(other)
        mended(folder, lambda manifest: None)
        assert not proven(folder)


def test_units_that_were_not_asked_for_are_found_by_equations(tmp_path):
    text = HEAD.replace("G21 ", "").replace("Z60", "Z2") + "G01 X2 F90\nM30\n"
    for said, other in (("mm", "inch"), ("inch", "mm"), ("mm", None)):
        folder = converted(tmp_path / f"{said}{other}", text, "", "--units", said)
        assert proven(folder)
        mended(folder, lambda manifest, other=other: manifest["settings"].update(units=other))
        assert not proven(folder)


def test_a_bare_return_that_the_copy_refuses_is_found(tmp_path):
    folder = converted(tmp_path / "a", READINGS["bare return"][0], home(520))
    copy = folder / json.loads((folder / "manifest.json").read_text())["inputs"]["machine"]
    copy.write_text(copy.read_text() + words("bare_return", '"refuse"'))
    mended(folder, lambda manifest: None)
    assert not proven(folder)
