"""Conventional part programs onto six-strut machining centres.

In: a part program, and TOML files of the machine, its tools and the setup.
Out: a table of strut setpoints in time, events, reports, a manifest; or findings, or faults of the inputs.
Idea: text, words, moves, path, timing, poses, setpoints, findings. Each stage is a folder that hands columns (frozen
arrays) to the next; its ``model`` is what it hands on. Up to the timing the whole program is kept; from there on
batches of a few thousand samples flow through, so that memory does not grow with the length of the motion.
Rule: data crosses a border, functions do not; only ``pipeline.py`` calls the makers. Inside mm, s, rad.
Start with ``pipeline.py``.

``load_job``, ``audit_job``, ``write_job`` and ``read_machine`` are the door for other programs; they are imported when
they are first used, so that ``import hexpost`` costs nothing.
"""

from hexpost.version import VERSION

TYPE_CHECKING = False
"""Named as in ``typing``, which itself takes a while to import."""
if TYPE_CHECKING:
    from typing import Any

    from hexpost.door import (
        HexpostError,
        InputError,
        Job,
        Machine,
        OutputError,
        Report,
        Setpoints,
        audit_job,
        load_job,
        read_machine,
        write_job,
    )

__version__ = VERSION

__all__ = [
    "HexpostError", "InputError", "Job", "Machine", "OutputError", "Report", "Setpoints", "__version__", "audit_job",
    "load_job", "read_machine", "write_job",
]  # fmt: skip


def __getattr__(name: str) -> "Any":  # noqa: ANN401 - whatever the door offers under this name
    """Return what the door offers under a name."""
    if name not in __all__:
        raise AttributeError(f"module 'hexpost' has no attribute {name!r}")
    import importlib

    return getattr(importlib.import_module("hexpost.door"), name)


def __dir__() -> list[str]:
    """Return the names of the door."""
    return sorted(__all__)
