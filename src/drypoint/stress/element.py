"""The element: axisymmetric, four nodes, 2 x 2 Gauss points, mean dilatation. Numba kernels.

Energy sum W psi(F~) with F~ = (J~/J)^(1/3) F, J~ the mean of J over the element [nagtegaal1974]
[simo1985]; strain and update as in :mod:`drypoint.stress.flow`. Residual and tangent are the exact
first and second derivatives of the incremental energy, so the tangent is symmetric. Everything is
done in the principal axes of the trial strain, where the tangent is a 3 x 3 block for stretches and
a 2 x 2 block for the in-plane shear.

A small-strain mode (``finite`` false) keeps the same element in its undeformed place.

Work array ``pt`` has one row a Gauss point; its columns are named below. One array, few arguments:
the kernels spend their time on arithmetic.
"""

from __future__ import annotations

import math

import numpy as np
from numba import njit
from numpy.typing import NDArray

from drypoint.stress.flow import multiplier, principal

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
State = tuple[Floats, Floats, Floats, Floats, Floats, Floats]


# Columns of ``pt``: gradients by r and z, N/r of the four nodes; F (rr, rz, zr, zz, hoop) and J;
# Kirchhoff stress in principal axes; the first axis; deviatoric modulus 2 G f and the factor of
# d x d; trial deviator d; tangent of the in-plane shear (12-12, 12-21, 21-21); volume.
GR, GZ, HOOP, F, J = 0, 4, 8, 12, 17
TAU, AXIS, TWO_G, BEND, DEV, SHEAR, VOLUME = 18, 21, 23, 24, 25, 28, 31
WIDE = 32


@njit(cache=True, error_model="numpy")
def geometry(X: Floats, quads: Ints) -> Floats:
    """Constants of the undeformed elements at their Gauss points, shape (n, 4, 10).

    Last axis: dN/dr of the four nodes, dN/dz of the four nodes, volume (of the full turn), radius.
    """
    n = quads.shape[0]
    out = np.empty((n, 4, 10))
    s = 1 / math.sqrt(3.0)
    sx, sy = (-1.0, 1.0, 1.0, -1.0), (-1.0, -1.0, 1.0, 1.0)
    for e in range(n):
        for g in range(4):
            x, y = sx[g] * s, sy[g] * s
            a00 = a01 = a10 = a11 = r = 0.0
            for a in range(4):
                u, v = 0.25 * sx[a] * (1 + sy[a] * y), 0.25 * sy[a] * (1 + sx[a] * x)
                p, q = X[quads[e, a], 0], X[quads[e, a], 1]
                a00 += u * p
                a01 += u * q
                a10 += v * p
                a11 += v * q
                r += 0.25 * (1 + sx[a] * x) * (1 + sy[a] * y) * p
            det = a00 * a11 - a01 * a10
            for a in range(4):
                u, v = 0.25 * sx[a] * (1 + sy[a] * y), 0.25 * sy[a] * (1 + sx[a] * x)
                out[e, g, a] = (a11 * u - a01 * v) / det
                out[e, g, 4 + a] = (a00 * v - a10 * u) / det
            out[e, g, 8] = 2 * math.pi * r * det
            out[e, g, 9] = r
    return out


@njit(cache=True, error_model="numpy")
def shape_functions() -> Floats:
    """Shape functions at the Gauss points, (4, 4) [point, node]."""
    N = np.empty((4, 4))
    s = 1 / math.sqrt(3.0)
    sx, sy = (-1.0, 1.0, 1.0, -1.0), (-1.0, -1.0, 1.0, 1.0)
    for g in range(4):
        for a in range(4):
            N[g, a] = 0.25 * (1 + sx[a] * sx[g] * s) * (1 + sy[a] * sy[g] * s)
    return N


