"""One output breaks after the work has begun: the others are written, nothing of anybody is lost, the code is 2."""

import errno
import os
import shutil
from pathlib import Path

import pytest
from attack.faults import left_over
from attack.jobs import SHORT, content
from click.testing import CliRunner

from hexpost.cli import gate_run, main

OTHERS = {"--junit": "g.xml", "--html": "g.html", "--baseline": "b.json"}
CODES = (errno.EIO, errno.ENOSPC, errno.EDQUOT, errno.EROFS, errno.EACCES, errno.ESTALE)


def _failing(operation, code):
    """Return what makes an operation fail on the one output, or on what is written beside its place."""

    def act(monkeypatch, target):
        plain = getattr(os, operation)

        def broken(what, *more, **named):
            path = Path(f"/proc/self/fd/{what}").readlink() if isinstance(what, int) else Path(what)
            if "g.sarif" in path.name and (operation != "open" or more[0] & os.O_CREAT):
                raise OSError(code, os.strerror(code), str(path))
            return plain(what, *more, **named)

        monkeypatch.setattr(os, operation, broken)

    return act


def _now(change):
    return lambda _, target: change(target)


def _folder_goes(target):
    shutil.rmtree(target.parent)


def _folder_is_a_file(target):
    _folder_goes(target)
    target.parent.write_text("mine")


def _folder_is_a_broken_link(target):
    _folder_goes(target)
    target.parent.symlink_to("nowhere")


def _folder_is_a_link_to_itself(target):
    _folder_goes(target)
    target.parent.symlink_to(target.parent.name)


CHANGES = {
    "its folder goes": _folder_goes,
    "its folder becomes a file": _folder_is_a_file,
    "its folder becomes a broken link": _folder_is_a_broken_link,
    "its folder becomes a link to itself": _folder_is_a_link_to_itself,
    "it becomes a folder": lambda p: (p.mkdir(), (p / "mine").write_text("mine")),
    "it becomes a link to an input": lambda p: p.symlink_to("../p.nc"),
    "it becomes a broken link": lambda p: p.symlink_to("nowhere"),
    "it becomes a pipe": os.mkfifo,
    "somebody writes a letter there": lambda p: p.write_text("Dear Maria,\n"),
    "somebody writes a program there": lambda p: p.write_text(SHORT),
    "somebody writes other JSON there": lambda p: p.write_text('{"version": 3}'),
    "somebody writes bytes there": lambda p: p.write_bytes(b"PK\x03\x04\x00\x00"),
}
WAYS = {
    **{f"{operation}: {errno.errorcode[code]}": _failing(operation, code)
       for operation in ("open", "fsync", "replace") for code in CODES},
    **{name: _now(change) for name, change in CHANGES.items()},
}  # fmt: skip


@pytest.fixture
def shop(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    (tmp_path / "p.nc").write_text(SHORT)
    (tmp_path / "out").mkdir()
    return tmp_path


@pytest.mark.skipif(os.name != "posix", reason="links and pipes")
@pytest.mark.parametrize("way", WAYS)
def test_one_output_that_breaks_takes_nothing_along(shop, monkeypatch, way):
    plain, target = gate_run.gate, shop / "out" / "g.sarif"
    there = {}

    def worked(*given, **named):
        found = plain(*given, **named)
        WAYS[way](monkeypatch, target)
        there.update(content(shop))
        return found

    monkeypatch.setattr(gate_run, "gate", worked)
    words = ["gate", "p.nc", "--serial", "--no-cache", "--sarif", "out/g.sarif", "--update-baseline"]
    done = CliRunner().invoke(main, [*words, *(x for pair in OTHERS.items() for x in pair)])
    monkeypatch.undo()
    assert done.exit_code == 2, done.output
    assert "out/g.sarif" in done.stderr and "internal fault" not in done.output
    assert "1 pass" in done.stdout
    now = content(shop)
    assert all(now.pop(name) for name in OTHERS.values())
    assert now == there
    assert left_over(shop) == []
