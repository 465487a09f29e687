"""Zero point: where force and depth begin.

The first contact follows F = k (h - h_0)^n, so that h = h_0 + c F^(1/n) is a straight line in
F^(1/n); its intercept is the zero (extrapolation by the contact law, ISO 14577-1). The exponent
of a blunted tip lies between 3/2 (sphere, Hertz) and 2 (cone, Sneddon). It is one and the same
for all tests with a tip, so its uncertainty is a systematic input; each test carries how much its
zero would move with the exponent.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numba import njit
from numpy.typing import NDArray

from drypoint.medians import middle
from drypoint.records.segments import noise_of
from drypoint.reduction.options import ZeroOptions
from drypoint.threads import in_stretches, together
from drypoint.uncertainty.noise import Quiet, fit_covariances

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

FITTED, THRESHOLD, AS_RECORDED, DECLARED = 0, 1, 2, 3
#: How the zero was found, by code; -1 is no contact.
HOW = {
    FITTED: "first contact",
    THRESHOLD: "threshold",
    AS_RECORDED: "as recorded",
    DECLARED: "declared",
    -1: "no contact",
}
METHODS = ("first contact", "threshold", "as recorded", "declared")


@dataclass(frozen=True)
class ByLaw:
    """What zeros owe to a law that the tests of a specimen share.

    ``names`` are the specimens' inputs (``zero.law.SPECIMEN``, each 0 with standard deviation 1),
    ``of_test`` (n_tests,) the input of each test. ``per_law`` (m) is how far the zero moves for
    one; ``per_radius`` (m/m) how far with the radius of the tip, ``radius`` (m) being the one that
    was used and ``u_radius`` (m) what the tip's inputs leave open of it. ``misfit`` marks records
    that do not follow the law, ``few`` those with too few samples to be trusted, ``blunted`` those
    with the law of a blunted tip.
    """

    names: tuple[str, ...]
    of_test: Ints
    per_law: Floats
    per_radius: Floats
    radius: float
    u_radius: float
    misfit: NDArray[np.bool_]
    few: NDArray[np.bool_]
    blunted: NDArray[np.bool_]

    def without(self, tests: Ints) -> ByLaw:
        """The same, with the zeros of some tests found in another way."""
        out = replace(
            self, per_law=self.per_law.copy(), per_radius=self.per_radius.copy(),
            misfit=self.misfit.copy(), few=self.few.copy(), blunted=self.blunted.copy(),
        )  # fmt: skip
        for values in (out.per_law, out.per_radius, out.misfit, out.few, out.blunted):
            values[tests] = 0
        return out


@dataclass(frozen=True)
class Zero:
    """Zero of each test, arrays of shape (n_tests,).

    ``force`` (N) is subtracted from the force, ``depth`` (m) from the depth (after the frame's
    compliance). ``contact`` is the sample index of first contact. ``u_depth`` is the standard
    uncertainty of ``depth`` from this test alone; ``per_exponent`` (m) is the change of ``depth``
    with the exponent of the contact law, 0 where none was fitted.
    ``noise_force`` and ``noise_depth`` are the standard deviations of single readings. ``by_law``
    is there where the tests of a specimen share their law.
    """

    force: Floats
    depth: Floats
    u_depth: Floats
    per_exponent: Floats
    contact: Ints
    how: Ints
    noise_force: Floats
    noise_depth: Floats
    samples: Ints
    by_law: ByLaw | None = None

    def u_whole(self, options: ZeroOptions) -> Floats:
        """Standard uncertainty (m) of each zero, with what its law leaves open; the tip's radius
        counts among the tip's own inputs."""
        if self.by_law is not None:
            return np.hypot(self.u_depth, self.by_law.per_law)
        u_n = options.u_exponent if options.method == "first contact" else 0.0
        return np.hypot(self.u_depth, self.per_exponent * u_n)


@njit(cache=True, nogil=True)
def _line(
    g: Floats, h: Floats, sh: float, sf: float, f: Floats, n: float, jac: Floats, res: Floats
) -> float:
    """Intercept of h = h0 + c g, weighted by the variance of h and of g.

    Fills the weighted Jacobian (k, 2) and residuals (k,).
    """
    k = len(g)
    w = np.ones(k)
    c = 0.0
    h0 = 0.0
    for _ in range(3):
        s0 = s1 = s2 = y0 = y1 = 0.0
        for i in range(k):
            s0 += w[i]
            s1 += w[i] * g[i]
            s2 += w[i] * g[i] * g[i]
            y0 += w[i] * h[i]
            y1 += w[i] * g[i] * h[i]
        det = s0 * s2 - s1 * s1
        if not det > 0.0:
            return np.nan
        c = (s0 * y1 - s1 * y0) / det
        h0 = (y0 - c * s1) / s0
        for i in range(k):
            slope = c * g[i] / (n * f[i])
            w[i] = 1.0 / (sh * sh + slope * slope * sf * sf + 1e-30)
    for i in range(k):
        r = np.sqrt(w[i])
        jac[i, 0] = r
        jac[i, 1] = r * g[i]
        res[i] = r * (h[i] - h0 - c * g[i])
    return h0


