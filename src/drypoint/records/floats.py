"""Digits to the nearest binary number, exactly as Python's ``float`` does it, but compiled.

A number is ``w * 10**q`` with a whole ``w`` of at most 19 digits. Where ``w`` and ``10**abs(q)``
are exact in binary one multiplication or division rounds once and so rightly [clinger1990];
elsewhere the product of ``w`` with a 128-bit power of five decides [lemire2021], but for a few
numbers that are left to the caller.
"""

from __future__ import annotations

import math

import numpy as np
from numba import njit
from numpy.typing import NDArray

_LOW, _HIGH = -342, 308
_ONE = np.uint64(1)
_MASK32 = np.uint64(0xFFFFFFFF)
_ALL = np.uint64(0xFFFFFFFFFFFFFFFF)
#: Nine low bits: where they are all set the first product alone cannot decide.
_NINE = np.uint64(0x1FF)
_EXACT = np.uint64(1 << 53)
_TOP = np.uint64(1 << 63)


def _powers_of_five() -> tuple[NDArray[np.uint64], NDArray[np.uint64]]:
    """High and low halves of the 128 leading bits of ``5**q`` (rounded up for negative ``q``)."""
    high, low = [], []
    for q in range(_LOW, _HIGH + 1):
        if q < 0:
            five = 5**-q
            z = (five - 1).bit_length()
            c = (1 << (z + 127 if q >= -27 else 2 * z + 128)) // five + 1
        else:
            c = 5**q << 128
        c >>= max(0, c.bit_length() - 128)
        high.append(c >> 64)
        low.append(c & ((1 << 64) - 1))
    return np.array(high, dtype=np.uint64), np.array(low, dtype=np.uint64)


_HIGH_HALF, _LOW_HALF = _powers_of_five()
_TEN = np.array([10.0**i for i in range(23)])


@njit(cache=True, nogil=True, inline="always")
def _product(a: np.uint64, b: np.uint64) -> tuple[np.uint64, np.uint64]:
    """High and low half of the product of two 64-bit numbers."""
    s = np.uint64(32)
    a0, a1 = a & _MASK32, a >> s
    b0, b1 = b & _MASK32, b >> s
    p00, p01, p10, p11 = a0 * b0, a0 * b1, a1 * b0, a1 * b1
    mid = (p00 >> s) + (p01 & _MASK32) + (p10 & _MASK32)
    return p11 + (p01 >> s) + (p10 >> s) + (mid >> s), (mid << s) | (p00 & _MASK32)


@njit(cache=True, nogil=True)
def nearest(w: np.uint64, q: int) -> float:
    """The number nearest to ``w * 10**q``; NaN where that must be found in another way."""
    if w == np.uint64(0):
        return 0.0
    if w <= _EXACT and -22 <= q <= 22:
        return float(w) / _TEN[-q] if q < 0 else float(w) * _TEN[q]
    if q < _LOW or q > _HIGH:
        return math.nan
    zeros = 0
    while w & _TOP == np.uint64(0):
        w = w << _ONE
        zeros += 1
    k = q - _LOW
    high, low = _product(w, _HIGH_HALF[k])
    if high & _NINE == _NINE:
        second, _ = _product(w, _LOW_HALF[k])
        low = low + second
        if second > low:
            high = high + _ONE
    if low == _ALL and (q < -27 or q > 55):
        return math.nan
    upper = high >> np.uint64(63)
    shift = upper + np.uint64(9)
    mantissa = high >> shift
    power = ((217706 * q) >> 16) + 63 + np.int64(upper) - zeros + 1023
    if power <= 0 or power >= 2046:
        return math.nan
    tie = low <= _ONE and -4 <= q <= 23 and mantissa & np.uint64(3) == _ONE
    if tie and mantissa << shift == high:
        mantissa = mantissa & ~_ONE
    mantissa = (mantissa + (mantissa & _ONE)) >> _ONE
    return math.ldexp(float(mantissa), int(power) - 1075)
