"""Numbers as the report prints them: uncertainty to two significant figures, value to match."""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence

import numpy as np

from drypoint.figures.labels import number, symbol_text
from drypoint.run.columns import factor_of, unit_text
from drypoint.uncertainty.rounding import NOT_KNOWN, round_pair
from drypoint.uncertainty.series import SeriesResult

DASH = "–"
MINUS = "−"
_QUANTITY = re.compile(r"\s*([-+]?\d+(?:[.,]\d+)?)\s*(\D*?)\s*")
#: Numbers of clauses and annexes are left to the standards themselves.
_PLACE = re.compile(r",?\s*(?:\(?\b(?:Annex|annex|Clause|clause|cl\.)\s+[A-Z0-9][\w.]*\)?)")


def typeset(text: str) -> str:
    """A number with a typographic minus."""
    return MINUS + text[1:] if text.startswith("-") else text


def without_places(text: str) -> str:
    """A source without the number of a clause or annex."""
    return _PLACE.sub("", text).strip()


def pair(symbol: str, value: float, u: float) -> tuple[str, str]:
    """Value and uncertainty (SI) in the unit of the column, rounded together.

    A value that is not known is a dash.
    """
    f = factor_of(symbol)
    left, right = round_pair(value / f, u / f)
    return (DASH, "") if left == NOT_KNOWN else (typeset(left), right)


def plus_minus(symbol: str, value: float, u: float) -> str:
    """``9.17 ± 0.12`` in the unit of the column, without the unit."""
    left, right = pair(symbol, value, u)
    if left == DASH:
        return DASH
    return f"{left} ± {right}" if right not in ("0", NOT_KNOWN) else left


def with_unit(symbol: str, value: float, u: float) -> str:
    """``(9.17 ± 0.12) GPa``."""
    body, unit = plus_minus(symbol, value, u), unit_text(symbol)
    if body == DASH or not unit:
        return body
    return f"({body}) {unit}" if "±" in body else f"{body} {unit}"


def head(symbol: str, tail: str = "") -> str:
    """Head of a column: symbol, unit."""
    return symbol_text(symbol) + tail + over(unit_text(symbol))


def over(unit: str) -> str:
    """`` / GPa``, `` / (mN/nm)``; nothing without a unit."""
    if not unit:
        return ""
    return f" / ({unit})" if "/" in unit else f" / {unit}"


def plain(value: float, digits: int = 3) -> str:
    """A number that carries no uncertainty; a dash where it is not known."""
    return typeset(number(value, digits)) if np.isfinite(value) else DASH


def dof_text(dof: float) -> str:
    """Effective degrees of freedom: rounded down; a word where they are endless."""
    if np.isnan(dof):
        return DASH
    if dof > 1000:
        return "∞" if np.isinf(dof) else "> 1000"
    return f"{int(np.floor(dof))}"


def level_text(level: float) -> str:
    """``95 %``."""
    return f"{100 * level:.4g} %"


def own_text(symbol: str, s: SeriesResult) -> str:
    """The specimen's own variation: resolved, below something, or not known."""
    f = factor_of(symbol)
    if s.n < 2 or not np.isfinite(s.own):
        return DASH
    if not s.own_resolved and s.own_interval[1] <= 0.0:
        return "not resolved"
    if not s.own_resolved:
        return f"not resolved (below {number(s.own_interval[1] / f, 2)})"
    return number(s.own / f, 2)


def declared_span(words: Iterable[str | None]) -> str:
    """What records declare, put together: a range of numbers with a unit, or the different words.

    ``22,5 °C`` and ``22.9 °C`` come to ``22.5 to 22.9 °C``.
    """
    given = [w.strip() for w in words if w and w.strip()]
    if not given:
        return "not stated"
    found = [_QUANTITY.fullmatch(w) for w in given]
    units = {m[2] for m in found if m}
    if all(found) and len(units) == 1:
        texts = sorted({m[1].replace(",", ".") for m in found if m}, key=float)
        unit = units.pop()
        tail = f" {unit}" if unit else ""
        return f"{texts[0]}{tail}" if len(texts) == 1 else f"{texts[0]} to {texts[-1]}{tail}"
    different = sorted(set(given))
    if len(different) > 4:
        return f"{different[0]} to {different[-1]} ({len(different)} different entries)"
    return ", ".join(different)


def between(values: Sequence[float] | np.ndarray, digits: int = 3) -> str:
    """``a`` or ``a to b``, without a unit; a dash where nothing is known."""
    a = np.asarray(values, dtype=np.float64)
    a = a[np.isfinite(a)]
    if not len(a):
        return DASH
    low, high = plain(float(a.min()), digits), plain(float(a.max()), digits)
    return low if low == high else f"{low} to {high}"


def yes(value: bool) -> str:
    """``yes`` or ``no``."""
    return "yes" if value else "no"
