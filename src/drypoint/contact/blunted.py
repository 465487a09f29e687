"""First contact of a blunted tip with a solid that yields: a law tabulated from finite elements.

A rigid cone of 70.3 degrees half angle with a tangent sphere of radius R as its end is pressed into
an isotropic solid: von Mises yield, isotropic hardening Y (1 + E eps_p/Y)^n, no friction, large
strains. By dimensional analysis, with E* = E/(1 - nu^2),

    h/R = X(ln f, ln y, n, nu),    f = F/(E* R^2),    y = Y/E*,

and Phi is the inverse, f = Phi(ln(h/R), ln y, n, nu). Below first yield X follows Hertz's
(3 f/4)^(2/3) [hertz1881] and leaves it as the root of h/R where nu is not 1/2, because the surface
moves inwards. Pile-up and sink-in are included. The table, its making and its errors are described
in docs/explanation/blunted-tip.md; scripts/blunted_table.py and blunted_write.py make it.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import cache

import numpy as np
from numpy.typing import ArrayLike, NDArray

from drypoint.contact import blunted_kernels as kernels
from drypoint.errors import ContactError
from drypoint.materials import packaged_arrays

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]

#: Half angle of the cone, rad.
HALF_ANGLE = float(np.radians(70.3))
#: Ranges of the table.
Y_RANGE, N_RANGE, NU_RANGE, DEEPEST = (3e-4, 0.3), (0.0, 0.5), (0.1, 0.47), 1.5
#: Poisson's ratio of most of the table.
NU = 0.25
_SLACK = 1e-9


@dataclass(frozen=True)
class Law:
    """The table. ``kernel`` is what :mod:`~drypoint.contact.blunted_kernels` takes.

    ``error_at`` (m,) holds ln(h/R), ``errors`` (K, m) relative errors of X there: the sum of the
    rows' outer products is their covariance. ``error_names`` says what each row comes from.
    ``shape_errors`` (4, m) are relative errors of X on a tip that ends as a hyperboloid.
    """

    kernel: kernels.Table
    error_at: Floats
    errors: Floats
    error_names: tuple[str, ...]
    shape_errors: Floats


@dataclass(frozen=True)
class Value:
    """X or Phi and its derivatives, all of one shape. ``by_first`` is the derivative by ln f of X,
    by ln(h/R) of Phi; NaN outside the table's range."""

    value: Floats
    by_first: Floats
    by_ln_y: Floats
    by_n: Floats
    by_nu: Floats


@cache
def law() -> Law:
    """The shipped table, read once."""
    data = packaged_arrays("blunted")
    kernel = tuple(
        np.ascontiguousarray(data[key], dtype=np.float64)
        for key in ("elastic", "yielding", "numbers")
    )
    return Law(
        kernel=(kernel[0], kernel[1], kernel[2]),
        error_at=data["error_at"].astype(np.float64),
        errors=data["errors"].astype(np.float64),
        error_names=tuple(str(name) for name in data["error_names"]),
        shape_errors=data["shape_errors"].astype(np.float64),
    )


def outside(ln_y: ArrayLike, n: ArrayLike, nu: ArrayLike = NU) -> Bools:
    """True where a solid is outside the table's ranges; broadcasts."""
    y, m, v = np.exp(np.asarray(ln_y, float)), np.asarray(n, float), np.asarray(nu, float)
    inside = (y >= Y_RANGE[0] * (1 - _SLACK)) & (y <= Y_RANGE[1] * (1 + _SLACK))
    inside = inside & (m >= N_RANGE[0] - _SLACK) & (m <= N_RANGE[1] + _SLACK)
    inside = inside & (v >= NU_RANGE[0] - _SLACK) & (v <= NU_RANGE[1] + _SLACK)
    return np.asarray(~inside, dtype=np.bool_)


def check(ln_y: float, n: float, nu: float = NU, depth: float = 0.0) -> None:
    """Refuse what the table does not cover.

    Parameters
    ----------
    ln_y, n, nu : float
        ln(Y/E*), hardening exponent, Poisson's ratio.
    depth : float, optional
        Greatest h/R needed.

    Raises
    ------
    ContactError
        Names the quantity, its value and the range of the table.
    """
    y = float(np.exp(ln_y))
    for name, value, (low, high) in (
        ("Y/E*", y, Y_RANGE),
        ("hardening exponent", n, N_RANGE),
        ("Poisson's ratio", nu, NU_RANGE),
        ("depth over tip radius", depth, (0.0, DEEPEST)),
    ):
        if not low - _SLACK * abs(low) - 1e-12 <= value <= high * (1 + _SLACK):
            raise ContactError(
                f"Invalid {name}: got {value:.4g}; expected {low:.4g} to {high:.4g}, the range of "
                "the table of blunted tips.",
                remedy="Use a window or a solid inside the range, or another law of contact.",
            )


