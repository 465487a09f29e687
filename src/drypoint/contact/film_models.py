"""Approximations for one film on a substrate, by author, with where each may be used.

Every modulus model gives the effective plane-strain modulus E_eff* = S/(2a) of film and substrate
together at contact radius a; :mod:`drypoint.contact.layered` gives the exact value of the elastic
problem. Formulas are from memory unless said otherwise. The stated domains are of two kinds: what
the authors or later work say, and where the model stays within about 5 % of the exact solution
(measured, see docs/reference/film-models.md). Outside, :func:`outside` returns sentences, never
silence. Moduli in Pa, lengths in m; everything broadcasts and accepts complex numbers but for
:func:`exact`.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from drypoint.contact.layered import effective_modulus, film
from drypoint.errors import ContactError

Array = NDArray[Any]

#: Weight of the film in the mixture of Hay and Crawford: how far it acts in series and parallel.
HAY_F = 0.0626
#: Decay of the substrate's part in Doerner and Nix's own formula, with depth over thickness.
DOERNER_ALPHA = 0.25


@dataclass(frozen=True)
class Pair:
    """A film on a substrate. Numbers, or arrays that broadcast.

    Parameters
    ----------
    E_f, nu_f : film, Pa and dimensionless.
    t : film thickness, m.
    E_s, nu_s : substrate.
    """

    E_f: Any
    nu_f: Any
    t: Any
    E_s: Any
    nu_s: Any

    @property
    def film_star(self) -> Array:
        """Plane-strain modulus of the film, Pa."""
        return np.asarray(self.E_f / (1 - self.nu_f * self.nu_f))

    @property
    def substrate_star(self) -> Array:
        """Plane-strain modulus of the substrate, Pa."""
        return np.asarray(self.E_s / (1 - self.nu_s * self.nu_s))


def weight_0(x: ArrayLike, nu: ArrayLike) -> Array:
    """I_0(t/a) of [gao1992], the film's weight in the shear modulus; 0 without film, 1 if thick.

    I_0 = (2/pi) atan x + [(1 - 2 nu) x ln((1 + x^2)/x^2) - x/(1 + x^2)] / (2 pi (1 - nu)).
    """
    y, v = np.asarray(x), np.asarray(nu)
    log = np.log1p(1 / (y * y))
    bend = ((1 - 2 * v) * y * log - y / (1 + y * y)) / (2 * np.pi * (1 - v))
    return np.asarray(2 / np.pi * np.arctan(y) + bend)


def weight_1(x: ArrayLike) -> Array:
    """I_1(t/a) of [gao1992], for Poisson's ratio: (2/pi) atan x + (x/pi) ln((1 + x^2)/x^2)."""
    y = np.asarray(x)
    return np.asarray(2 / np.pi * np.arctan(y) + y / np.pi * np.log1p(1 / (y * y)))


def gao_chiu_lee(pair: Pair, a: ArrayLike, depth: ArrayLike | None = None) -> Array:
    """Weighted shear modulus and Poisson's ratio, E_eff* = 2 mu_eff/(1 - nu_eff) [gao1992].

    Exact to first order in the mismatch. The weight takes the film's Poisson's ratio.
    """
    x = pair.t / np.asarray(a)
    mu_f, mu_s = pair.E_f / (2 * (1 + pair.nu_f)), pair.E_s / (2 * (1 + pair.nu_s))
    mu = mu_s + (mu_f - mu_s) * weight_0(x, pair.nu_f)
    nu = pair.nu_s + (pair.nu_f - pair.nu_s) * weight_1(x)
    return np.asarray(2 * mu / (1 - nu))


