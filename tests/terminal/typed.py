"""Commands typed at a terminal that is there only for the test: a pair of pseudo-terminals (pty(7))."""

import fcntl
import os
import pty
import re
import struct
import sys
import termios

COLOUR = re.compile(r"\x1b\[[0-9;]*m")
VARIABLES = ("COLUMNS", "NO_COLOR", "FORCE_COLOR", "_HEXPOST_COMPLETE")
UNTRIED = "from hexpost import advised; advised.MOST_TRIED = 0; from hexpost.__main__ import run; run()"
"""Trials of advised feeds are left out: they take seconds for each job that breaks a limit."""


def typed(words, width, folder, **environment):
    """Run a command at a terminal of this width; return its exit code and all that the terminal took."""
    ours, theirs = pty.openpty()
    fcntl.ioctl(theirs, termios.TIOCSWINSZ, struct.pack("HHHH", 24, width, 0, 0))
    kept = {k: v for k, v in os.environ.items() if k not in VARIABLES}
    child = os.fork()
    if child == 0:
        os.login_tty(theirs) if hasattr(os, "login_tty") else lead(ours, theirs)
        os.chdir(folder)
        os.execve(sys.executable, [sys.executable, "-c", UNTRIED, *words], {**kept, "TERM": "xterm", **environment})
    os.close(theirs)
    said = b"".join(iter(lambda: taken(ours), b""))
    os.close(ours)
    return os.waitstatus_to_exitcode(os.waitpid(child, 0)[1]), said.decode().replace("\r\n", "\n")


def lead(ours, theirs):
    """Make a terminal that of this process."""
    os.close(ours)
    os.setsid()
    fcntl.ioctl(theirs, termios.TIOCSCTTY, 0)
    for stream in (0, 1, 2):
        os.dup2(theirs, stream)
    os.close(theirs)


def taken(terminal):
    """Return the next that a terminal took; nothing when everybody has left it."""
    try:
        return os.read(terminal, 65536)
    except OSError:
        return b""


def plain(said):
    """Return what was said without its colours, and without what was rewritten in place."""
    return re.sub(r"(?:\r[^\n\r]*\x1b\[K)+", "", COLOUR.sub("", said))