@njit(cache=True, error_model="numpy")
def _kinematics(
    e: int, geo: Floats, N: Floats, u: Floats, finite: bool, pt: Floats, theta: Floats
) -> tuple[float, float]:
    """Fill gradients, F, J and the gradient of the mean dilatation; return mean J, volume or -1."""
    V = v = 0.0
    theta[:] = 0.0
    for g in range(4):
        f00, f01, f10, f11, f22 = 1.0, 0.0, 0.0, 1.0, 1.0
        R, W = geo[e, g, 9], geo[e, g, 8]
        if finite:
            for a in range(4):
                f00 += u[2 * a] * geo[e, g, a]
                f01 += u[2 * a] * geo[e, g, 4 + a]
                f10 += u[2 * a + 1] * geo[e, g, a]
                f11 += u[2 * a + 1] * geo[e, g, 4 + a]
                f22 += u[2 * a] * N[g, a] / R
        det = f00 * f11 - f01 * f10
        if not (det > 0 and f22 > 0):
            return 1.0, -1.0
        pt[g, F], pt[g, F + 1], pt[g, F + 2] = f00, f01, f10
        pt[g, F + 3], pt[g, F + 4], pt[g, J] = f11, f22, det * f22
        pt[g, VOLUME] = W
        w = W * det * f22
        V += W
        v += w
        for a in range(4):
            gr = (f11 * geo[e, g, a] - f10 * geo[e, g, 4 + a]) / det
            gz = (f00 * geo[e, g, 4 + a] - f01 * geo[e, g, a]) / det
            h = N[g, a] / (R * f22)
            pt[g, GR + a], pt[g, GZ + a], pt[g, HOOP + a] = gr, gz, h
            theta[2 * a] += w * (gr + h)
            theta[2 * a + 1] += w * gz
    for k in range(8):
        theta[k] /= v
    return v / V, v


@njit(cache=True, error_model="numpy")
def _small_trial(
    e: int, g: int, u: Floats, old: Floats, pt: Floats, theta: Floats
) -> tuple[float, float, float, float]:
    """Trial elastic strain of the small-strain mode: (rr, rz, zz, hoop)."""
    rr = rz = zz = tt = mean = 0.0
    for a in range(4):
        gr, gz = pt[g, GR + a], pt[g, GZ + a]
        rr += gr * u[2 * a]
        zz += gz * u[2 * a + 1]
        tt += pt[g, HOOP + a] * u[2 * a]
        rz += 0.5 * (gz * u[2 * a] + gr * u[2 * a + 1])
        mean += theta[2 * a] * u[2 * a] + theta[2 * a + 1] * u[2 * a + 1]
    d = (mean - rr - zz - tt) / 3
    return (
        rr + d - old[e, g, 0], rz - old[e, g, 1], zz + d - old[e, g, 2], tt + d - old[e, g, 3]
    )  # fmt: skip


@njit(cache=True, error_model="numpy")
def _keep_large(
    e: int,
    g: int,
    x0: float,
    x1: float,
    x2: float,
    b1: float,
    b2: float,
    tt: float,
    cs: float,
    sn: float,
    pt: Floats,
    new: Floats,
) -> None:
    """C_p^-1 after plastic flow that shrinks the trial stretches by exp(x), one x an axis."""
    b1, b2, b3 = b1 * math.exp(2 * x0), b2 * math.exp(2 * x1), tt * math.exp(2 * x2)
    rr, zz, rz = b1 * cs * cs + b2 * sn * sn, b1 * sn * sn + b2 * cs * cs, (b1 - b2) * cs * sn
    f00, f01, f10, f11, f22 = pt[g, F], pt[g, F + 1], pt[g, F + 2], pt[g, F + 3], pt[g, F + 4]
    det = f00 * f11 - f01 * f10
    i00, i01, i10, i11 = f11 / det, -f01 / det, -f10 / det, f00 / det
    a00, a01 = i00 * rr + i01 * rz, i00 * rz + i01 * zz
    a10, a11 = i10 * rr + i11 * rz, i10 * rz + i11 * zz
    new[e, g, 0] = a00 * i00 + a01 * i01
    new[e, g, 1] = a00 * i10 + a01 * i11
    new[e, g, 2] = a10 * i10 + a11 * i11
    new[e, g, 3] = b3 / (f22 * f22)