def hay_crawford(pair: Pair, a: ArrayLike, depth: ArrayLike | None = None) -> Array:
    """Film in series and in parallel with the substrate [hay2011].

    1/mu = (1 - I_0)/(mu_s + F I_0 mu_f) + I_0/mu_f with F = 0.0626, and
    nu = 1 - (1 - nu_s)(1 - nu_f)/(1 - (1 - I_1) nu_f - I_1 nu_s).
    """
    x = pair.t / np.asarray(a)
    I0, I1 = weight_0(x, pair.nu_f), weight_1(x)
    mu_f, mu_s = pair.E_f / (2 * (1 + pair.nu_f)), pair.E_s / (2 * (1 + pair.nu_s))
    mu = 1 / ((1 - I0) / (mu_s + HAY_F * I0 * mu_f) + I0 / mu_f)
    one_less_nu = (1 - pair.nu_s) * (1 - pair.nu_f) / (1 - (1 - I1) * pair.nu_f - I1 * pair.nu_s)
    return np.asarray(2 * mu / one_less_nu)


def _compliances(pair: Pair, share: Array) -> Array:
    return np.asarray(1 / ((1 - share) / pair.film_star + share / pair.substrate_star))


def king_alpha(a_over_t: ArrayLike, nu: ArrayLike = 0.3) -> Array:
    """The exponent alpha(a/t) of a circular punch of radius a, dimensionless.

    [king1987] gives alpha as curves, which are not at hand. This is the value that makes the
    formula right to first order in the mismatch: alpha = -(a/t) ln(1 - I_0(t/a)) with I_0 of
    [gao1992]; King's own abscissa uses sqrt(A) = sqrt(pi) a. In the exact solution alpha also
    depends on the mismatch, which the formula does not have.
    """
    y = np.asarray(a_over_t)
    return np.asarray(-y * np.log(1 - weight_0(1 / y, nu)))


def doerner_nix(pair: Pair, a: ArrayLike, depth: ArrayLike | None = None) -> Array:
    """1/E* = (1 - e)/E_f* + e/E_s*, e = exp(-0.25 t/h_c), h_c contact depth [doerner1986].

    The constant was found on one metal film on silicon.
    """
    h = _depth(depth, "Doerner and Nix")
    return _compliances(pair, np.exp(-DOERNER_ALPHA * pair.t / h))


def doerner_nix_king(pair: Pair, a: ArrayLike, depth: ArrayLike | None = None) -> Array:
    """1/E* = (1 - e)/E_f* + e/E_s*, e = exp(-alpha t/a) [doerner1986] [king1987].

    alpha from :func:`king_alpha`.
    """
    x = np.asarray(a)
    return _compliances(pair, np.exp(-king_alpha(x / pair.t, pair.nu_f) * pair.t / x))


def saha_nix(pair: Pair, a: ArrayLike, depth: ArrayLike | None = None) -> Array:
    """King's formula for a flat punch at the tip: t - h in place of t [saha2002].

    NaN where the tip has gone through the film. h is the contact depth.
    """
    h, x = _depth(depth, "Saha and Nix"), np.asarray(a)
    left = pair.t - h
    within = np.real(left) > 0
    rest = np.where(within, left, 1.0)
    share = np.exp(-king_alpha(x / rest, pair.nu_f) * rest / x)
    return np.where(within, _compliances(pair, share), np.nan)


def exact(pair: Pair, a: ArrayLike, depth: ArrayLike | None = None) -> Array:
    """The exact elastic solution for a bonded film, E_eff* (the pair must be numbers)."""
    stack = film(
        float(pair.E_f), float(pair.nu_f), float(pair.t), float(pair.E_s), float(pair.nu_s)
    )
    return effective_modulus(stack, a)


def _depth(depth: ArrayLike | None, who: str) -> Array:
    if depth is None:
        raise ContactError(
            f"The model of {who} needs the contact depth of each test.", remedy="Give h_c."
        )
    return np.asarray(depth)


