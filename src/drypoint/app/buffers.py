"""Curves on their way to a page: one buffer of 32-bit floats with a short head in JSON.

Four bytes say how long the head is (little-endian), then come the head, blanks up to a multiple of
four bytes, and the arrays one behind the other. The head names each array with its place:
``{"arrays": {"x": {"start": 0, "length": 10, "type": "f4"}}, ...}``; ``start`` counts bytes from
the first array.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from typing import Any

import numpy as np
from numpy.typing import ArrayLike

MEDIA_TYPE = "application/octet-stream"


def pack(arrays: Mapping[str, ArrayLike], more: Mapping[str, Any] | None = None) -> bytes:
    """Arrays (numbers as float32, whole numbers as int32) and plain values as one buffer."""
    places, parts, start = {}, [], 0
    for name, values in arrays.items():
        array = np.asarray(values)
        kind = "i4" if array.dtype.kind in "iub" else "f4"
        data = np.ascontiguousarray(array, dtype=f"<{kind}").tobytes()
        places[name] = {"start": start, "length": array.size, "type": kind}
        parts.append(data)
        start += len(data)
    head = json.dumps({**(more or {}), "arrays": places}, ensure_ascii=False).encode("utf-8")
    head += b" " * (-len(head) % 4)
    return b"".join([len(head).to_bytes(4, "little"), head, *parts])


def unpack(data: bytes) -> tuple[dict[str, np.ndarray], dict[str, Any]]:
    """The arrays and values of a buffer (what a page does, in Python)."""
    size = int.from_bytes(data[:4], "little")
    head = json.loads(data[4 : 4 + size])
    body = memoryview(data)[4 + size :]
    arrays = {}
    for name, p in head.pop("arrays").items():
        chunk = body[p["start"] : p["start"] + 4 * p["length"]]
        arrays[name] = np.frombuffer(chunk, dtype=f"<{p['type']}")
    return arrays, head
