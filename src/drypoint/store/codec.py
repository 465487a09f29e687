"""Frozen dataclasses of arrays to plain arrays and JSON, and back, for the cache.

Only dataclasses of Drypoint itself are rebuilt; anything else is refused.
"""

from __future__ import annotations

import importlib
from collections.abc import Mapping
from dataclasses import fields, is_dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from drypoint.errors import StoreError


def encode(value: Any) -> tuple[Any, dict[str, NDArray[Any]]]:
    """A tree for JSON in which arrays are replaced by their number, and the arrays."""
    arrays: dict[str, NDArray[Any]] = {}
    return _encode(value, arrays), arrays


def decode(tree: Any, arrays: Mapping[str, NDArray[Any]]) -> Any:
    """The value that :func:`encode` took apart.

    Raises
    ------
    StoreError
        When the tree names a class that is not Drypoint's.
    """
    if not isinstance(tree, dict):
        return tree
    kind = tree["k"]
    if kind == "array":
        return arrays[tree["v"]]
    if kind == "tuple":
        return tuple(decode(v, arrays) for v in tree["v"])
    if kind == "list":
        return [decode(v, arrays) for v in tree["v"]]
    if kind == "map":
        return {decode(k, arrays): decode(v, arrays) for k, v in tree["v"]}
    if kind == "float":
        return float(tree["v"])
    module, _, name = tree["c"].partition(":")
    if module.split(".")[0] != "drypoint":
        raise StoreError(f"A cache entry names “{tree['c']}”, which is not Drypoint's.")
    try:
        cls = getattr(importlib.import_module(module), name)
    except (ImportError, AttributeError) as error:
        raise StoreError(f"A cache entry names “{tree['c']}”, which is not there.") from error
    if not (isinstance(cls, type) and is_dataclass(cls)):
        raise StoreError(f"A cache entry names “{tree['c']}”, which is no record of data.")
    try:
        return cls(**{k: decode(v, arrays) for k, v in tree["v"].items()})
    except TypeError as error:
        raise StoreError(f"A cache entry was written by another version: {error}.") from error


def kept(tree: Any, arrays: Mapping[str, NDArray[Any]]) -> Any:
    """:func:`decode`, or ``None`` for an entry that this version cannot rebuild: a cache miss."""
    try:
        return decode(tree, arrays)
    except (StoreError, KeyError):
        return None


def _encode(value: Any, arrays: dict[str, NDArray[Any]]) -> Any:
    if value is None or isinstance(value, (bool, str)):
        return value
    if isinstance(value, (int, np.integer)):
        return int(value)
    if isinstance(value, (float, np.floating)):
        # repr reads back exactly, and JSON has no infinity.
        return {"k": "float", "v": repr(float(value))}
    if isinstance(value, np.ndarray):
        name = f"a{len(arrays)}"
        arrays[name] = value
        return {"k": "array", "v": name}
    if isinstance(value, (tuple, list)):
        kind = "tuple" if isinstance(value, tuple) else "list"
        return {"k": kind, "v": [_encode(v, arrays) for v in value]}
    if isinstance(value, Mapping):
        return {
            "k": "map",
            "v": [[_encode(k, arrays), _encode(v, arrays)] for k, v in value.items()],
        }
    if is_dataclass(value) and not isinstance(value, type):
        cls = type(value)
        body = {f.name: _encode(getattr(value, f.name), arrays) for f in fields(value)}
        return {"k": "data", "c": f"{cls.__module__}:{cls.__qualname__}", "v": body}
    raise StoreError(f"A value of kind {type(value).__name__} cannot be kept in the cache.")
