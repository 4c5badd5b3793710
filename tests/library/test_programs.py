"""Folders, files, patterns and lists stand for programs; patterns of the policy."""

import os

import pytest
from library.shop import CLEAN, write

from hexpost.errors import InputError
from hexpost.library.changed import changed_only, read_list
from hexpost.library.gate import Shard, select
from hexpost.library.patterns import fits
from hexpost.library.programs import find as found


def find(paths):
    return list(found(paths).names)


@pytest.fixture
def shop(tmp_path, monkeypatch):
    write(tmp_path, a=CLEAN, sub__b=CLEAN, sub__deep__c=CLEAN)
    (tmp_path / "sub" / "UPPER.NC").write_text(CLEAN)
    (tmp_path / "sub" / "notes.txt").write_text("")
    (tmp_path / ".git").mkdir()
    (tmp_path / ".git" / "x.nc").write_text("")
    monkeypatch.chdir(tmp_path)
    return tmp_path


def test_a_folder_stands_for_its_programs_at_any_depth(shop):
    assert find(["."]) == ["a.nc", "sub/UPPER.NC", "sub/b.nc", "sub/deep/c.nc"]
    assert find([str(shop)]) == find(["."])
    assert find(["sub", "a.nc", "./a.nc", "sub/b.nc"]) == find(["."])


def test_a_file_stands_for_itself_whatever_its_name(shop):
    assert find(["sub/notes.txt"]) == ["sub/notes.txt"]


def test_files_that_are_passed_over_are_counted_by_their_ending(shop):
    for name in ("b.NGC", "sub/c.ngc", "README", ".hidden.txt", "sub/d.tar.gz"):
        (shop / name).write_text("")
    assert dict(found([".", "sub"]).others) == {".ngc": 2, "": 1, ".gz": 1, ".txt": 1}
    assert dict(found(["sub", "sub/notes.txt"]).others) == {".gz": 1, ".ngc": 1}
    assert not found(["sub/*.nc"]).others


def test_patterns_stand_for_what_fits(shop):
    assert find(["sub/*.nc"]) == ["sub/b.nc"]
    assert find(["**/*.nc"]) == ["a.nc", "sub/b.nc", "sub/deep/c.nc"]
    assert find(["s*"]) == ["sub/UPPER.NC", "sub/b.nc", "sub/deep/c.nc"]


def test_what_names_nothing_is_refused_all_in_one(shop):
    with pytest.raises(InputError) as e:
        find(["no.nc", "a.nc", "x*.nc", ""])
    assert [f.file for f in e.value.faults] == ["no.nc", "x*.nc", ""]


def test_programs_elsewhere_keep_their_whole_path(shop, tmp_path_factory):
    other = tmp_path_factory.mktemp("other")
    write(other, z=CLEAN)
    assert find([str(other)]) == [str(other / "z.nc")]


def test_lists_may_end_lines_in_any_way():
    assert read_list(b"a.nc\nb c.nc\r\n\n") == ["a.nc", "b c.nc"]
    assert read_list(b"a\nb.nc\0c.nc\0") == ["a\nb.nc", "c.nc"]
    assert os.fsencode(read_list(b"\xff.nc")[0]) == b"\xff.nc"


def test_changed_programs_and_those_whose_files_changed(shop):
    inputs = {"a.nc": ("m1.toml",), "sub/b.nc": ("m2.toml",)}
    names = list(inputs)
    (shop / "m1.toml").touch()
    few = changed_only(names, ["sub/b.nc", "sub/notes.txt", "gone.nc"], inputs, ["."])
    assert (few.names, few.entries, few.elsewhere, few.missing) == (("sub/b.nc",), 3, 1, ("gone.nc",))
    assert changed_only(names, ["./m1.toml"], inputs, ["."]).names == ("a.nc",)
    assert changed_only(names, [], inputs, ["."]).names == ()


def test_shards_share_the_library_out():
    names = [f"p{i}.nc" for i in range(200)]
    parts = [select(names, Shard(index=i, count=3)) for i in (1, 2, 3)]
    assert sorted(n for p in parts for n in p) == sorted(names)
    assert all(40 < len(p) < 95 for p in parts)
    assert select(names, None) == names


@pytest.mark.parametrize(
    ("path", "pattern", "yes"),
    [
        ("a/b.nc", "*.nc", True), ("a/b.nc", "a/*.nc", True), ("a/b/c.nc", "a/*.nc", False),
        ("a/b/c.nc", "a/**", True), ("a/c.nc", "a/**/c.nc", True), ("a/x/y/c.nc", "a/**/c.nc", True),
        ("ab.nc", "a?.nc", True), ("a/.nc", "a?.nc", False), ("a+b.nc", "a+b.nc", True), ("axb.nc", "a.b.nc", False),
        ("x/a.nc", "./x/a.nc", True),
    ],
)  # fmt: skip
def test_patterns(path, pattern, yes):
    assert fits(path, pattern) is yes
