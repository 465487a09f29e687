"""A film inference as a problem of least squares: its numbers, its data, and what these share."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from drypoint.films.forward import Forward
from drypoint.films.given import FilmTests, Structure
from drypoint.films.least import STEP, Fit, fit
from drypoint.uncertainty.joint import Joint, join

Floats = NDArray[np.float64]

#: How far from its start a modulus or thickness may go.
REACH = 1e3
#: How much thinner than the largest contact, or thicker, a thickness is sought.
THIN = 100.0


class Posed:
    """Maps between the sought parameters (logarithms of what is positive) and all numbers."""

    def __init__(self, tests: FilmTests, structure: Structure, run: Forward) -> None:
        self.tests, self.structure, self.run = tests, structure, run
        pairs = list(structure.entries())
        self.values = np.array([e.value for _, e in pairs])
        self.where = np.array([i for i, (_, e) in enumerate(pairs) if e.sought])
        self.names = tuple(pairs[i][0] for i in self.where)
        self.entries = [pairs[i][1] for i in self.where]
        self.relative = np.array([not n.endswith(".nu") for n in self.names])
        self.log_a = np.log(tests.radius)

    def start(self) -> Floats:
        """The sought numbers as stated, moduli and thicknesses as logarithms."""
        v = self.values[self.where]
        return np.where(self.relative, np.log(np.where(self.relative, v, 1.0)), v)

    def unfold(self, p: Floats) -> Floats:
        """All numbers, the sought ones put in place."""
        out = self.values.copy()
        out[self.where] = np.where(self.relative, np.exp(np.where(self.relative, p, 0.0)), p)
        return out

    def model(self, p: Floats) -> Floats:
        """ln E_eff* of every test."""
        return self.run(self.unfold(p), self.log_a)

    def prior(self) -> tuple[Floats, Floats]:
        """What was known before: mean and standard uncertainty, infinite where nothing."""
        u = np.array(
            [e.u / e.value if r else e.u for e, r in zip(self.entries, self.relative, strict=True)]
        )
        return self.start(), u

    def starts(self) -> list[Floats]:
        """Where the search begins: as stated, but what the tests show of the top layer for its
        modulus, and several thicknesses where nothing is known of one."""
        first = self.start()
        t = self.tests
        if self.names[0] == f"{self.structure.layers[0].name}.E" and not np.isfinite(
            self.entries[0].u
        ):
            first[0] = np.log(t.shallow)
        out = [first]
        for j, (name, entry) in enumerate(zip(self.names, self.entries, strict=True)):
            if name.endswith(".t") and not np.isfinite(entry.u):
                for other in np.log(np.geomspace(t.radius.min(), 3 * t.radius.max(), 3)):
                    more = first.copy()
                    more[j] = other
                    out.append(more)
        # A model may have no value there: its tip would be through the film.
        return [p for p in out if np.all(np.isfinite(self.model(p)))] or [first]

    def bounds(self, p: Floats) -> tuple[Floats, Floats]:
        """How far from where it begins a search may go."""
        far = np.log(REACH)
        low = np.where(self.relative, p - far, -0.4)
        high = np.where(self.relative, p + far, 0.4999)
        for j, (name, entry) in enumerate(zip(self.names, self.entries, strict=True)):
            if name.endswith(".t") and not np.isfinite(entry.u):
                # A film of which no contact tells anything is not worth the search.
                low[j] = min(p[j], np.log(self.tests.radius.max() / THIN))
                high[j] = max(p[j], np.log(self.tests.radius.max() * THIN))
        return low, high

    def fit(self, near: Floats | None = None) -> Fit:
        """The best of the fits from all starts, or the one that starts near an earlier answer."""
        t = self.tests
        found = [
            fit(
                self.model, np.log(t.E_star), t.u_random / t.E_star, start, self.prior(),
                self.bounds(start), self.shared,
            )
            for start in (self.starts() if near is None else [near])
        ]  # fmt: skip
        return min(found, key=lambda one: (one.at_bound, one.cost))

    def shared(self, p: Floats) -> Floats:
        """What all tests share, as columns of unit variance, shape (n, k)."""
        inputs, slopes = self.residual_slopes(p)
        return slopes @ _root(inputs.cov)

    def residual_slopes(self, p: Floats) -> tuple[Joint, Floats]:
        """Given inputs, and the derivative of the residuals with respect to them."""
        t = self.tests
        values = self.unfold(p)
        bend = (self.run(values, self.log_a + STEP) - self.run(values, self.log_a - STEP)) / (
            2 * STEP
        )
        bench = t.jac_E / t.E_star[:, None] - bend[:, None] * t.jac_radius / t.radius[:, None]
        layers = self.structure.known_inputs(t.inputs.names)
        for i, (_, e) in enumerate(self.structure.entries()):
            if not e.sought and e.shared in t.inputs.names:
                bench[:, t.inputs.index(e.shared)] -= self._slope(values, i)
        columns = [bench]
        for name in layers.names:
            i = self.structure.names.index(name)
            columns.append(-self._slope(values, i)[:, None])
        return join([t.inputs, layers]), np.concatenate(columns, axis=1)

    def _slope(self, values: Floats, i: int) -> Floats:
        ratio = self.structure.names[i].endswith(".nu")
        step = STEP if ratio else STEP * values[i]
        up, down = values.copy(), values.copy()
        up[i], down[i] = values[i] + step, values[i] - step
        if ratio:
            up[i] = min(up[i], 0.5)
        width = up[i] - down[i]
        return (self.run(up, self.log_a) - self.run(down, self.log_a)) / width


def _root(cov: Floats) -> Floats:
    """L with L L' = cov; a covariance may be singular.

    Of the correlations: in pascals and metres side by side, the rounding of the largest eigenvalue
    would be larger than the smallest.
    """
    sd = np.sqrt(np.maximum(np.diag(cov), 0.0))
    scale = np.where(sd > 0, sd, 1.0)
    w, v = np.linalg.eigh((cov + cov.T) / (2 * np.outer(scale, scale)))
    return np.asarray(sd[:, None] * v * np.sqrt(np.maximum(w, 0.0)))
