"""The JSON document of a run that cannot go on; one line, so that it also stands among documents of a line each."""

from hexpost.cli.documents import SCHEMA_VERSION
from hexpost.errors import Fault, HexpostError, InputError, OutputError

NAMES = ("file", "line", "column", "key", "code", "what", "text", "hint", "count")
"""What is told of each fault."""


def error_document(error: HexpostError) -> dict[str, object]:
    """Return the document of an error: all faults of an input; else one, with the message, that names no file."""
    if isinstance(error, InputError):
        return _document(str(error), error.total, [_fault(f) for f in error.faults])
    return _alone(str(error), "output" if isinstance(error, OutputError) else "run")


def usage_document(message: str) -> dict[str, object]:
    """Return the document of a command line that is not understood."""
    return _alone(message, "usage")


def _alone(message: str, code: str) -> dict[str, object]:
    return _document(message, 1, [_fault(Fault(file="", what=message, code=code)) | {"file": None}])


def _document(message: str, total: int, faults: list[dict[str, object]]) -> dict[str, object]:
    return {
        "schema_version": SCHEMA_VERSION,
        "verdict": "error",
        "message": message,
        "faults_total": total,
        "faults": faults,
    }


def _fault(fault: Fault) -> dict[str, object]:
    return {name: getattr(fault, name) for name in NAMES}
