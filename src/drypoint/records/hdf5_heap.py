"""A look at the heaps of an HDF5 file before its library walks through them.

Words of variable length stand in heaps that name the size of each entry. A damaged size of zero,
or one that leads backwards, lets the library (as of 1.14) walk in a circle for ever.
"""

from __future__ import annotations

import mmap
from pathlib import Path

_SIGNATURE = b"GCOL\x01\x00\x00\x00"
_HEADER = 16


def sound_heaps(source: Path | bytes) -> bool:
    """Whether every heap can be walked to its end.

    Format: HDF5 File Format Specification 3.0, III.E "Global Heap" (lengths of 8 bytes).
    """
    if isinstance(source, bytes):
        return _sound(source)
    if source.stat().st_size == 0:
        return True
    with source.open("rb") as file, mmap.mmap(file.fileno(), 0, access=mmap.ACCESS_READ) as data:
        return _sound(data)


def _sound(data: bytes | mmap.mmap) -> bool:
    at = data.find(_SIGNATURE)
    while at >= 0:
        size = int.from_bytes(data[at + 8 : at + _HEADER], "little")
        # A heap that does not fit into the file is refused by the library itself.
        if at + size <= len(data) and not _walks(data[at : at + size]):
            return False
        at = data.find(_SIGNATURE, at + len(_SIGNATURE))
    return True


def _walks(heap: bytes) -> bool:
    at = _HEADER
    while at + _HEADER <= len(heap):
        index = int.from_bytes(heap[at : at + 2], "little")
        size = int.from_bytes(heap[at + 8 : at + _HEADER], "little")
        # Entry 0 is the room that is left, its own header included.
        need = size if index == 0 else _HEADER + (size + 7) // 8 * 8
        if need < _HEADER or at + need > len(heap):
            return False
        at += need
    return True