def hay_crawford_film_modulus(
    E_eff_star: ArrayLike, nu_f: float, t: float, E_s: float, nu_s: float, a: ArrayLike
) -> Array:
    """Film modulus E_f (Pa) from each measured E_eff* by [hay2011], a quadratic for mu_f.

    A mu_f^2 + B mu_f + C = 0 with A = F I_0, B = mu_s - (F I_0^2 - I_0 + 1) mu, C = -I_0 mu mu_s
    and mu = E_eff* (1 - nu)/2.
    """
    x = t / np.asarray(a)
    I0, I1 = weight_0(x, nu_f), weight_1(x)
    one_less_nu = (1 - nu_s) * (1 - nu_f) / (1 - (1 - I1) * nu_f - I1 * nu_s)
    mu, mu_s = np.asarray(E_eff_star) * one_less_nu / 2, E_s / (2 * (1 + nu_s))
    A, B = HAY_F * I0, mu_s - (HAY_F * I0 * I0 - I0 + 1) * mu
    C = -I0 * mu * mu_s
    return np.asarray((1 + nu_f) * (-B + np.sqrt(B * B - 4 * A * C)) / A)


@dataclass(frozen=True)
class Model:
    """A modulus model.

    Parameters
    ----------
    key, title : str
        Name in code, name in tables.
    effective : callable
        (pair, a, contact depth or None) -> E_eff*, Pa.
    needs_depth : bool
    ratio : (float, float)
        Range of E_f*/E_s* in which it may be used.
    a_over_t : float
        Largest a/t.
    grounds : str
        What the domain rests on.
    """

    key: str
    title: str
    effective: Callable[..., Array]
    needs_depth: bool
    ratio: tuple[float, float]
    a_over_t: float
    grounds: str


MODELS: dict[str, Model] = {
    m.key: m
    for m in (
        Model(
            "exact",
            "exact layered contact",
            exact,
            False,
            (0.0, np.inf),
            np.inf,
            "linear elasticity, no friction, flat film",
        ),
        Model(
            "hay-crawford",
            "Hay and Crawford",
            hay_crawford,
            False,
            (0.4, 10.0),
            np.inf,
            "within about 5 % of the exact solution there",
        ),
        Model(
            "gao-chiu-lee",
            "Gao, Chiu and Lee",
            gao_chiu_lee,
            False,
            (0.7, 1.7),
            np.inf,
            "within about 5 % of the exact solution there; published: 0.5 to 2 [perriot2004]",
        ),
        Model(
            "doerner-nix-king",
            "Doerner and Nix with King's form",
            doerner_nix_king,
            False,
            (0.4, 1.7),
            np.inf,
            "within about 5 % of the exact solution there",
        ),
        Model(
            "saha-nix",
            "King as modified by Saha and Nix",
            saha_nix,
            True,
            (0.5, 2.0),
            2.5,
            "the tip is within the film; a correction for plastic flow, not for elasticity",
        ),
        Model(
            "doerner-nix",
            "Doerner and Nix",
            doerner_nix,
            True,
            (0.5, 2.0),
            1.0,
            "constant found on one metal film on silicon [doerner1986]",
        ),
    )
}


def outside(
    model: Model, pair: Pair, a: ArrayLike, depth: ArrayLike | None = None
) -> tuple[str, ...]:
    """Sentences on what lies outside a model's domain; empty when nothing does."""
    out = []
    ratio = float(np.max(pair.film_star / pair.substrate_star))
    if not model.ratio[0] <= ratio <= model.ratio[1]:
        out.append(
            f"{model.title}: E_f*/E_s* = {ratio:.3g} is outside {model.ratio[0]:g} to "
            f"{model.ratio[1]:g} ({model.grounds})."
        )
    far = float(np.max(np.asarray(a) / pair.t))
    if far > model.a_over_t:
        out.append(
            f"{model.title}: a/t reaches {far:.3g}, beyond {model.a_over_t:g} ({model.grounds})."
        )
    if model.needs_depth and depth is not None:
        through = int(np.sum(np.asarray(depth) >= pair.t))
        if through:
            out.append(f"{model.title}: in {through} tests the tip has gone through the film.")
    return tuple(out)
