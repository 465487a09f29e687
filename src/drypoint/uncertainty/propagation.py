"""Linear propagation (GUM, [gum2008]): Jacobians, effective degrees of freedom, coverage.

``u_c^2 = J Cov J'`` (GUM 5.2.2, eq. 13).
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np
from numpy.typing import NDArray

from drypoint.errors import UncertaintyError
from drypoint.uncertainty.tails import coverage

Floats = NDArray[np.float64]
Function = Callable[[NDArray[Any]], NDArray[Any]]


def complex_step(f: Function, x: Floats) -> Floats:
    """Jacobian by a step into the complex plane, ``Im f(x + i h) / h``; exact to rounding.

    [squire1998]. ``f`` must be made of analytic operations (no
    ``abs``, comparisons, ``real``).

    Parameters
    ----------
    f : callable
        From shape (k,) to shape (m,) or a number; accepts complex input.
    x : array, shape (k,)

    Returns
    -------
    array, shape (m, k)

    Raises
    ------
    UncertaintyError
        When ``f`` drops the imaginary part.
    """
    x = np.asarray(x, dtype=float)
    columns = []
    for j in range(x.size):
        h = 1e-30 * (abs(x[j]) or 1.0)
        z = x.astype(complex)
        z[j] += 1j * h
        y = np.atleast_1d(np.asarray(f(z)))
        if not np.iscomplexobj(y):
            raise UncertaintyError(
                "The function returns real numbers for complex input, so its complex-step "
                "derivative would be zero.",
                remedy="Use central_difference.",
            )
        columns.append(y.imag / h)
    return np.stack(columns, axis=1) if columns else np.zeros((np.size(f(x)), 0))


def central_difference(
    f: Function, x: Floats, scale: Floats | None = None, rtol: float = 1e-4
) -> Floats:
    """Jacobian by central differences with the step checked.

    Steps ``h`` and ``h/2`` with ``h = eps^(1/4) scale``, and Richardson's combination of the
    two (error of order h^4). The two must agree to ``rtol`` of the column's largest value or of
    what rounding allows; if not, the step is shrunk, three times at most.

    Parameters
    ----------
    f : callable
        From shape (k,) to shape (m,) or a number.
    x : array, shape (k,)
    scale : array, shape (k,), optional
        A length over which ``f`` bends; the inputs' size unless given.

    Raises
    ------
    UncertaintyError
        When no step gives a steady derivative.
    """
    x = np.asarray(x, dtype=float)
    size = np.abs(x) if scale is None else np.abs(np.asarray(scale, dtype=float))
    size = np.where(size > 0, size, 1.0)
    level = np.max(np.abs(np.atleast_1d(f(x))), initial=0.0)
    columns = []
    for j in range(x.size):
        h = np.finfo(float).eps ** 0.25 * size[j]
        for _ in range(4):
            one, two = (_difference(f, x, j, s) for s in (h, h / 2))
            noise = 16 * np.finfo(float).eps * level / h
            worst = np.max(np.abs(two - one), initial=0.0)
            if worst <= rtol * np.max(np.abs(two), initial=0.0) + noise:
                break
            h /= 8
        else:
            raise UncertaintyError(
                f"The derivative with respect to input {j} depends on the step.",
                remedy="The function jumps or bends sharply there; use Monte Carlo.",
            )
        columns.append((4 * two - one) / 3)
    return np.stack(columns, axis=1) if columns else np.zeros((np.size(f(x)), 0))


def _difference(f: Function, x: Floats, j: int, h: float) -> Floats:
    up, down = x.copy(), x.copy()
    up[j] += h
    down[j] -= h
    out: Floats = (np.atleast_1d(f(up)) - np.atleast_1d(f(down))) / (up[j] - down[j])
    return out


def propagate(jac: Floats, cov: Floats) -> Floats:
    """``J Cov J'``, symmetric: covariance of the outputs, shape (m, m) (GUM 5.2.2; H.2)."""
    jac = np.atleast_2d(jac)
    if jac.shape[1] != cov.shape[0] or cov.shape[0] != cov.shape[1]:
        raise UncertaintyError("Jacobian and covariance differ in the number of inputs.")
    out = jac @ cov @ jac.T
    return (out + out.T) / 2


def linked_blocks(cov: Floats) -> list[NDArray[np.int64]]:
    """Groups of inputs that hang together by a correlation; an unlinked input stands alone."""
    k = cov.shape[0]
    link = cov != 0.0
    left = set(range(k))
    blocks = []
    while left:
        todo = [min(left)]
        block: set[int] = set()
        while todo:
            i = todo.pop()
            if i in block:
                continue
            block.add(i)
            todo += [j for j in range(k) if link[i, j] and j not in block]
        left -= block
        blocks.append(np.array(sorted(block), dtype=np.int64))
    return blocks


def block_components(sens: Floats, cov: Floats, dof: Floats) -> tuple[Floats, Floats]:
    """Variance and degrees of freedom of each linked block, for :func:`welch_satterthwaite`.

    A block counts as one component: its inputs come from one fit, whose one residual variance
    scales them all, so a common number of degrees of freedom is kept exactly. Where a block
    holds several, its variance is divided among them by ``c_i sum_j C_ij c_j`` and these are
    combined; if a part is negative the smallest number stands.
    """
    variances, dofs = [], []
    for block in linked_blocks(cov):
        c, part = sens[block], cov[np.ix_(block, block)]
        shares = c * (part @ c)
        variances.append(max(float(shares.sum()), 0.0))
        nus = np.unique(dof[block])
        by_nu = np.array([shares[dof[block] == nu].sum() for nu in nus])
        if nus.size > 1 and np.all(by_nu >= 0):
            dofs.append(welch_satterthwaite(by_nu, nus))
        else:
            dofs.append(float(nus[0]))
    return np.array(variances), np.array(dofs)


def welch_satterthwaite(variances: Floats, dof: Floats) -> float:
    """Effective degrees of freedom ``(sum v)^2 / sum(v^2 / nu)`` (GUM G.4.1, eq. G.2b).

    ``variances`` are the components of ``u_c^2``, independent of each other.
    """
    v, nu = np.asarray(variances, dtype=float), np.asarray(dof, dtype=float)
    if np.any(nu <= 0) or np.any(v < 0):
        raise UncertaintyError("Degrees of freedom must be positive and variances not negative.")
    total = float(v.sum())
    if total == 0.0:
        return np.inf
    down = float(np.sum((v / total) ** 2 / nu))
    return np.inf if down == 0.0 else 1.0 / down


def coverage_factor(dof: float, level: float = 0.95, *, truncate: bool = False) -> float:
    """Two-sided factor of Student's t (GUM G.3.2).

    ``truncate`` takes the next lower whole number of degrees of freedom, as GUM G.4.1 allows;
    otherwise t is evaluated at the fraction.
    """
    if not 0.0 < level < 1.0:
        raise UncertaintyError("A coverage probability lies between 0 and 1.")
    if not dof > 0.0:
        raise UncertaintyError("Degrees of freedom must be positive.")
    return coverage(max(1.0, float(np.floor(dof))) if truncate else dof, level)


def expanded(
    u: float, dof: float = np.inf, level: float = 0.95, *, truncate: bool = False
) -> float:
    """Expanded uncertainty ``U = k u`` (GUM 6.2.1), ``k`` from :func:`coverage_factor`."""
    return coverage_factor(dof, level, truncate=truncate) * u