@njit(cache=True, error_model="numpy")
def _stress(
    e: int,
    m: int,
    mean_J: float,
    u: Floats,
    finite: bool,
    solids: Floats,
    table: Floats,
    state: State,
    pt: Floats,
    theta: Floats,
    energy: Floats,
    ratios: Floats,
) -> float:
    """Stress, moduli and new state at the element's points; returns the sum of W times mean stress.

    NaN where a point is crushed to nothing.
    """
    old, strain, last_J, new, new_strain, sigma = state
    G, K = solids[m, 0], solids[m, 1]
    P = ratio_sum = 0.0
    for g in range(4):
        W = pt[g, VOLUME]
        if finite:
            f00, f01, f10, f11 = pt[g, F], pt[g, F + 1], pt[g, F + 2], pt[g, F + 3]
            o0, o1, o2 = old[e, g, 0], old[e, g, 1], old[e, g, 2]
            a00, a01 = f00 * o0 + f01 * o1, f00 * o1 + f01 * o2
            a10, a11 = f10 * o0 + f11 * o1, f10 * o1 + f11 * o2
            rr, rz, zz = a00 * f00 + a01 * f01, a00 * f10 + a01 * f11, a10 * f10 + a11 * f11
            tt = pt[g, F + 4] * pt[g, F + 4] * old[e, g, 3]
        else:
            rr, rz, zz, tt = _small_trial(e, g, u, old, pt, theta)
        b1, b2, cs, sn = principal(rr, rz, zz)
        e1, e2, e3 = b1, b2, tt
        if finite:
            if not (b2 > 0 and tt > 0):
                return math.nan
            even = math.log(mean_J / pt[g, J]) / 3
            e1, e2, e3 = 0.5 * math.log(b1), 0.5 * math.log(b2), 0.5 * math.log(tt)
            e1, e2, e3 = e1 + even, e2 + even, e3 + even
        mean = (e1 + e2 + e3) / 3
        d1, d2, d3 = e1 - mean, e2 - mean, e3 - mean
        norm2 = d1 * d1 + d2 * d2 + d3 * d3
        q = 2 * G * math.sqrt(1.5 * norm2)
        x, ratio, y, slope = multiplier(q, strain[e, g], last_J[e], m, solids, table)
        f, bend = 1.0, 0.0
        for k in range(4):
            new[e, g, k] = old[e, g, k]
        if x > 0:
            f = 1.0 - 3 * G * x / q
            bend = 9 * G * G * (x / q - 1.0 / (3 * G + slope)) * (2 * G / q) ** 2
            energy[1] += W * x * y
            x1, x2, x3 = (f - 1) * d1, (f - 1) * d2, (f - 1) * d3
            if finite:
                _keep_large(e, g, x1, x2, x3, b1, b2, tt, cs, sn, pt, new)
            else:
                new[e, g, 0] -= x1 * cs * cs + x2 * sn * sn
                new[e, g, 1] -= (x1 - x2) * cs * sn
                new[e, g, 2] -= x1 * sn * sn + x2 * cs * cs
                new[e, g, 3] -= x3
        new_strain[e, g] = strain[e, g] + x
        energy[0] += W * (4.5 * K * mean * mean + G * f * f * norm2)
        ratio_sum += ratio
        two_G, p = 2 * G * f, 3 * K * mean
        t1, t2, t3 = p + two_G * d1, p + two_G * d2, p + two_G * d3
        # The in-plane shear's secant 2 G_s = (t1 - t2)/(e1 - e2); at b1 = b2 it is 2 G f.
        if finite:
            near = b1 - b2 <= 1e-7 * b1
            k = two_G / (2 * b1) if near else (t1 - t2) / (b1 - b2)
            pt[g, SHEAR], pt[g, SHEAR + 1], pt[g, SHEAR + 2] = k * b2, k * b1 - t1, k * b1
        else:
            pt[g, SHEAR] = pt[g, SHEAR + 1] = pt[g, SHEAR + 2] = 0.5 * two_G
        pt[g, TAU], pt[g, TAU + 1], pt[g, TAU + 2] = t1, t2, t3
        pt[g, AXIS], pt[g, AXIS + 1], pt[g, TWO_G], pt[g, BEND] = cs, sn, two_G, bend
        pt[g, DEV], pt[g, DEV + 1], pt[g, DEV + 2] = d1, d2, d3
        sigma[e, g, 0] = (t1 * cs * cs + t2 * sn * sn) / mean_J
        sigma[e, g, 1] = (t1 - t2) * cs * sn / mean_J
        sigma[e, g, 2] = (t1 * sn * sn + t2 * cs * cs) / mean_J
        sigma[e, g, 3] = t3 / mean_J
        P += W * p
    ratios[m] = max(ratios[m], 0.25 * ratio_sum)
    return P


