"""Lists of changed files: as git prints them (its own output is the authority), and as anybody may send them."""

import json
import os
import shutil
import subprocess
import unicodedata

import pytest
from click.testing import CliRunner
from hypothesis import given, settings
from hypothesis import strategies as st
from library.shop import CLEAN, stocked, write

from hexpost.cli import main
from hexpost.library.changed import bases, changed_only, read_list
from hexpost.library.programs import find

GIT = shutil.which("git")
NAMES = [
    b"plain.nc", "träger.nc".encode(), "Gehäuse Ø40.nc".encode(), b"two words.nc", b" leading.nc", b"tab\there.nc",
    b"line\nend.nc", b"carriage\rreturn.nc", b'quo"ted.nc', b'"whole".nc', b"back\\slash.nc", b"octal\\303\\244.nc",
    b"latin\xe4.nc", b"\xff\xfe.nc", b"bell\x07.nc", b"del\x7f.nc", b"-dash.nc", b"#hash.nc", b"star*.nc", b"a?b[c].nc",
    "零件.nc".encode(), "\U0001f529.nc".encode(), unicodedata.normalize("NFD", "Nürnberg.nc").encode(), b"'single'.nc",
    b"M\tstatus.nc", b"~tilde.nc", b"per%20cent.nc", b"$(x).nc",
]  # fmt: skip


def git(*words, cwd):
    own = ["-c", "user.name=a", "-c", "user.email=a@b.c", "-c", "init.defaultBranch=main"]
    return subprocess.run([GIT, *own, *words], cwd=cwd, capture_output=True, check=True).stdout


@pytest.fixture
def repository(tmp_path, monkeypatch):
    root = tmp_path / "repository"
    (root / "parts" / "deep").mkdir(parents=True)
    for name in NAMES:
        for folder in ("parts", "parts/deep"):
            (root / folder / os.fsdecode(name)).write_text(CLEAN)
    (root / "README").write_text("none")
    git("init", "-q", cwd=root)
    git("add", "-A", cwd=root)
    monkeypatch.chdir(root)
    return root


@pytest.mark.skipif(GIT is None, reason="no git")
@pytest.mark.parametrize("words", [["-z"], [], ["--relative"], ["-z", "--relative"]], ids=" ".join)
@pytest.mark.parametrize("quoted", ["true", "false"])
@pytest.mark.parametrize("folder", [".", "parts", "parts/deep"])
def test_every_name_that_git_prints_is_found(repository, monkeypatch, words, quoted, folder):
    """28 names, in two folders, listed from three: by lines or with NUL, quoted or not, from here or from the root."""
    monkeypatch.chdir(repository / folder)
    text = git("-c", f"core.quotePath={quoted}", "diff", "--cached", "--name-only", *words, cwd=".")
    names = find(["."]).names
    assert len(names) == len(NAMES) * (1 if folder == "parts/deep" else 2)
    result = changed_only(names, read_list(text), dict.fromkeys(names, ()), bases(["."]))
    assert (set(result.names), result.missing) == (set(names), ())
    relative = "--relative" in words
    assert result.elsewhere == (0 if relative and folder != "." else result.entries - len(names))


@pytest.mark.skipif(GIT is None, reason="no git")
def test_one_changed_program_is_one_whatever_its_name(repository):
    names = find(["parts"]).names
    git("-c", "core.hooksPath=/dev/null", "commit", "-qm", "all", cwd=repository)
    for name in NAMES:
        path = repository / "parts" / os.fsdecode(name)
        path.write_text(CLEAN + "(more)\n")
        for words in (["-z"], []):
            text = git("diff", "--name-only", *words, cwd=repository)
            result = changed_only(names, read_list(text), dict.fromkeys(names, ()), bases(["parts"]))
            assert result.names == ("parts/" + os.fsdecode(name),)
        path.write_text(CLEAN)


@pytest.mark.skipif(GIT is None, reason="no git")
def test_a_repository_in_a_repository_and_a_library_elsewhere(repository, tmp_path, monkeypatch):
    inner = repository / "parts" / "inner"
    write(inner, x__a=CLEAN)
    git("init", "-q", cwd=inner)
    monkeypatch.chdir(inner / "x")
    for entry in ("parts/inner/x/a.nc", "x/a.nc", "a.nc", "parts/inner", "x"):
        assert changed_only(["a.nc"], [entry], {"a.nc": ()}, bases(["."])).names == ("a.nc",), entry
    monkeypatch.chdir(tmp_path)
    name = "repository/parts/plain.nc"
    assert changed_only([name], ["parts/plain.nc"], {name: ()}, bases(["repository/parts"])).names == (name,)


SIMPLE = {7: "a", 8: "b", 9: "t", 10: "n", 11: "v", 12: "f", 13: "r", 34: '"', 92: "\\"}