def depth(ln_f: ArrayLike, ln_y: ArrayLike, n: ArrayLike, nu: ArrayLike = NU) -> Value:
    """X = h/R against ln f, f = F/(E* R^2). Arguments broadcast; one solid is fastest."""
    return _evaluate(kernels.depth_many, kernels.depth_each, ln_f, ln_y, n, nu)


def phi(x: ArrayLike, ln_y: ArrayLike, n: ArrayLike, nu: ArrayLike = NU) -> Value:
    """f = F/(E* R^2) against x = h/R; ``by_first`` is the derivative by ln x.

    The inverse of :func:`depth` to rounding. Zero at x = 0.
    """
    at = np.asarray(x, dtype=np.float64)
    with np.errstate(divide="ignore", invalid="ignore"):
        ln_x = np.log(at)
    found = _evaluate(kernels.phi_many, kernels.phi_each, ln_x, ln_y, n, nu)
    still = np.broadcast_to((at == 0) & ~outside(ln_y, n, nu), found.value.shape)
    if not np.any(still):
        return found
    names = ("value", "by_first", "by_ln_y", "by_n", "by_nu")
    return Value(*(np.where(still, 0.0, getattr(found, name)) for name in names))


def _evaluate(
    many: Callable[..., Floats],
    each: Callable[..., Floats],
    argument: ArrayLike,
    ln_y: ArrayLike,
    n: ArrayLike,
    nu: ArrayLike,
) -> Value:
    first, solid = np.asarray(argument, np.float64), (ln_y, n, nu)
    if all(np.ndim(s) == 0 for s in solid):
        shape = first.shape
        numbers = (float(np.asarray(s)) for s in solid)
        flat = many(np.ascontiguousarray(first.ravel()), *numbers, law().kernel)
    else:
        parts = np.broadcast_arrays(first, *(np.asarray(s, np.float64) for s in solid))
        shape = parts[0].shape
        flat = each(*(np.ascontiguousarray(p.ravel()) for p in parts), law().kernel)
    bad = np.broadcast_to(outside(*solid), shape)
    return Value(*(np.where(bad, np.nan, flat[:, j].reshape(shape)) for j in range(5)))


def error_modes(x: ArrayLike) -> Floats:
    """Errors that the law was found to have, h_true - h_table at given force, over R.

    Parameters
    ----------
    x : array, shape (m,)
        h/R.

    Returns
    -------
    array, shape (K, m)
        One row per solid off the grid of the table, then one per solid whose discretisation error
        was corrected. Rows are divided by the root of the number of rows of their kind, so that
        ``modes.T @ modes`` is the covariance of the law's error along one loading curve. Each row
        is a smooth curve; the errors of neighbouring points are not independent.
    """
    return _curves(law().errors, x)


def shape_modes(x: ArrayLike) -> Floats:
    """The same for the tip's end: h(hyperboloid) - h_table at given force, over R; shape (4, m).

    A hyperboloid with the same radius at its end and the same cone is at equal force up to 17 %
    shallower, most near h/R = 0.1 to 0.3. One row per solid (Y/E* 0.03, 0.01, 0.006, 0.002), not
    scaled: a tip between the two shapes has a share of it. Not part of :func:`error_modes`.
    """
    return _curves(law().shape_errors, x)


def _curves(rows: Floats, x: ArrayLike) -> Floats:
    at = np.asarray(x, dtype=np.float64)
    ln_x = np.log(np.maximum(at, 1e-300))
    return at * np.array([np.interp(ln_x, law().error_at, row) for row in rows])


def relative_error(x: ArrayLike) -> Floats:
    """Relative standard uncertainty of X at given force, from the error modes."""
    known = law()
    ln_x = np.log(np.maximum(np.asarray(x, dtype=np.float64), 1e-300))
    return np.interp(ln_x, known.error_at, np.sqrt(np.sum(known.errors**2, axis=0)))


def level_and_tilt(low: float, high: float) -> tuple[float, float]:
    """The same in two independent numbers for a window of h/R.

    Each error mode is fitted by a + b (ln(h/R) - its mean over the window); the level is the root
    of the sum of squares of a, the tilt that of b. A level acts as a scale of depth and is absorbed
    by the tip radius; a tilt moves the zero.
    """
    if not 0 < low < high <= DEEPEST:
        raise ContactError(
            f"Invalid window of depth over tip radius: got {low:.4g} to {high:.4g}; expected "
            f"rising values above 0, up to {DEEPEST:.4g}.",
            remedy="Give the least and the greatest h/R that are used.",
        )
    at = np.linspace(np.log(low), np.log(high), 50)
    curves = error_modes(np.exp(at)) / np.exp(at)
    off = at - np.mean(at)
    b = curves @ off / (off @ off)
    return float(np.sqrt(np.sum(curves.mean(axis=1) ** 2))), float(np.sqrt(np.sum(b**2)))
