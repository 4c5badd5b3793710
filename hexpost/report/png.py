"""Pictures of a few colours as PNG, in a form that stands inside a page (ISO/IEC 15948)."""

import struct
import zlib
from base64 import b64encode
from collections.abc import Sequence

import numpy as np

from hexpost.arrays import Codes


def png(cells: Codes, colours: Sequence[str]) -> bytes:
    """Return an image of ``cells`` (rows, columns): 0 is transparent, k is colour k - 1 (``#rrggbb``)."""
    rows, columns = cells.shape
    head = struct.pack(">IIBBBBB", columns, rows, 8, 3, 0, 0, 0)
    palette = bytes(3) + b"".join(bytes.fromhex(c[1:]) for c in colours)
    raw = np.zeros((rows, columns + 1), dtype=np.uint8)
    raw[:, 1:] = cells
    chunks = ((b"IHDR", head), (b"PLTE", palette), (b"tRNS", b"\0"), (b"IDAT", zlib.compress(raw.tobytes(), 9)))
    return b"\x89PNG\r\n\x1a\n" + b"".join(_chunk(k, d) for k, d in (*chunks, (b"IEND", b"")))


def data_uri(image: bytes) -> str:
    """Return an image as the address of itself."""
    return "data:image/png;base64," + b64encode(image).decode()


def thickened(cells: Codes, level: int) -> Codes:
    """Return ``cells`` with everything of at least ``level`` grown by a cell each way, so that one cell is seen."""
    grown = np.pad(np.where(cells >= level, cells, 0), 1)
    for axis in (0, 1):
        grown = np.maximum(grown, np.maximum(np.roll(grown, 1, axis), np.roll(grown, -1, axis)))
    out: Codes = np.maximum(cells, grown[1:-1, 1:-1])
    return out


def _chunk(kind: bytes, data: bytes) -> bytes:
    return struct.pack(">I", len(data)) + kind + data + struct.pack(">I", zlib.crc32(kind + data))