@settings(max_examples=60, deadline=None)
@given(st.lists(st.binary(min_size=1, max_size=12).filter(lambda b: b"\0" not in b), min_size=1, max_size=6), st.data())
def test_any_name_comes_back_from_its_quotation(names, data):
    """Strings of C (ISO/IEC 9899, 6.4.4.4), each byte written in any way that the standard allows."""
    rows = []
    for name in names:
        row = '"'
        for byte in name:
            plain = chr(byte) if 32 < byte < 127 and byte not in SIMPLE else None
            ways = [f"\\{byte:03o}", *([f"\\{SIMPLE[byte]}"] if byte in SIMPLE else []), *([plain] if plain else [])]
            row += data.draw(st.sampled_from(ways))
        rows.append(row + '"')
    end = data.draw(st.sampled_from(["\n", "\r\n"]))
    assert [os.fsencode(x) for x in read_list(end.join(rows).encode())] == names
    kept = [b"x" + name for name in names]
    assert [os.fsencode(x) for x in read_list(b"\0".join(kept) + b"\0")] == kept


@pytest.fixture
def shop(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    (tmp_path / "README").touch()
    return stocked(tmp_path, lib__a=CLEAN, lib__b=CLEAN)


def gate(*words, text=b""):
    return CliRunner().invoke(main, ["gate", "lib", "--serial", "--no-cache", *words], input=text, prog_name="hexpost")


NOTHING = [
    b"", b"\n", b"\r\n", b"\n\n\n", b"\0", b"\0\0\0", b"   \n", b"\t\n", b"\xef\xbb\xbf", "\ufeff".encode("utf-16-le"),
    b"gone.nc\n", b"lib/gone.nc\0", b"lib/gone.nc\nlib/also gone.nc\n", b"M\tlib/a.nc\n", b"A  lib/a.nc\n",
    b"R100\tlib/a.nc\tlib/b.nc\n", b" M lib/a.nc\n", b'"lib/a.nc\n', b"'lib/a.nc'\n", b"lib/A.NC\n", b"lib\\a.nc\n",
    b"a/lib/a.nc\n", b"/lib/a.nc\n", b"../nowhere/lib/a.nc\n", b"lib/a.nc lib/b.nc\n", b"lib/a.n\n", b"lib/a.nc/\n",
    b"\xff\xff.nc\n", b'"\\777\\n"\n',
]  # fmt: skip


@pytest.mark.parametrize("text", NOTHING)
def test_a_list_without_a_file_that_is_there_is_no_green(shop, text):
    done = gate("--changed", text=text)
    assert done.exit_code == 2 and "Checked 0 of 2 programs" in done.output and "--allow-empty" in done.output
    assert "Traceback" not in done.output and done.stdout == ""
    allowed = gate("--changed", "--allow-empty", text=text)
    assert allowed.exit_code == 0
    assert allowed.stdout.splitlines()[-1] == "Checked 0 of 2 programs: 0 pass, 0 fail, 0 not understood."


def test_letters_before_names_are_explained(shop):
    assert "give names alone" in gate("--changed", text=b"M\tlib/a.nc\n").output
    assert "give names alone" not in gate("--changed", text=b"gone.nc\n").output


@pytest.mark.parametrize(
    ("text", "names", "elsewhere", "missing"),
    [
        (b"lib/a.nc", ["lib/a.nc"], 0, []), (b"./lib/a.nc\r\n", ["lib/a.nc"], 0, []),
        (b"lib/a.nc\n./lib/a.nc\n", ["lib/a.nc"], 0, []), (b"lib/a.nc\0README\0", ["lib/a.nc"], 1, []),
        (b"lib/a.nc\nlib/gone.nc\nx y\n", ["lib/a.nc"], 0, ["lib/gone.nc", "x y"]),
        (b"README\n", [], 1, []), (b"lib\n", ["lib/a.nc", "lib/b.nc"], 0, []),
        (b"lib/\n", ["lib/a.nc", "lib/b.nc"], 0, []),
        (b"slow.toml\n", ["lib/a.nc", "lib/b.nc"], 0, []), (b'"lib/\\141.nc"\n', ["lib/a.nc"], 0, []),
        ("lib/a.nc\n".encode("utf-16"), ["lib/a.nc"], 0, []), (b"\xef\xbb\xbflib/a.nc\n", ["lib/a.nc"], 0, []),
        ("lib/a.nc\r\nREADME\r\n".encode("utf-16-be").join([b"\xfe\xff", b""]), ["lib/a.nc"], 1, []),
        (b"/dev/null\nlib/b.nc\n", ["lib/b.nc"], 1, []), (b"lib/../lib/b.nc\n", ["lib/b.nc"], 0, []),
        (b"lib/b.nc\nlib/b.nc\nlib/b.nc\n", ["lib/b.nc"], 0, []), (b"\n\nlib/b.nc\n\n", ["lib/b.nc"], 0, []),
    ],
)  # fmt: skip
def test_what_a_list_means_is_counted_in_every_way(shop, text, names, elsewhere, missing):
    done = gate("--changed", "--machine", "slow.toml", "--json", text=text)
    out = json.loads(done.stdout)
    assert done.exit_code == 0 and [c["program"] for c in out["cases"]] == names
    assert (out["checked"], out["programs"], out["listed_elsewhere"]) == (len(names), 2, elsewhere)
    assert out["listed_missing"] == missing
    assert out["listed"] == len(set(read_list(text)))
