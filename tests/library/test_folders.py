"""Folders of a library: what cannot be read is a fault, what is left out is named, and odd names are names."""

import errno
import json
import os
from pathlib import Path

import pytest
from click.testing import CliRunner
from library.shop import CLEAN, FAST, slow_struts, write

from hexpost.cli import main
from hexpost.errors import InputError
from hexpost.library.gate import Shard
from hexpost.library.programs import find

LAYOUT = ("lib/a.nc", "lib/sub/b.nc", "lib/sub/deep/c.nc", "lib/other/d.nc", "lib/.hidden/e.nc", "lib/.f.nc", "x/g.nc")


@pytest.fixture
def shop(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    for name in LAYOUT:
        Path(name).parent.mkdir(parents=True, exist_ok=True)
        Path(name).write_text(CLEAN)
    return tmp_path


def unreadable(monkeypatch, folder, code=errno.EACCES):
    """Let the system refuse to list a folder; permissions alone would not stop the superuser."""
    real, closed = os.scandir, os.path.realpath(folder)

    def scandir(path="."):
        if os.path.realpath(path) == closed:
            raise OSError(code, os.strerror(code), os.fspath(path))
        return real(path)

    monkeypatch.setattr(os, "scandir", scandir)


@pytest.mark.parametrize(
    ("folder", "words", "named"),
    [
        ("lib/sub", ["lib"], "lib/sub"), ("lib/sub", ["."], "lib/sub"), ("lib/sub/deep", ["lib"], "lib/sub/deep"),
        ("lib", ["lib"], "lib"), ("lib", ["lib/"], "lib"), (".", ["."], "."), ("lib/other", ["x", "lib"], "lib/other"),
        ("lib/sub", ["lib/**/*.nc"], "lib/sub"), ("lib/sub", ["**/*.nc"], "lib/sub"), ("lib/sub", ["l*"], "lib/sub"),
        ("lib/sub", ["lib/*/*.nc"], "lib/sub"), ("lib/sub", ["lib/s*/*.nc"], "lib/sub"), ("lib", ["*/*.nc"], "lib"),
        ("lib/sub/deep", ["lib/sub/*"], "lib/sub/deep"), ("lib", ["lib/*.nc"], "lib"), ("lib/sub", ["lib/[s]ub"],
        "lib/sub"),
        ("lib/sub", ["lib", "x/g.nc"], "lib/sub"), ("x", ["lib", "x"], "x"), ("lib/sub", ["./lib/../lib"], "lib/sub"),
        ("lib/.hidden", ["lib"], None), ("x", ["lib"], None), ("lib/sub", ["lib/other/*.nc"], None),
        ("lib/sub", ["lib/o*/*.nc"], None), ("lib/sub", ["lib/a.nc"], None), ("lib/sub", ["lib/*.nc"], None),
    ],
)  # fmt: skip
def test_a_folder_that_cannot_be_read_is_a_fault(shop, monkeypatch, folder, words, named):
    unreadable(monkeypatch, folder)
    if named is None:
        assert find(words).names
        return
    with pytest.raises(InputError) as told:
        find(words)
    assert [(f.file, f.code) for f in told.value.faults] == [(named, "unreadable-folder")]


@pytest.mark.parametrize("code", [errno.EACCES, errno.EPERM, errno.EIO, errno.ESTALE, errno.ELOOP, errno.ENAMETOOLONG])
def test_whatever_the_reason_the_gate_ends_with_2_before_any_work(shop, monkeypatch, code):
    unreadable(monkeypatch, "lib/sub", code)
    done = CliRunner().invoke(main, ["gate", "lib", "--serial", "--no-cache", "--sarif", "s.sarif"])
    assert done.exit_code == 2 and "lib/sub: this folder cannot be read" in done.output
    assert os.strerror(code) in done.output and not Path("s.sarif").exists()


@pytest.mark.skipif(not hasattr(os, "geteuid") or os.geteuid() == 0, reason="the superuser reads every folder")
def test_a_folder_without_permission_is_a_fault(shop):
    Path("lib/sub").chmod(0)
    try:
        with pytest.raises(InputError, match="lib/sub: this folder cannot be read"):
            find(["lib"])
    finally:
        Path("lib/sub").chmod(0o755)


LEFT = {
    "lib/.f.nc": "hidden", "lib/.hidden/e.nc": "hidden", "lib/.hidden/deep/e.NC": "hidden", "lib/sub/.b.nc": "hidden",
    "lib/.git/x.nc": "hidden", "lib/.two words/x.nc": "hidden", "lib/..nc": "hidden",
    "lib/.hidden/.more/x.nc": "hidden",
    "lib/link": "link to a folder", "lib/sub/loop": "link to a folder", "lib/.linked": "link to a folder",
    "lib/up": "link to a folder", "lib/job/inputs/p.nc": "copy in a job folder",
    "lib/job/inputs/q.nc": "copy in a job folder", "lib/sub/job/inputs/p.nc": "copy in a job folder",
}  # fmt: skip


def test_what_is_left_out_is_named_and_nothing_else_is(shop):
    for name, why in LEFT.items():
        if why.startswith("link"):
            Path(name).symlink_to("../x" if name == "lib/link" else ".." if name == "lib/up" else ".")
            continue
        Path(name).parent.mkdir(parents=True, exist_ok=True)
        Path(name).write_text(CLEAN)
        if "job" in why:
            manifest = Path(name).parent.parent / "manifest.json"
            manifest.write_text(json.dumps({"job": "hexpost", "files": {}}))
    for name in ("lib/.notes", "lib/.hidden/readme.txt", "lib/foreign/manifest.json"):
        Path(name).parent.mkdir(parents=True, exist_ok=True)
        Path(name).write_text("{}")
    write(shop, lib__foreign__inputs__z=CLEAN)  # somebody else's manifest: these are programs
    write(shop, lib__inputs__y=CLEAN)
    done = CliRunner().invoke(main, ["gate", "lib", "--serial", "--no-cache", "--json"])
    out = json.loads(done.stdout)
    assert {x["program"]: x["why"] for x in out["left_out"]} == LEFT
    visible = {"lib/a.nc", "lib/sub/b.nc", "lib/sub/deep/c.nc", "lib/other/d.nc"}
    assert {c["program"] for c in out["cases"]} == visible | {"lib/foreign/inputs/z.nc", "lib/inputs/y.nc"}
    text = CliRunner().invoke(main, ["gate", "lib", "--serial", "--no-cache"]).stdout
    said = " ".join(text.split())
    assert "Not checked (hidden): lib/..nc, lib/.f.nc" in said and "Not checked (link to a folder): lib/.linked" in said
    assert text.splitlines()[-1] == "Checked 6 of 6 programs: 6 pass, 0 fail, 0 not understood."


def test_a_hidden_program_that_is_named_is_checked_and_not_left_out(shop):
    found = find(["lib", "lib/.f.nc", "lib/.hidden"])
    assert {"lib/.f.nc", "lib/.hidden/e.nc"} <= set(found.names) and not found.left


ODD = [b"\xff.nc", b"a\xc3.nc", b"\xe4\xf6\xfc.nc", b"x\x80y.nc", b"\xed\xa0\x80.nc", b"\xf8\x88.nc", b"caf\xe9.nc",
       b"\xc0\xaf.nc", b"sp ace\xff.nc", b"q\"\xfe'.nc", b"new\nline\xff.nc", b"\x1b[31m\xff.nc", b"<b>\xff.nc",
       b"&\xff.nc",
       b"\xff%20.nc", b"\xfeBOM.nc", b"tab\t\xff.nc", b"\xffdeep.nc", b"\x7f\xff.nc", b"-\xff.nc",
       b"plain.nc"]  # fmt: skip


@pytest.mark.parametrize("encoding", ["utf-8", "cp1252", "ascii"])
def test_names_that_are_no_text_in_shards_baselines_and_every_file(shop, monkeypatch, encoding):
    """The system takes any byte but / and NUL in a name; all of them are checked once, accepted, and pass then."""
    monkeypatch.setenv("PYTHONIOENCODING", encoding)
    Path("slow.toml").write_text(slow_struts())
    Path("odd").mkdir()
    for name in ODD:
        Path("odd", os.fsdecode(name)).write_text(FAST)
    names = find(["odd"]).names
    assert sorted(os.fsencode(n) for n in names) == sorted(b"odd/" + n for n in ODD)
    parts = [[n for n in names if Shard(index=i, count=3).has(n)] for i in (1, 2, 3)]
    assert sorted(n for p in parts for n in p) == sorted(names)

    def gate(*words):
        run = CliRunner(charset=encoding).invoke(main, ["gate", "odd", "--machine", "slow.toml", "--serial", *words])
        assert "internal" not in run.output and "Traceback" not in run.output, run.output
        return run

    files = ["--sarif", "s.sarif", "--junit", "j.xml", "--html", "p.html"]
    shards = [json.loads(gate("--json", "--shard", f"{i}/3", "--baseline", "b.json", "--update-baseline").stdout)
              for i in (1, 2, 3)]  # fmt: skip
    assert [s["checked"] for s in shards] == [len(p) for p in parts]
    accepted = gate("--baseline", "b.json", *files)
    assert accepted.exit_code == 0
    assert accepted.stdout.splitlines()[-1] == "Checked 21 of 21 programs: 21 pass, 0 fail, 0 not understood."
    json.loads(Path("s.sarif").read_bytes())
    Path("b.json").read_bytes().decode()


def test_files_that_are_no_programs_by_their_ending_are_counted(shop):
    Path("lib/left.ngc").write_text(CLEAN)
    Path("lib/sub/left.NGC").write_text(CLEAN)
    said = " ".join(CliRunner().invoke(main, ["gate", "lib", "--serial", "--no-cache"]).stdout.split())
    assert "Not looked at, by their ending: 2 .ngc; name such files, or their endings as programs in gate.toml." in said
    assert "Not looked at, by" not in CliRunner().invoke(main, ["gate", "lib/a.nc", "--serial", "--no-cache"]).stdout
