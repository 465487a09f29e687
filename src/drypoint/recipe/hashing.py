"""One hash for one meaning: independent of order of keys, comments and formatting."""

from __future__ import annotations

import dataclasses
import hashlib
import json
from typing import Any

import numpy as np
from pydantic import BaseModel


def canonical(value: Any) -> Any:
    """A value as plain lists, dictionaries, texts and numbers."""
    if isinstance(value, BaseModel):
        younger = getattr(type(value), "younger", ())
        fields = type(value).model_fields
        return {
            k: canonical(getattr(value, k))
            for k, f in fields.items()
            if k not in younger or getattr(value, k) != f.default
        }
    if dataclasses.is_dataclass(value) and not isinstance(value, type):
        return {f.name: canonical(getattr(value, f.name)) for f in dataclasses.fields(value)}
    if isinstance(value, dict):
        return {str(k): canonical(v) for k, v in value.items()}
    if isinstance(value, (list, tuple)):
        return [canonical(v) for v in value]
    if isinstance(value, (set, frozenset)):
        return sorted(canonical(v) for v in value)
    if isinstance(value, np.ndarray):
        return canonical(value.tolist())
    if isinstance(value, np.generic):
        return canonical(value.item())
    return value


def canonical_text(value: Any) -> str:
    """Canonical JSON of a value: sorted keys, shortest numbers, no blanks."""
    return json.dumps(canonical(value), sort_keys=True, ensure_ascii=False, separators=(",", ":"))


def canonical_hash(value: Any) -> str:
    """SHA-256 of the canonical JSON: of options, a bench, a recipe or decisions."""
    return hashlib.sha256(canonical_text(value).encode("utf-8")).hexdigest()
