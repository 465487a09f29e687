"""Attributes of a dataset that scale its numbers: applied, asked about, or left alone.

Packed data as in the CF conventions [cf2023], section “Packed Data”, and the netCDF user's guide:
``unpacked = packed * scale_factor + add_offset``; ``_FillValue`` and ``missing_value`` are compared
with the packed numbers. Other formats use the same names for other formulas, such as
``factor * (packed - offset)``: the names are trusted only in a file that names its convention.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from drypoint.records.layout import Column, Layout
from drypoint.records.names import take_apart

FACTORS = (
    "scale_factor", "scalefactor", "scale", "multiplier", "factor", "conversion",
    "conversion_factor", "resolution", "gain", "calibration_factor", "slope",
)  # fmt: skip
OFFSETS = ("add_offset", "addoffset", "offset", "intercept")
#: Names, in lower case, of attributes that may change numbers.
SCALING = (*FACTORS, *OFFSETS)
_CF = ("scale_factor", "add_offset")
_MISSING = ("_FillValue", "missing_value")
_NAMED = ("CF", "COARDS", "NUG")


class UnfitError(Exception):
    """A group or dataset that is no test: what is wrong, and what to do."""

    def __init__(self, what: str, remedy: str) -> None:
        super().__init__(what)
        self.what, self.remedy = what, remedy


@dataclass(frozen=True)
class Unpacked:
    """Numbers of a column, what was done to them, and attributes that nobody has settled."""

    values: NDArray[Any]
    notes: tuple[str, ...] = ()
    unsettled: tuple[str, ...] = ()


def names_convention(root: Mapping[str, Any]) -> bool:
    """Whether a file's attributes say that the netCDF conventions hold: ``Conventions`` names CF,
    COARDS or NUG, or a netCDF library wrote the file (``_NCProperties``)."""
    if "_NCProperties" in root:
        return True
    said = root.get("Conventions", "")
    if isinstance(said, np.ndarray):
        said = " ".join(map(_word, said.ravel()))
    words = _word(said).replace(",", " ").replace("/", " ").split()
    return any(w.partition("-")[0] in _NAMED for w in words)


def declared_for(layout: Layout, name: str, index: int) -> Column | None:
    """What the study file declares for a column, by its name or number (from 1)."""
    bare = take_apart(name).bare
    for column in layout.columns.values():
        if column.index is not None and column.index != index:
            continue
        if column.name is None and column.index is None:
            continue
        if column.name is not None and _squeeze(column.name) not in map(_squeeze, (name, bare)):
            continue
        return column
    return None


def unpack(
    values: NDArray[Any], attributes: Mapping[str, Any], declared: Column | None, convention: bool
) -> Unpacked:
    """The numbers of a column as its attributes and the study file say.

    Parameters
    ----------
    values : ndarray
        Numbers as stored.
    attributes : mapping
        Attributes of the dataset, those of a table as they hold for the column.
    declared : Column or None
        Its ``attributes`` is ``"apply"`` or ``"ignore"``; a ``scale`` settles them too.
    convention : bool
        The file follows the netCDF conventions (:func:`names_convention`).

    Returns
    -------
    Unpacked
        In float64 if anything was applied, else as stored.

    Raises
    ------
    UnfitError
        The attributes are to be applied, and are not one factor and one offset.
    """
    found = {k: v for k, v in attributes.items() if str(k).lower() in SCALING and not _plain(k, v)}
    kept, notes = _without_missing(values, attributes)
    if not found:
        return Unpacked(kept, notes)
    shown = tuple(f"{k} = {_shown(v)}" for k, v in found.items())
    listed = ", ".join(shown)
    asked = declared.attributes if declared is not None else None
    if asked == "ignore":
        return Unpacked(kept, (*notes, f"{listed}: not applied, as the study file says."))
    if asked is None and declared is not None and declared.scale != 1.0:
        words = f"{listed}: not applied; the study file states scale = {declared.scale:g}."
        return Unpacked(kept, (*notes, words))
    by_rule = convention and set(found) <= set(_CF) and _usable(found)
    if asked == "apply" or by_rule:
        if not _usable(found):
            raise UnfitError(
                f"invalid attributes: got {listed}; expected one number that multiplies, one that "
                "is added, or both.",
                'State scale for this column under [records.columns], or attributes = "ignore".',
            )
        why = "CF conventions, packed data" if asked is None else "as the study file says"
        return Unpacked(_applied(kept, found), (*notes, f"{_formula(found)} ({why})."))
    return Unpacked(kept, notes, shown)


def _applied(values: NDArray[Any], found: Mapping[str, Any]) -> NDArray[np.float64]:
    factor = next((_number(v) for k, v in found.items() if k.lower() in FACTORS), None)
    offset = next((_number(v) for k, v in found.items() if k.lower() in OFFSETS), None)
    out = np.asarray(values, dtype=np.float64)
    with np.errstate(all="ignore"):
        out = out * factor if factor is not None else out
        return out + offset if offset is not None else out


def _formula(found: Mapping[str, Any]) -> str:
    words = "unpacked = stored number"
    for k, v in sorted(found.items(), key=lambda one: one[0].lower() in OFFSETS):
        words += f" {'+' if k.lower() in OFFSETS else '×'} {k} ({_shown(v)})"
    return words


def _usable(found: Mapping[str, Any]) -> bool:
    """At most one factor and one offset, each one finite number, the factor not 0."""
    factors = [_number(v) for k, v in found.items() if k.lower() in FACTORS]
    offsets = [_number(v) for k, v in found.items() if k.lower() in OFFSETS]
    if len(factors) > 1 or len(offsets) > 1:
        return False
    return all(v is not None for v in (*factors, *offsets)) and 0 not in factors


def _without_missing(
    values: NDArray[Any], attributes: Mapping[str, Any]
) -> tuple[NDArray[Any], tuple[str, ...]]:
    """Numbers with NaN where ``_FillValue`` or ``missing_value`` stands."""
    for_none: list[float] = []
    for key in _MISSING:
        if key in attributes:
            try:
                given = np.asarray(attributes[key]).ravel().astype(values.dtype)
            except (TypeError, ValueError, OverflowError):
                continue
            for_none += given.tolist()
    gone = np.isin(values, for_none) if for_none else np.zeros(len(values), dtype=bool)
    if not gone.any():
        return values, ()
    keys = " and ".join(k for k in _MISSING if k in attributes)
    words = f"{int(gone.sum())} numbers are missing values by {keys} (CF conventions)."
    return np.where(gone, np.nan, np.asarray(values, dtype=np.float64)), (words,)


def _plain(key: str, value: Any) -> bool:
    """Whether an attribute changes nothing."""
    return _number(value) == (0.0 if str(key).lower() in OFFSETS else 1.0)


def _number(value: Any) -> float | None:
    """A finite number, where an attribute is one and no more."""
    try:
        given = np.asarray(value).ravel()
        number = float(given[0]) if len(given) == 1 else math.nan
    except (TypeError, ValueError):
        return None
    return number if math.isfinite(number) else None


def _shown(value: Any) -> str:
    number = _number(value)
    if number is not None:
        return f"{number:.10g}"
    given = np.asarray(value).ravel()
    return f"{len(given)} values" if len(given) > 1 else _word(value)[:40]


def _word(value: Any) -> str:
    if isinstance(value, np.ndarray):
        value = value.ravel()[0] if value.size else ""
    text = value.decode("utf-8", "replace") if isinstance(value, bytes) else str(value)
    return " ".join(text.split())


def _squeeze(text: str) -> str:
    return "".join(text.split()).casefold()
