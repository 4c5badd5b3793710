"""``hexpost`` and ``python -m hexpost``; an interruption at any moment ends without a traceback, and tidies up."""

import os
import signal
import sys

TYPE_CHECKING = False
"""Named as in ``typing``, whose own imports take a while in which an interruption would be a traceback."""
if TYPE_CHECKING:
    from sys import UnraisableHookArgs
    from types import FrameType

SOON_S = 0.01


def run() -> None:
    """Run the command line; what is interrupted before it can say so itself ends with 130 as well.

    A request to end (SIGTERM) is an interruption; afterwards the process ends by that signal, as it would have at once.
    """
    told: list[int] = []

    def end(number: int, _: "FrameType | None") -> None:
        signal.signal(number, signal.SIG_IGN)
        told.append(number)
        raise KeyboardInterrupt

    try:
        _keep_streams_apart()
        _leave_with(2)  # unless a command has come to its end
        if signal.getsignal(signal.SIGTERM) == signal.SIG_DFL:
            signal.signal(signal.SIGTERM, end)
        sys.unraisablehook = _not_lost
        from hexpost.cli import main

        main(prog_name="hexpost")
    except KeyboardInterrupt:
        _leave_with(130)
        sys.exit(130)
    except SystemExit as done:
        _leave_with(done.code if isinstance(done.code, int) else 2)
        raise
    except Exception as error:  # noqa: BLE001 - 1, which Python would end with, means a broken limit
        _say(error)
        sys.exit(2)
    finally:
        signal.signal(signal.SIGINT, signal.SIG_IGN)  # the code is known, and leaving takes a moment
        if told and os.name == "posix":
            signal.signal(told[0], signal.SIG_DFL)
            signal.raise_signal(told[0])


def _keep_streams_apart() -> None:
    """Let no file or pipe take the number of a standard stream that is closed: workers put theirs away by number."""
    for number in (0, 1, 2):
        try:
            os.fstat(number)
        except OSError:
            os.set_inheritable(os.open(os.devnull, os.O_RDWR), True)


def _leave_with(code: int) -> None:
    """Have the process leave with this code, whoever ends it: linear algebra without memory leaves with 1 by itself.

    What is registered last with the C library runs first, and ``_exit`` lets nothing run after it; a C library without
    ``__cxa_atexit`` keeps the code of whoever ends the process.
    """
    import ctypes

    library = ctypes.CDLL(None)
    register, leave = getattr(library, "__cxa_atexit", None), getattr(library, "_exit", None)
    if register and leave:
        register(leave, ctypes.c_void_p(code), None)


def _not_lost(told: "UnraisableHookArgs") -> None:
    """Interrupt again, a moment later, where an interruption fell into what can raise nothing and was dropped there."""
    if told.exc_type is KeyboardInterrupt:
        from threading import Timer

        Timer(SOON_S, os.kill, (os.getpid(), signal.SIGINT)).start()
    else:
        sys.__unraisablehook__(told)


def _say(error: Exception) -> None:
    """Say in a sentence what met a run before or after it could say so itself; the traceback is there on demand."""
    if os.environ.get("HEXPOST_TRACEBACK"):
        sys.excepthook(type(error), error, error.__traceback__)
    said = f"hexpost: cannot go on ({type(error).__name__}: {error}); nothing can be trusted of this run\n"
    try:
        os.write(2, said.encode("utf-8", "backslashreplace"))
    except OSError:
        return


if __name__ == "__main__":
    run()
