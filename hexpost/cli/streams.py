"""Standard output and standard error that are closed, full, no longer read, or cannot hold every character."""

import codecs
import errno
import io
import os
import sys
from contextlib import suppress
from pathlib import Path

_OF_STREAMS = {errno.EPIPE, errno.ENOSPC, errno.EIO, errno.EBADF, errno.EFBIG, errno.EDQUOT}


class _Ascii(io.TextIOWrapper):
    """A stream that asked for ASCII and gets it: one that calls itself so, click would turn into UTF-8."""

    encoding = "escaped ASCII"


def open_streams() -> None:
    """Put the null device where a stream was closed before the start: what is said goes nowhere, and nothing fails.

    Characters that the encoding of a stream does not hold are escaped (JSON holds ASCII alone).
    """
    for name, mode in (("stdin", "r"), ("stdout", "w"), ("stderr", "w")):
        if getattr(sys, name) is None:
            setattr(sys, name, Path(os.devnull).open(mode, encoding="utf-8"))  # noqa: SIM115 - open to the end
    for name in ("stdout", "stderr"):
        stream = getattr(sys, name)
        if isinstance(stream, io.TextIOWrapper):
            stream.reconfigure(errors="backslashreplace")
            if codecs.lookup(stream.encoding).name == "ascii":
                setattr(sys, name, _Ascii(stream.detach(), "ascii", "backslashreplace"))


def flush_streams() -> str:
    """Write what still waits; return why standard output could not take it, or nothing.

    A stream that fails leads to the null device from then on, so that the interpreter's own last flush does not fail.
    """
    refusal = ""
    for stream in (sys.stdout, sys.stderr):
        try:
            stream.flush()
        except (OSError, ValueError) as error:
            if stream is sys.stdout:
                refusal = (isinstance(error, OSError) and error.strerror) or str(error)
            with suppress(OSError, ValueError):
                null = os.open(os.devnull, os.O_WRONLY)
                os.dup2(null, stream.fileno())
                os.close(null)
    return refusal


def is_of_a_stream(error: Exception) -> bool:
    """Return whether a fault of the system came from a stream: those of files have their names."""
    return isinstance(error, OSError) and error.filename is None and error.errno in _OF_STREAMS


def refusal_of(error: OSError) -> str:
    """Return what the system refused, in a sentence."""
    try:
        Path.cwd()
    except OSError:
        return "hexpost: the folder that it was started in is gone; change to another one"
    return f"hexpost: the system refused something that this run needs: {error}"
