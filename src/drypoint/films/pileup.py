"""Pile-up and sink-in on a coated specimen: signs, size, and what the size does to a film value."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from drypoint.contact.pile_up import ANGLES, area_ratio_film, elastic_share
from drypoint.films.given import FilmTests
from drypoint.films.hardness import HardnessTests
from drypoint.films.problems import FilmError
from drypoint.uncertainty.joint import Joint, join, single

Floats = NDArray[np.float64]

#: h_p/h_max above which an area from the contact depth is too small [bolshakov1998].
PILE_UP = 0.7
#: Elastic share of the work over the one that goes with h_p/h_max, above which something is odd.
ODD = 1.5
#: Work of loading over F h, above that of a homogeneous solid, at which the base is said to yield.
YIELDS = 0.03
#: Name of the shared input that stands for where in their range the true areas lie.
AREA = "area.pile_up"
#: That input lies anywhere between -1 and 1 [gum2008].
_U = 1 / np.sqrt(3.0)


@dataclass(frozen=True)
class AreaSize:
    """True over assumed contact area of each test; arrays of shape (n,).

    Parameters
    ----------
    low, high : array
        What h_p/h_max and the work of loading allow (:mod:`drypoint.contact.pile_up`); 1 where they
        are not known.
    known : array of bool
        Where they are.
    """

    low: Floats
    high: Floats
    known: NDArray[np.bool_]

    @property
    def middle(self) -> Floats:
        """Geometric middle of the range."""
        return np.sqrt(self.low * self.high)

    @property
    def half(self) -> Floats:
        """Half width of the range of ln(true/assumed area)."""
        return np.log(self.high / self.low) / 2

    def without(self, measured: NDArray[np.bool_]) -> AreaSize:
        """The same, where areas that were measured on the impressions are as they are."""
        return AreaSize(
            np.where(measured, 1.0, self.low), np.where(measured, 1.0, self.high),
            self.known & ~measured,
        )  # fmt: skip


def area_size(
    depth_ratio: Floats, excess: Floats, a_over_t: Floats, half_angle: float
) -> AreaSize | None:
    """Range of the true area; ``None`` for tips for which the tables do not stand.

    Both ratios enter as a running median over an eighth of the tests, by contact radius: they
    belong to the specimen, and their scatter does not.

    Parameters
    ----------
    depth_ratio : array, shape (n,)
        h_p/h_max, without what creep at the peak adds; NaN where not known.
    excess : array, shape (n,)
        Work of loading over F h less that of a homogeneous solid under the same tip.
    a_over_t : array, shape (n,)
        Contact radius over the film's thickness.
    half_angle : float
        Of the cone with the tip's area, rad; NaN for a ball or punch.
    """
    if not ANGLES[0] <= half_angle <= ANGLES[1]:
        return None
    known = np.isfinite(depth_ratio) & np.isfinite(excess) & np.isfinite(a_over_t)
    low, high = np.ones(len(known)), np.ones(len(known))
    x = a_over_t[known]
    low[known], high[known] = area_ratio_film(
        _running(depth_ratio[known], x), _running(excess[known], x), x
    )
    return AreaSize(low, high, known)


def _running(values: Floats, along: Floats) -> Floats:
    """Running median over an eighth of the values, in the order of ``along``."""
    order = np.argsort(along, kind="stable")
    side = len(values) // 16
    out = np.empty_like(values)
    for k, i in enumerate(order):
        out[i] = np.median(values[order[max(k - side, 0) : k + side + 1]])
    return out


def _moved(tests: FilmTests, ratio: Floats, E_r: Floats | None) -> tuple[Floats, Floats]:
    """Radius and modulus with the areas times ``ratio``; E_r goes with one over their root."""
    root = np.sqrt(ratio)
    r = tests.E_star if E_r is None else E_r
    rest = root / r - (1 / r - 1 / tests.E_star)
    return tests.radius * root, 1 / np.where(rest > 0, rest, np.nan)


def with_areas(tests: FilmTests, ratio: Floats, E_r: Floats | None = None) -> FilmTests:
    """The tests with true areas in place, each ``ratio`` times the assumed one.

    Parameters
    ----------
    tests : FilmTests
    ratio : array, shape (n,)
    E_r : array, shape (n,), optional
        Reduced moduli, Pa, of which an elastic tip is a part; left out for a rigid one.
    """
    radius, E = _moved(tests, ratio, E_r)
    if not np.all(np.isfinite(E)):
        raise FilmError(
            "With areas that small a reduced modulus is above the indenter's own.",
            remedy="Check area function, frame compliance and beta.",
        )
    by = E / tests.E_star
    wide = radius / tests.radius
    return replace(
        tests, radius=radius, E_star=E, u_random=tests.u_random * by,
        depth=None if tests.depth is None else tests.depth * np.sqrt(ratio),
        jac_E=tests.jac_E * by[:, None], jac_radius=tests.jac_radius * wide[:, None],
    )  # fmt: skip


def count_areas(tests: FilmTests, size: AreaSize, E_r: Floats | None = None) -> FilmTests:
    """The tests with areas in the middle of their range, and the range as a shared input.

    One input for all tests: what decides the place in the range, the film's hardening, is the same
    for all. Anywhere in the range is as likely [gum2008].
    """
    at = with_areas(tests, size.middle, E_r)
    up, down = (
        with_areas(tests, size.middle * np.exp(s * size.half * _U), E_r) for s in (1.0, -1.0)
    )
    by_E = (up.E_star - down.E_star) / (2 * _U)
    by_radius = (up.radius - down.radius) / (2 * _U)
    return replace(
        at, inputs=_with_input(at.inputs), jac_E=np.column_stack([at.jac_E, by_E]),
        jac_radius=np.column_stack([at.jac_radius, by_radius]),
    )  # fmt: skip


def count_areas_hardness(tests: HardnessTests, size: AreaSize) -> HardnessTests:
    """The same for hardness, force over area."""
    by = 1 / size.middle
    return replace(
        tests, H=tests.H * by, u_random=tests.u_random * by, inputs=_with_input(tests.inputs),
        jac=np.column_stack([tests.jac * by[:, None], -tests.H * by * size.half]),
    )  # fmt: skip


def _with_input(inputs: Joint) -> Joint:
    return join([inputs, single(AREA, 0.0, float(_U), "range of pile-up and sink-in")])


def pile_up_remarks(
    depth_ratio: Floats,
    work_ratio: Floats | None = None,
    excess: Floats | None = None,
    film_softer: bool | None = None,
) -> tuple[str, ...]:
    """Sentences on pile-up and sink-in; empty when nothing points to either.

    Parameters
    ----------
    depth_ratio : array, shape (n,)
        h_p/h_max, without what creep at the peak adds; NaN where not known.
    work_ratio : array, shape (n,), optional
        W_elast/W_total likewise (a ratio, not percent).
    excess : array, shape (n,), optional
        As for :func:`area_size`.
    film_softer : bool, optional
        Whether the film's modulus is below that of its substrate.
    """
    d = np.asarray(depth_ratio, dtype=float)
    out = []
    many = int(np.sum(d > PILE_UP))
    if many:
        out.append(
            f"In {many} of {len(d)} unloadings h_p/h_max is above {PILE_UP:g}: if the film hardens "
            "little it piles up, and an area from the contact depth is too small."
        )
        if film_softer:
            out.append(
                "A softer film squeezed against a harder substrate piles up more the deeper the "
                "tip goes: trust the shallow tests more, or measure the areas on the impressions."
            )
    if film_softer is False and excess is not None:
        over = int(np.sum(excess > YIELDS))
        if over:
            out.append(
                f"In {over} of {len(d)} unloadings loading took more work than F h/3, or than this "
                "tip takes on one solid: resistance falls with depth. If that is the substrate "
                "yielding under the stiffer film, the film sinks in, and an area from the "
                "contact depth is too large."
            )
    if work_ratio is not None:
        w = np.asarray(work_ratio, dtype=float)
        odd = int(np.sum((d > PILE_UP) & (w > ODD * elastic_share(d))))
        if odd:
            out.append(
                f"In {odd} unloadings h_p/h_max and the work ratio do not fit together: check zero "
                "point and drift before reading anything into either."
            )
    return tuple(out)


def size_words(size: AreaSize) -> str:
    """The size as a sentence: what the true areas may be, and what follows for hardness.

    Empty where the size is known for no test.
    """
    if not np.any(size.known):
        return ""
    low, high = float(np.min(size.low[size.known])), float(np.max(size.high[size.known]))
    return (
        f"By h_p/h_max and the work of loading the true contact areas may be {low:.2f} to "
        f"{high:.2f} times those from the contact depth (finite elements; the range is hardening, "
        f"which a record does not show): hardness {_off(1 / high - 1)} to {_off(1 / low - 1)} of "
        f"what the contact depth gives, modulus {_off(high**-0.5 - 1)} to {_off(low**-0.5 - 1)}."
    )


def _off(x: float) -> str:
    return f"{100 * x:+.0f} %".replace("-", "\N{MINUS SIGN}")