@njit(cache=True, error_model="numpy")
def _forces(e: int, mean_J: float, sigma: Floats, pt: Floats, theta: Floats, fe: Floats) -> None:
    """Nodal forces of the element."""
    fe[:] = 0.0
    for g in range(4):
        W = pt[g, VOLUME] * mean_J
        rr, rz, zz, tt = sigma[e, g, 0], sigma[e, g, 1], sigma[e, g, 2], sigma[e, g, 3]
        p = (rr + zz + tt) / 3
        for a in range(4):
            gr, gz, h = pt[g, GR + a], pt[g, GZ + a], pt[g, HOOP + a]
            fe[2 * a] += W * (rr * gr + rz * gz + tt * h + p * (theta[2 * a] - gr - h))
            fe[2 * a + 1] += W * (rz * gr + zz * gz + p * (theta[2 * a + 1] - gz))


@njit(cache=True, error_model="numpy")
def _tangent(
    K: float, P: float, v: float, finite: bool, pt: Floats, theta: Floats, rows: Floats, ke: Floats
) -> None:
    """The element's tangent, upper triangle; ``rows`` (9, 8): a kind of strain of all freedoms."""
    ke[:, :] = 0.0
    for g in range(4):
        W, cs, sn = pt[g, VOLUME], pt[g, AXIS], pt[g, AXIS + 1]
        t0 = t1 = t2 = vol = kappa = 0.0
        if finite:
            vol = P * pt[g, J] / v
            kappa = (pt[g, TAU] + pt[g, TAU + 1] + pt[g, TAU + 2]) / 3 - vol
            t0, t1, t2 = kappa - pt[g, TAU], kappa - pt[g, TAU + 1], kappa - pt[g, TAU + 2]
        for a in range(4):
            p1 = cs * pt[g, GR + a] + sn * pt[g, GZ + a]
            p2 = cs * pt[g, GZ + a] - sn * pt[g, GR + a]
            h = pt[g, HOOP + a]
            for k in range(2):
                i = 2 * a + k
                c1, c2 = (cs, -sn) if k == 0 else (sn, cs)
                n0, n1, n2 = c1 * p1, c2 * p2, h * (1 - k)
                s = (theta[i] - n0 - n1 - n2) / 3
                rows[0, i], rows[1, i], rows[2, i] = n0, n1, n2
                rows[3, i], rows[4, i] = c1 * p2, c2 * p1
                rows[5, i], rows[6, i], rows[7, i] = n0 + s, n1 + s, n2 + s
                rows[8, i] = n0 + n1 + n2
        two_G, bend = pt[g, TWO_G], pt[g, BEND]
        d0, d1, d2 = pt[g, DEV], pt[g, DEV + 1], pt[g, DEV + 2]
        s0, mix, s1 = pt[g, SHEAR], pt[g, SHEAR + 1] + kappa, pt[g, SHEAR + 2]
        for j in range(8):
            x0, x1, x2 = rows[5, j], rows[6, j], rows[7, j]
            even = W * (K - two_G / 3) * (x0 + x1 + x2)
            along = W * bend * (d0 * x0 + d1 * x1 + d2 * x2)
            y0 = even + W * two_G * x0 + along * d0
            y1 = even + W * two_G * x1 + along * d1
            y2 = even + W * two_G * x2 + along * d2
            z0, z1, z2 = W * t0 * rows[0, j], W * t1 * rows[1, j], W * t2 * rows[2, j]
            o0 = W * (s0 * rows[3, j] + mix * rows[4, j])
            o1 = W * (mix * rows[3, j] + s1 * rows[4, j])
            w = W * vol * rows[8, j]
            for i in range(j, 8):
                ke[j, i] += (
                    rows[5, i] * y0 + rows[6, i] * y1 + rows[7, i] * y2
                    + rows[0, i] * z0 + rows[1, i] * z1 + rows[2, i] * z2
                    + rows[3, i] * o0 + rows[4, i] * o1 + rows[8, i] * w
                )  # fmt: skip
    if finite:
        for j in range(8):
            for i in range(j, 8):
                ke[j, i] -= P * theta[i] * theta[j]