@njit(cache=True, nogil=True)
def _zero_one(
    force: Floats,
    depth: Floats,
    approach: int,
    load_start: int,
    load_stop: int,
    method: int,
    exponent: float,
    window: float,
    share: float,
    k_sigma: float,
    known_air: bool,
    jac: Floats,
    res: Floats,
) -> tuple[float, float, float, float, int, int, float, float, int, float]:
    """Zero of one test; sample indices count from its first sample.

    ``known_air``: the approach ends where contact begins, and no reading before its last eighth is
    a contact. For a fitted zero the first rows of ``jac`` and ``res`` are filled, one for each
    sample of the fit, and the uncertainty is left to :func:`find_zero`.
    """
    sh = noise_of(depth[load_start:load_stop])
    fmax = np.max(force)
    base = 0.0
    if approach >= 8:
        quiet = force[approach // 4 : approach - approach // 8]
        base = middle(quiet)
        dev = np.abs(quiet - base)
        sf = 1.4826 * middle(dev)
    else:
        sf = noise_of(force[load_start:load_stop])
    floor = base + max(k_sigma * sf, 1e-6 * fmax)
    contact = -1
    first = 0 if approach >= 8 else load_start
    if known_air and approach >= 8:
        first = approach - approach // 8
    for i in range(first, load_stop):
        if force[i] > floor:
            stays = True
            for j in range(i, min(i + 5, load_stop)):
                if force[j] <= floor:
                    stays = False
                    break
            if stays:
                contact = i
                break
    if contact < 0:
        return base, 0.0, np.nan, 0.0, 0, -1, sf, sh, 0, 0.0
    if method == 2 or method == 3:
        return base, 0.0, 0.0, 0.0, contact, method, sf, sh, 0, 0.0
    step = abs(depth[min(contact + 1, load_stop - 1)] - depth[max(contact - 1, 0)]) / 2.0
    if method == 1:
        u = np.sqrt(sh * sh + step * step / 3.0)
        return base, depth[contact], u, 0.0, contact, 1, sf, sh, 1, 0.0
    limit = max(share * fmax, 3.0 * (floor - base))
    k = 0
    while contact + k < load_stop:
        i = contact + k
        far = depth[i] - depth[contact] > window
        if (far and k >= 8) or (force[i] - base > limit and k >= 8):
            break
        k += 1
    f: Floats = np.empty(k)
    h: Floats = np.empty(k)
    m = 0
    for i in range(contact, contact + k):
        if force[i] - base > 0.0:
            f[m] = force[i] - base
            h[m] = depth[i]
            m += 1
    f, h = f[:m].copy(), h[:m].copy()
    if m < 5:
        u = np.sqrt(sh * sh + step * step / 3.0)
        return base, depth[contact], u, 0.0, contact, 1, sf, sh, m, 0.0
    top = np.max(f)
    other = 2.0 if exponent < 1.75 else 1.5
    f = f / top
    h2 = _line(f ** (1.0 / other), h, sh, sf, f, other, jac, res)
    h0 = _line(f ** (1.0 / exponent), h, sh, sf, f, exponent, jac, res)
    step_f = 1e-3 * np.mean(f)
    h1 = _line((f + step_f) ** (1.0 / exponent), h, sh, sf, f + step_f, exponent, jac, res)
    per_force = (h1 - h0) / (step_f * top)
    h0 = _line(f ** (1.0 / exponent), h, sh, sf, f, exponent, jac, res)
    law = (h2 - h0) / (other - exponent)
    if not np.isfinite(law):
        law = 0.0
    return base, h0, 0.0, law, contact, 0, sf, sh, m, per_force if np.isfinite(per_force) else 0.0


@njit(cache=True, nogil=True)
def _zero_all(
    force: Floats,
    depth: Floats,
    offsets: Ints,
    approach: Ints,
    load_start: Ints,
    load_stop: Ints,
    method: int,
    exponent: float,
    window: float,
    share: float,
    k_sigma: float,
    known_air: bool,
) -> tuple[Floats, Ints, Floats, Floats, Ints]:
    n = len(offsets) - 1
    jac = np.empty((len(force), 2))
    res = np.empty(len(force))
    fits = np.zeros(n + 1, dtype=np.int64)
    real = np.empty((n, 7))
    whole = np.empty((n, 3), dtype=np.int64)
    for t in range(n):
        a = offsets[t]
        b = offsets[t + 1]
        r = _zero_one(
            force[a:b],
            depth[a:b],
            approach[t],
            load_start[t] - a,
            load_stop[t] - a,
            method,
            exponent,
            window,
            share,
            k_sigma,
            known_air,
            jac[fits[t] :],
            res[fits[t] :],
        )
        fits[t + 1] = fits[t] + (r[8] if r[5] == 0 else 0)
        real[t, 0] = r[0]
        real[t, 1] = r[1]
        real[t, 2] = r[2]
        real[t, 3] = r[3]
        real[t, 4] = r[6]
        real[t, 5] = r[7]
        real[t, 6] = r[9]
        whole[t, 0] = r[4] + a
        whole[t, 1] = r[5]
        whole[t, 2] = r[8]
    return real, whole, jac[: fits[n]], res[: fits[n]], fits


def u_of_base(force: Floats, begin: Ints, approach: Ints, quiet: Quiet) -> Floats:
    """Standard uncertainty (N) of the force's own zero, the median of the approach; 0 without one.

    Slow noise leaves few independent readings in a short approach.
    """
    a, b = begin + approach // 4, begin + approach - approach // 8
    out = np.zeros(len(begin))
    has = np.flatnonzero(approach >= 8)
    if not len(has):
        return out
    lengths = (b - a)[has]
    offsets = np.concatenate([[0], np.cumsum(lengths)]).astype(np.int64)
    at = np.arange(offsets[-1]) + np.repeat(a[has] - offsets[:-1], lengths)
    mean = np.add.reduceat(force[at], offsets[:-1]) / lengths
    rest = force[at] - np.repeat(mean, lengths)
    cov = fit_covariances(np.ones((len(at), 1)), rest, offsets, quiet.of(has))
    out[has] = np.sqrt(np.nan_to_num(np.maximum(cov[:, 0, 0], 0.0)))
    return out


def find_zero(
    force: Floats,
    depth: Floats,
    offsets: Ints,
    approach: Ints,
    load_start: Ints,
    load_stop: Ints,
    quiet: tuple[Quiet, Quiet],
    options: ZeroOptions,
) -> Zero:
    """Zero of every test.

    Parameters
    ----------
    force, depth : array, shape (n_samples,)
        N and m; depth already corrected for the frame's compliance.
    offsets : array, shape (n_tests + 1,)
    approach : array, shape (n_tests,)
        Samples of approach at the start of each test, 0 where there is none.
    load_start, load_stop : array, shape (n_tests,)
        First loading segment, indices into the batch.
    quiet : pair of Quiet
        For each test a hold that shows the colour of the noise, in force and in depth.
    options : ZeroOptions

    Returns
    -------
    Zero
        A test without contact has ``how == -1`` and NaN uncertainty. A declared zero, or the one
        as recorded, is put in by :func:`drypoint.reduction.correct.correct`; here it is 0.
    """

    def some(a: int, b: int) -> tuple[Floats, Ints, Floats, Floats, Ints]:
        lo, hi = offsets[a], offsets[b]
        real, whole, jac, res, fits = _zero_all(
            force[lo:hi],
            depth[lo:hi],
            offsets[a : b + 1] - lo,
            approach[a:b],
            load_start[a:b] - lo,
            load_stop[a:b] - lo,
            METHODS.index(options.method),
            options.exponent,
            options.depth_window,
            options.force_share,
            options.threshold_sigma,
            options.base_line == "line",
        )
        whole[:, 0] += lo
        return real, whole, jac, res, np.diff(fits)

    real, whole, jac, res, counts = together(in_stretches(len(offsets) - 1, some))
    fits = np.concatenate([[0], np.cumsum(counts)])
    fitted = np.flatnonzero(whole[:, 1] == FITTED)
    cov = fit_covariances(jac, res, np.concatenate([fits[fitted], fits[-1:]]), quiet[1].of(fitted))
    u_base = u_of_base(force, offsets[fitted], approach[fitted], quiet[0].of(fitted))
    var = np.maximum(cov[:, 0, 0], 0.0) + (real[fitted, 6] * u_base) ** 2
    real[fitted, 2] = np.sqrt(var)
    return Zero(
        force=real[:, 0].copy(),
        depth=real[:, 1].copy(),
        u_depth=np.hypot(real[:, 2], options.u_zero),
        per_exponent=real[:, 3].copy(),
        contact=whole[:, 0].copy(),
        how=whole[:, 1].copy(),
        noise_force=real[:, 4].copy(),
        noise_depth=real[:, 5].copy(),
        samples=whole[:, 2].copy(),
    )
