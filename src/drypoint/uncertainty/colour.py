"""The colour of a fit's noise: spectra averaged over, for :mod:`drypoint.uncertainty.noise`.

The colour of the noise is not known and a short record shows little of it, so it is averaged
over rather than picked: 18 spectra (white noise plus a first-order process, six correlation
lengths from about one sample to about a third of the record, three shares of white) and plain
white noise, each weighted by its restricted likelihood (the part of the data that the fit has
not used up; [patterson1971]) times its weight beforehand. The result is the posterior mean of
the parameters' covariance. As in GUM Supplement 1, 6.4.9 [gum-s1-2008], scarce data widen it:
the t factor is inside, so take it with infinite degrees of freedom.

For least squares ``p - p0 = (J'J)^-1 J'u = R^-1 Q'u`` (``J = Q R``), hence
``cov = R^-1 Q' C Q R^-T``, with ``C = Cov(u) = s2 D T' diag(S) T D``: ``T`` the cosine transform
(which all but diagonalises a stationary covariance), ``S_k = c + 1/(1 + (s_k/f0)^2)``,
``s_k = 2 sin(pi k/2N)``: exactly a sampled AR(1) with ``f0 = (1 - rho)/sqrt(rho)``, plus white.
``D`` is a log-linear drift of the noise along the record, from the first differences (noise in
depth weighs less where the curve is flat). ``benchmarks/noise_colour.py`` shows what it covers.

Another stretch of the same noise (a hold) may have its say in the weights, with a scale of its
own. It tells more, so the spectra are then more (nine correlation lengths up to a third of the
stretch, six shares of white), and as a fit may be short beside them, the variance of its mean
(k = 0) is the exact one.

The loops stand in :mod:`drypoint.uncertainty.colour_kernels`; the same in plain array operations
in ``tests/uncertainty/plain_colour.py``.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from drypoint.threads import in_stretches
from drypoint.uncertainty.colour_kernels import covariance_kernel, quiet_kernel

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

MOST = 128  # samples after averaging into equal blocks; the fit looks at slow things only
_CORNERS = 6
_WHITE_SHARES = (0.001, 0.03, 0.3)  # the white floor over the first-order plateau
MOST_QUIET = 256  # samples of the stretch beside it, after averaging alike
_LEAST_QUIET = 16  # fewer say nothing
_CORNERS_BESIDE = 9
_WHITE_SHARES_BESIDE = (0.001, 0.01, 0.03, 0.1, 0.3, 1.0)
_WHITE_WEIGHT = 30.0  # weight beforehand of plain white noise, against 1 for each other spectrum


@lru_cache(maxsize=256)
def _halves(n: int) -> tuple[Ints, Floats, Floats]:
    """Order of the rows (even, then odd), and the two halves of the orthonormal cosine transform
    (DCT-II), frequencies last: for the even part of n points, and for the odd part."""
    k = np.arange(n)[:, None]
    t: Floats = np.cos(np.pi * k * (np.arange(n) + 0.5) / n) * np.sqrt(2.0 / n)
    t[0] /= np.sqrt(2.0)
    order = np.concatenate([np.arange(0, n, 2), np.arange(1, n, 2)])
    even = np.ascontiguousarray(t[::2, : (n + 1) // 2].T)
    odd = np.ascontiguousarray(t[1::2, : n // 2].T)
    return order, even, odd


@lru_cache(maxsize=256)
def _spectra(n: int) -> tuple[Floats, Floats]:
    """The spectra, shape (19, n), white first; and the logarithm of their weights beforehand."""
    rows = [np.ones(n)]
    k = np.maximum(np.arange(n), 0.5)
    for corner in range(_CORNERS):
        f0 = np.exp(np.log(3.0 / n) * (1.0 - corner / (_CORNERS - 1.0)))
        plateau = 1.0 / (1.0 + (2.0 * np.sin(np.pi * k / (2.0 * n)) / f0) ** 2)
        rows += [share + plateau for share in _WHITE_SHARES]
    weights = np.zeros(len(rows))
    weights[0] = np.log(_WHITE_WEIGHT)
    return np.array(rows), weights


@lru_cache(maxsize=256)
def _spectra_beside(n: int, m: int) -> tuple[Floats, Floats, Floats]:
    """Spectra of a fit of n blocks and of the stretch of m beside it, shapes (55, n) and (55, m),
    white first; and the logarithm of their weights beforehand (together as in :func:`_spectra`).

    k = 0 of the fit: n times the variance of the mean, for AR(1) of plateau 1
    ``1 - 2 rho (1 - rho^n) / (n (1 - rho^2))``.
    """
    fit, beside = [np.ones(n)], [np.ones(m)]
    for f0 in np.geomspace(3.0 / max(n, m), 1.0, _CORNERS_BESIDE):
        one, other = (
            1.0 / (1.0 + (2.0 * np.sin(np.pi * np.arange(k) / (2.0 * k)) / f0) ** 2) for k in (n, m)
        )
        rho = (0.5 * (np.sqrt(f0 * f0 + 4.0) - f0)) ** 2
        one[0] = 1.0 - 2.0 * rho * (1.0 - rho**n) / (n * (1.0 - rho * rho))
        fit += [share + one for share in _WHITE_SHARES_BESIDE]
        beside += [share + other for share in _WHITE_SHARES_BESIDE]
    weights = np.full(len(fit), np.log(_CORNERS * len(_WHITE_SHARES) / (len(fit) - 1.0)))
    weights[0] = np.log(_WHITE_WEIGHT)
    return np.array(fit), np.array(beside), weights


@lru_cache(maxsize=256)
def _ready(n: int, m: int) -> tuple[Floats, Floats, Floats, Floats]:
    """Spectra of a fit of n blocks beside m (0: alone) in the kernels' order, their inverses
    (n, spectra), sums of their logarithms, and the logarithm of their weights beforehand."""
    spectra, weights = _spectra(n) if m == 0 else _spectra_beside(n, m)[::2]
    spectra = np.ascontiguousarray(spectra[:, _halves(n)[0]])
    inverse = np.ascontiguousarray(1.0 / spectra.T)
    return spectra, inverse, np.log(spectra).sum(axis=1), weights


@lru_cache(maxsize=256)
def _ready_beside(longer: int, m: int) -> tuple[Floats, Floats, Floats, Floats, Floats]:
    """For a quiet stretch of m blocks, ``longer`` the larger of this and the fit's, as
    :func:`quiet_kernel` wants them: orthonormal parabola, its transform, inverse spectra,
    Cholesky's factors, constants."""
    order, even, odd = _halves(m)
    q = np.linalg.qr(np.linspace(-1.0, 1.0, m)[:, None] ** np.arange(3))[0].T
    half = m // 2
    front, back, middle = q[:, :half], q[:, ::-1][:, :half], q[:, half : m - half]
    model = np.concatenate(
        [np.concatenate([front + back, middle], axis=1) @ even, (front - back) @ odd], axis=1
    )
    spectra = _spectra_beside(longer, m)[1][:, order]
    inverse = np.ascontiguousarray(1.0 / spectra)
    low = np.linalg.cholesky(np.einsum("ik,sk,jk->sij", model, inverse, model))
    logdet = 2.0 * np.log(np.einsum("sii->si", low)).sum(axis=1)
    rows, columns = np.tril_indices(3)
    factors = low[:, rows, columns]
    factors[:, rows == columns] = 1.0 / factors[:, rows == columns]
    constant = -0.5 * (np.log(spectra).sum(axis=1) + logdet)
    return np.ascontiguousarray(q), model, inverse, factors, constant