@njit(cache=True, error_model="numpy")
def assemble(
    mesh: tuple[Floats, Floats, Ints, Ints],
    U: Floats,
    finite: bool,
    solids: Floats,
    table: Floats,
    state: State,
    far: tuple[Ints, Floats],
    with_K: bool,
    f: Floats,
    band: Floats,
    border: Floats,
    ends: Floats,
    ratios: Floats,
) -> int:
    """Sum all elements into the residual, the banded tangent and the far field's border.

    Parameters
    ----------
    mesh : (geometry (n, 4, 10), shape functions (4, 4), quads (n, 4), solid of each element (n,))
    U : (2 n_nodes,) displacements
    state : (plastic part (n, 4, 4), plastic strain (n, 4) and J (n,) before the step; plastic part
        and strain after it, Cauchy stress (n, 4, 4) as rr, rz, zz, hoop; the last three are filled)
    far : (equation of each freedom, its share of the far field)
        The equation is -1 for a fixed freedom, -2 for one that follows the far field.
    f : (n_eq,) residual, added to
    band : (width, n_eq) lower band of the tangent, added to where ``with_K``
    border : (n_eq,) tangent's column of the far field's amplitude
    ends : (4,) added to: residual and stiffness of the far field, elastic energy, plastic work of
        the step
    ratios : (n_solids,) raised to the largest trial von Mises stress over yield stress, means of
        elements, which are nearer to the truth than single points

    Returns -1, or the number of the first element turned inside out.
    """
    geo, N, quads, solid_of = mesh
    eq, share = far
    sigma = state[5]
    pt, theta, rows = np.empty((4, WIDE)), np.empty(8), np.empty((9, 8))
    fe, ke, u, ids = np.empty(8), np.empty((8, 8)), np.empty(8), np.empty(8, np.int64)
    energy = ends[2:4]
    for e in range(quads.shape[0]):
        for a in range(4):
            n = 2 * quads[e, a]
            ids[2 * a], ids[2 * a + 1] = n, n + 1
            u[2 * a], u[2 * a + 1] = U[n], U[n + 1]
        m = solid_of[e]
        mean_J, v = _kinematics(e, geo, N, u, finite, pt, theta)
        if v < 0:
            return e
        P = _stress(
            e, m, mean_J, u, finite, solids, table, state, pt, theta, energy, ratios
        )  # fmt: skip
        if math.isnan(P):
            return e
        _forces(e, mean_J, sigma, pt, theta, fe)
        if with_K:
            _tangent(solids[m, 1], P, v, finite, pt, theta, rows, ke)
        _scatter(ids, eq, share, fe, ke, with_K, f, band, border, ends)
    return -1


@njit(cache=True, error_model="numpy")
def _scatter(
    ids: Ints,
    eq: Ints,
    share: Floats,
    fe: Floats,
    ke: Floats,
    with_K: bool,
    f: Floats,
    band: Floats,
    border: Floats,
    ends: Floats,
) -> None:
    """Put one element into the global arrays; of ``ke`` the upper triangle is read."""
    for i in range(8):
        p = eq[ids[i]]
        if p >= 0:
            f[p] += fe[i]
        elif p == -2:
            ends[0] += share[ids[i]] * fe[i]
        if not with_K:
            continue
        for j in range(i, 8):
            q = eq[ids[j]]
            if p >= 0 and q >= 0:
                band[abs(p - q), min(p, q)] += ke[i, j]
            elif p == -2 and q >= 0:
                border[q] += share[ids[i]] * ke[i, j]
            elif q == -2 and p >= 0:
                border[p] += share[ids[j]] * ke[i, j]
            elif p == -2 and q == -2:
                twice = 1.0 if i == j else 2.0
                ends[1] += twice * share[ids[i]] * share[ids[j]] * ke[i, j]


@njit(cache=True, error_model="numpy")
def mean_dilatation(geo: Floats, N: Floats, quads: Ints, U: Floats, out: Floats) -> None:
    """Fill the mean J of every element, (n,)."""
    pt, theta, u = np.empty((4, WIDE)), np.empty(8), np.empty(8)
    for e in range(quads.shape[0]):
        for a in range(4):
            u[2 * a], u[2 * a + 1] = U[2 * quads[e, a]], U[2 * quads[e, a] + 1]
        out[e] = _kinematics(e, geo, N, u, True, pt, theta)[0]
