"""Axisymmetric tips: height of the surface above the lowest point, against radius."""

from __future__ import annotations

from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.interpolate import PchipInterpolator

from drypoint.errors import StressError
from drypoint.stress import touch
from drypoint.tips.area import area
from drypoint.tips.tip import Tip

Floats = NDArray[np.float64]
_CURVE_POINTS = 400


@dataclass(frozen=True)
class Profile:
    """A rigid tip, or one with its own elastic constants ``E_i`` (Pa) and ``nu_i``.

    Made by :func:`cone`, :func:`sphere`, :func:`paraboloid`, :func:`flat_punch`, :func:`from_tip`.
    ``h_limit`` is the depth (m) up to which the shape is known.
    """

    name: str
    kind: int
    numbers: tuple[float, float, float, float]
    curve: Floats = field(default_factory=lambda: np.zeros((2, 3)))
    r_limit: float = np.inf
    h_limit: float = np.inf
    E_i: float | None = None
    nu_i: float = 0.0

    @property
    def kernel(self) -> tuple[int, Floats, Floats, float]:
        """The tip as :func:`drypoint.stress.touch.press` wants it."""
        return self.kind, np.array(self.numbers), self.curve, self.r_limit

    @property
    def E_star_tip(self) -> float:
        """E_i/(1 - nu_i^2), Pa; infinite for a rigid tip."""
        return np.inf if self.E_i is None else self.E_i / (1 - self.nu_i**2)

    def height(self, r: ArrayLike) -> Floats:
        """Height above the lowest point at radius r, m."""
        flat = np.atleast_1d(np.asarray(r, dtype=np.float64))
        kind, numbers, curve, _ = self.kernel
        return np.array([touch.profile(x, kind, numbers, curve)[0] for x in flat])

    def radius(self, height: float) -> float:
        """Radius at which the tip has a height, m."""
        if self.kind == touch.FLAT:
            return self.numbers[0]
        a, b, c, d = self.numbers
        if self.kind == touch.PARABOLOID:
            return float(np.sqrt(2 * a * height))
        if self.kind == touch.SPHERE:
            return float(np.sqrt(max(2 * a * height - height**2, 0.0)))
        if self.kind == touch.CONE:
            ball = c > 0 and height < c / b - d
            return float(np.sqrt(2 * a * height - height**2) if ball else (height + d) * b)
        return float(np.interp(height, self.curve[:, 1], self.curve[:, 0]))

    def area(self, height: float) -> float:
        """Projected area at a height, m^2: what an instrument's area function says."""
        return float(np.pi * self.radius(height) ** 2)

    def elastic(self, E_i: float, nu_i: float) -> Profile:
        """The same tip with elastic constants of its own."""
        if not (E_i > 0 and -1 < nu_i < 0.5):
            raise StressError(
                f"A tip cannot have E_i = {E_i:.4g} Pa and nu_i = {nu_i:.4g}.",
                remedy="Diamond: 1140e9 Pa and 0.07.",
            )
        return replace(self, E_i=E_i, nu_i=nu_i)

    def check(self, h: float) -> None:
        """Refuse a depth the tip does not reach."""
        if h > self.h_limit * (1 + 1e-12):
            raise StressError(
                f"A depth of {h * 1e9:.4g} nm is more than tip “{self.name}” is known for, "
                f"{self.h_limit * 1e9:.4g} nm.",
                remedy="Stay within the tip's height or the range of its area function.",
            )


def _positive(**values: float) -> None:
    for name, value in values.items():
        if not (np.isfinite(value) and value > 0):
            raise StressError(f"A tip's {name} of {value:.4g} is not above zero.", remedy="Give m.")


def cone(half_angle: float, radius: float = 0.0, height: float = np.inf) -> Profile:
    """Cone of a half angle (rad), with a round end of a radius (m) that runs over smoothly.

    Tangent sphere up to r_t = R cos(psi); beyond it the cone, lower by R (1/sin(psi) - 1) than a
    sharp one (plane geometry). ``height`` (m) is that of the cone, beyond which it ends.
    """
    if not (np.radians(10) <= half_angle <= np.radians(89) and radius >= 0 and height > 0):
        raise StressError(
            f"A cone cannot have a half angle of {np.degrees(half_angle):.4g} degrees, an end "
            f"radius of {radius:.4g} m and a height of {height:.4g} m.",
            remedy="The half angle is between axis and side, 10 to 89 degrees, in rad.",
        )
    t = float(np.tan(half_angle))
    lost = radius * (1 / np.sin(half_angle) - 1)
    numbers = (radius, t, float(radius * np.cos(half_angle)), float(lost))
    name = f"cone {np.degrees(half_angle):.4g}°"
    return Profile(name, touch.CONE, numbers, h_limit=height)


def sphere(radius: float) -> Profile:
    """Ball of a radius, m; known to 0.9 of the radius."""
    _positive(radius=radius)
    return Profile("sphere", touch.SPHERE, (radius, 0.0, 0.0, 0.0), h_limit=0.9 * radius)


def paraboloid(radius: float) -> Profile:
    """z = r^2/(2 R): Hertz's approximation of a ball, for checks."""
    _positive(radius=radius)
    return Profile("paraboloid", touch.PARABOLOID, (radius, 0.0, 0.0, 0.0))


def flat_punch(radius: float) -> Profile:
    """Flat-ended cylinder of a radius, m. Its side never touches."""
    _positive(radius=radius)
    return Profile("flat punch", touch.FLAT, (radius, 0.0, 0.0, 0.0), r_limit=radius)


def _ideal(tip: Tip) -> Profile | None:
    """The tip as a closed form, where it is one without a rounded pyramid's end."""
    if tip.area.kind != "ideal" or tip.geometry.shape == "sphero-cone":
        return None
    if tip.geometry.shape == "flat punch":
        return flat_punch(float(tip.geometry.radius or 0.0))
    if tip.geometry.shape == "sphere":
        return sphere(float(tip.geometry.radius or 0.0))
    return cone(float(np.arctan(np.sqrt(area(tip, {}, 1.0) / np.pi))))


def from_tip(tip: Tip, h_max: float) -> Profile:
    """Body of revolution with the tip's area at every depth: r(h) = sqrt(A_p(h)/pi).

    Known up to ``h_max`` (m), with the tip's elastic constants. Between 400 points, spaced evenly
    in the root of depth, runs a cubic that keeps the slope's sign [fritsch1984].
    """
    _positive(depth=h_max)
    ideal = _ideal(tip)
    if ideal is not None:
        return replace(ideal, name=tip.name, E_i=tip.E_i, nu_i=tip.nu_i)
    top = min(2 * h_max, tip.area.h_max) if np.isfinite(tip.area.h_max) else 2 * h_max
    h = top * np.linspace(0, 1, _CURVE_POINTS + 1)[1:] ** 2
    A = np.asarray(area(tip, {}, h), dtype=np.float64)
    r = np.sqrt(A / np.pi)
    if not (np.all(np.isfinite(A)) and np.all(A > 0) and np.all(np.diff(r) > 0)):
        raise StressError(
            f"The area function of tip “{tip.name}” does not grow all the way to "
            f"{top * 1e9:.4g} nm.",
            remedy="Give a smaller depth, or an area function that holds there.",
        )
    r, h = np.concatenate([[0.0], r]), np.concatenate([[0.0], h])
    slope = PchipInterpolator(r, h).derivative()(r)
    curve = np.ascontiguousarray(np.column_stack([r, h, slope]))
    return Profile(
        tip.name, touch.CURVE, (0.0,) * 4, curve, h_limit=float(top), E_i=tip.E_i, nu_i=tip.nu_i
    )