def quiet_blocks(samples: int, n: int) -> int:
    """Blocks of a quiet stretch of so many samples beside a fit of n; 0: it says nothing."""
    m = min(samples // (-(-n // MOST)), MOST_QUIET)
    return m if m >= _LEAST_QUIET else 0


@dataclass(frozen=True)
class Quiet:
    """Stretches of the same noise beside fits: where nothing but noise and drift moves the signal
    (a hold), at the sampling rate of the fits.

    ``signal`` has shape (n_samples,), any unit; ``start`` and ``stop`` shape (n_stretches,), equal
    where there is none; ``which`` (n_fits,) is the stretch of each fit, by default in their order.
    What a stretch says of the spectra is worked out once for all fits beside it.
    """

    signal: Floats
    start: Ints
    stop: Ints
    which: Ints | None = None
    known: dict[tuple[int, int], tuple[Ints, Floats]] = field(
        default_factory=dict, repr=False, compare=False
    )

    def of(self, fits: Ints) -> Quiet:
        """The same for some of the fits."""
        return replace(self, which=fits if self.which is None else self.which[fits])

    @property
    def stretch(self) -> Ints:
        """Stretch of each fit."""
        return np.arange(len(self.start)) if self.which is None else self.which

    def likelihoods(self, which: Ints, n: int) -> Floats:
        """Log-likelihood of each spectrum, shape (stretches, spectra), beside fits of n samples,
        from stretches of one length that is enough for :func:`quiet_blocks`."""
        samples = int(self.stop[which[0]] - self.start[which[0]])
        block = -(-n // MOST)
        m = quiet_blocks(samples, n)
        longer = max(n // block, m)
        parabola, *ready = _ready_beside(longer, m)

        def find(stretches: Ints) -> Floats:
            stop = self.stop[stretches].astype(np.int64)
            halves = _halves(m)[1:]

            def some(a: int, b: int) -> Floats:
                signal, ends = self.signal, stop[a:b]
                return np.asarray(quiet_kernel(signal, ends, block, parabola, *halves, *ready))

            return np.concatenate(in_stretches(len(stop), some))

        if longer > m:
            return find(which)
        # The spectra are those of the stretch, whatever the length of the fit.
        if (block, samples) not in self.known:
            alike = np.flatnonzero(self.stop - self.start == samples)
            self.known[block, samples] = alike, np.full((len(alike), len(ready[-1])), np.nan)
        alike, table = self.known[block, samples]
        rows = np.searchsorted(alike, which)
        new = np.unique(rows[np.isnan(table[rows, 0])])
        if len(new):
            table[new] = find(alike[new])
        return np.asarray(table[rows])


def covariances_of(
    jac: Floats, resid: Floats, first: Ints, n: int, quiet: Quiet | None = None
) -> Floats:
    """Covariance of the parameters of fits of one length; see the head of this module.

    Parameters
    ----------
    jac : array, shape (n_samples, p)
    resid : array, shape (n_samples,)
    first : array, shape (fits,)
        First sample of each fit.
    n : int
        Samples of each fit, more than p.
    quiet : Quiet, optional
        The stretches beside them, all of one length.

    Returns
    -------
    array, shape (fits, p, p)
        NaN where the parameters cannot be told apart, zero where the residuals are.
    """
    block = -(-n // MOST)
    blocks = n // block
    m = 0
    if quiet is not None and len(first):
        which = quiet.stretch
        m = quiet_blocks(int(quiet.stop[which[0]] - quiet.start[which[0]]), n)
    spectra, inverse, logsum, beforehand = _ready(blocks, m)
    weights = np.tile(beforehand, (len(first), 1))
    if quiet is not None and m:
        weights += quiet.likelihoods(which, n)
    even, odd = _halves(blocks)[1:]

    def some(a: int, b: int) -> Floats:
        return np.asarray(
            covariance_kernel(
                jac, resid, first[a:b], n, block, even, odd, spectra, inverse, logsum,
                weights[a:b],
            )
        )  # fmt: skip

    return np.concatenate(in_stretches(len(first), some))
