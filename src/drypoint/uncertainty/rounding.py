"""Rounding for every face: uncertainty to two significant figures, value to match.

GUM 7.2.6 [gum2008]. Halves are rounded to even on the decimal digits that Python prints.
"""

from __future__ import annotations

import math
from decimal import ROUND_HALF_EVEN, Decimal

NOT_KNOWN = "n/a"
_MINUS = "\u2212"
_SUPERSCRIPT = str.maketrans(
    "-0123456789", "\u207b\u2070\u00b9\u00b2\u00b3\u2074\u2075\u2076\u2077\u2078\u2079"
)


def _place(u: float, figures: int) -> int:
    """Power of ten of the last figure kept, after rounding (0.0995 -> 0.10: place -2)."""
    d = Decimal(repr(u))
    place = d.adjusted() - figures + 1
    rounded = d.quantize(Decimal(1).scaleb(place), rounding=ROUND_HALF_EVEN)
    return place + (rounded.adjusted() - d.adjusted())


def _at(x: float, place: int) -> Decimal:
    d = Decimal(repr(x))
    if d.is_zero() or d.adjusted() < place - 1:
        return Decimal(0).scaleb(place)
    step = Decimal(1).scaleb(place)
    return (d / step).to_integral_value(rounding=ROUND_HALF_EVEN) * step


def _plain(d: Decimal, place: int) -> str:
    text = f"{d:.{max(0, -place)}f}"
    return text[1:] if float(text) == 0.0 and text.startswith("-") else text


def round_pair(value: float, u: float, figures: int = 2) -> tuple[str, str]:
    """Value and uncertainty as plain decimals, both rounded at the same place.

    >>> round_pair(72.3456, 0.0995)
    ('72.35', '0.10')
    >>> round_pair(12345678.0, 12345.0)
    ('12346000', '12000')

    Parameters
    ----------
    value, u : float
        In one unit. An unknown (NaN or infinite) ``u`` leaves the value at six figures and is
        itself "n/a"; ``u = 0`` likewise, and is "0". A negative ``u`` counts as unknown.
    figures : int
        Significant figures of the uncertainty (GUM: at most two).
    """
    value, u = float(value), float(u)
    if not math.isfinite(value):
        return NOT_KNOWN, NOT_KNOWN
    if not math.isfinite(u) or u < 0.0:
        return f"{value:.6g}", NOT_KNOWN
    if u == 0.0:
        return f"{value:.6g}", "0"
    place = _place(u, figures)
    return _plain(_at(value, place), place), _plain(_at(u, place), place)


def format_pm(value: float, u: float, unit: str = "", figures: int = 2) -> str:
    """``"72.35 \u00b1 0.10 GPa"``; a power of ten is taken out below 1e-3 and from 1e6.

    What follows the sign is ``u`` as given: say beside it whether it is standard or expanded.

    >>> format_pm(0.00012345, 0.0000012)
    '(1.234 \u00b1 0.012) \u00d7 10\u207b\u2074'
    """
    value, u = float(value), float(u)
    known = math.isfinite(value) and math.isfinite(u) and u > 0.0
    tail = f" {unit}" if unit else ""
    size = max(abs(value), u) if known else abs(value)
    scientific = math.isfinite(size) and size > 0.0 and not 1e-3 <= size < 1e6
    power = Decimal(repr(size)).adjusted() if scientific else 0
    if known and scientific:
        # scaling in decimal, so that no figure is lost
        v = float(Decimal(repr(value)).scaleb(-power))
        du = float(Decimal(repr(u)).scaleb(-power))
        left, right = round_pair(v, du, figures)
        body = f"({left} \u00b1 {right}) \u00d7 10{str(power).translate(_SUPERSCRIPT)}"
    else:
        left, right = round_pair(value, u, figures)
        if left == NOT_KNOWN:
            return NOT_KNOWN
        if right == "0":
            return _signed(left) + tail + " (exact)"
        elif right == NOT_KNOWN:
            return _signed(left) + tail + " (uncertainty n/a)"
        else:
            body = f"{left} \u00b1 {right}"
    return _signed(body) + tail


def _signed(text: str) -> str:
    """A typeset minus in front, where there is a hyphen."""
    return text.replace("-", _MINUS, 1) if text.startswith(("-", "(-")) else text
