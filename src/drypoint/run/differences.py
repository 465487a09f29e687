"""What differs between two tables, or two summaries, that should be the same. Pure."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
import polars as pl
from numpy.typing import NDArray

#: Largest difference in units of the standard uncertainty, and relative, that another processor
#: or library may cause. Measured between machines: 1e-13 to 1e-5 relative (common practice).
IN_U, RELATIVE = 1e-3, 1e-5
#: Values below this share of a column's largest count as zero in a relative difference.
_SMALL = 1e-6


@dataclass(frozen=True)
class Difference:
    """A column of a table (or a place in a summary) whose values differ.

    ``rows`` counts them; ``in_u`` is the largest difference in units of the column's standard
    uncertainty (``None`` where it has none), ``relative`` the largest relative one (infinite
    where a value is missing or is no number). ``what`` says what differs otherwise.
    """

    table: str
    column: str
    rows: int
    in_u: float | None
    relative: float
    what: str = ""

    @property
    def within(self) -> bool:
        """Whether another processor or library explains it."""
        if self.in_u is not None and self.in_u > IN_U:
            return False
        return self.relative <= RELATIVE

    @property
    def words(self) -> str:
        """Where, and how large."""
        place = f"{self.table}: {self.column}" if self.column else self.table
        if self.what:
            return f"{place} {self.what}"
        size = f"{self.relative:.2g} relative" if np.isfinite(self.relative) else "other values"
        if self.in_u is not None and np.isfinite(self.in_u):
            size = f"{self.in_u:.2g} u, {size}"
        return f"{place} differs in {self.rows} row{'s' if self.rows != 1 else ''} (up to {size})"


def table_differences(name: str, ours: pl.DataFrame, theirs: pl.DataFrame) -> list[Difference]:
    """Compare two tables column by column.

    Parameters
    ----------
    name : str
        Name of the table.
    ours : polars.DataFrame
        As computed now; gives the uncertainties (columns ``u_NAME``).
    theirs : polars.DataFrame
        As it lies on the disk.
    """
    if ours.height != theirs.height:
        return [_other(name, "", f"has {theirs.height} rows; expected {ours.height}")]
    out = [_other(name, c, "is missing") for c in ours.columns if c not in theirs.columns]
    out += [_other(name, c, "is additional") for c in theirs.columns if c not in ours.columns]
    for c in ours.columns:
        if c not in theirs.columns:
            continue
        a, b = ours[c], theirs[c]
        if a.dtype.is_numeric() and b.dtype.is_numeric():
            u = f"u_{c}"
            sd = _floats(ours[u]) if u in ours.columns and ours[u].dtype.is_numeric() else None
            found = _numbers(name, c, _floats(a), _floats(b), sd)
        else:
            found = _texts(name, c, a, b)
        out += [found] if found is not None else []
    if not out and ours.columns != theirs.columns:
        out.append(_other(name, "", "has its columns in another order"))
    return out


def value_differences(name: str, ours: Any, theirs: Any, at: str = "") -> list[Difference]:
    """Compare two JSON values; numbers by their relative difference."""
    if isinstance(ours, Mapping) and isinstance(theirs, Mapping):
        out = []
        for k in sorted({*ours, *theirs}):
            place = f"{at}.{k}" if at else str(k)
            if k not in theirs:
                out.append(_other(name, place, "is missing"))
            elif k not in ours:
                out.append(_other(name, place, "is additional"))
            else:
                out += value_differences(name, ours[k], theirs[k], place)
        return out
    if isinstance(ours, list) and isinstance(theirs, list) and len(ours) == len(theirs):
        pairs = enumerate(zip(ours, theirs, strict=True))
        return [d for i, (a, b) in pairs for d in value_differences(name, a, b, f"{at}[{i}]")]
    if _is_number(ours) and _is_number(theirs):
        a, b = np.array([float(ours)]), np.array([float(theirs)])
        found = _numbers(name, at, a, b, None)
        return [found] if found is not None else []
    return [] if ours == theirs else [_other(name, at, f"is {theirs!r}; expected {ours!r}")]


def _numbers(
    name: str,
    column: str,
    a: NDArray[np.float64],
    b: NDArray[np.float64],
    u: NDArray[np.float64] | None,
) -> Difference | None:
    same = (a == b) | (np.isnan(a) & np.isnan(b))
    if same.all():
        return None
    x, y = a[~same], b[~same]
    with np.errstate(all="ignore"):
        gap = np.abs(x - y)
        top = np.nanmax(np.abs(np.where(np.isfinite(a), a, np.nan)), initial=0.0)
        scale = np.maximum(np.maximum(np.abs(x), np.abs(y)), _SMALL * top)
        relative = np.where(np.isfinite(gap), gap / scale, np.inf)
        in_u = None
        if u is not None:
            s = u[~same]
            known = np.isfinite(s) & (s > 0)
            if known.any():
                ratio = np.where(np.isfinite(gap), gap / s, np.inf)[known]
                in_u = float(ratio.max())
    return Difference(name, column, int((~same).sum()), in_u, float(relative.max()))


def _texts(name: str, column: str, a: pl.Series, b: pl.Series) -> Difference | None:
    unequal = sum(x != y for x, y in zip(a.to_list(), b.to_list(), strict=True))
    return Difference(name, column, unequal, None, np.inf) if unequal else None


def _other(name: str, column: str, what: str) -> Difference:
    return Difference(name, column, 0, None, np.inf, what)


def _floats(s: pl.Series) -> NDArray[np.float64]:
    return s.cast(pl.Float64).fill_null(np.nan).to_numpy()


def _is_number(v: Any) -> bool:
    return isinstance(v, (int, float)) and not isinstance(v, bool)
