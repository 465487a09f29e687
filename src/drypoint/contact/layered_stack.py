"""A stack of elastic layers on a half-space or on a rigid base.

Lengths in m, moduli in Pa. The top layer comes first. Interfaces are bonded unless a layer says
``slips``, which is a frictionless interface that does not open.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from drypoint.errors import ContactError


@dataclass(frozen=True)
class Medium:
    """An isotropic elastic solid.

    Parameters
    ----------
    E : float
        Young's modulus, Pa.
    nu : float
        Poisson's ratio, -1 < nu <= 1/2.

    Raises
    ------
    ContactError
        When the modulus is not positive or Poisson's ratio is outside its bounds.
    """

    E: float
    nu: float

    def __post_init__(self) -> None:
        if not 0 < self.E < np.inf:
            raise ContactError(
                f"The modulus of a layer or substrate is a positive number, not {self.E:.4g} Pa.",
                remedy="Give it in Pa; for a rigid base leave the substrate out.",
            )
        if not -1 < self.nu <= 0.5:
            raise ContactError(
                f"Poisson's ratio lies above -1 and not above 1/2; {self.nu:.4g} does not.",
                remedy="Check Poisson's ratio of the layer or substrate.",
            )

    @property
    def mu(self) -> float:
        """Shear modulus, Pa."""
        return self.E / (2 * (1 + self.nu))

    @property
    def E_star(self) -> float:
        """Plane-strain modulus E/(1 - nu^2), Pa."""
        return self.E / (1 - self.nu**2)


@dataclass(frozen=True)
class Layer(Medium):
    """A layer of finite thickness.

    Parameters
    ----------
    thickness : float
        In m.
    slips : bool
        Whether its lower face slides without friction on what is below.

    Raises
    ------
    ContactError
        When the thickness is not positive, or the material is impossible.
    """

    thickness: float = np.nan
    slips: bool = False

    def __post_init__(self) -> None:
        super().__post_init__()
        if not 0 < self.thickness < np.inf:
            raise ContactError(
                f"The thickness of a layer is a positive length, not {self.thickness:.4g} m.",
                remedy="Give the thickness of every layer, in m.",
            )


@dataclass(frozen=True)
class Stack:
    """Layers from the top down, and what carries them.

    Parameters
    ----------
    layers : tuple of Layer
        May be empty: a homogeneous half-space.
    substrate : Medium or None
        ``None`` is a rigid base; then at least one layer is needed.

    Raises
    ------
    ContactError
        When there is neither a layer nor a substrate.
    """

    layers: tuple[Layer, ...]
    substrate: Medium | None

    def __post_init__(self) -> None:
        if not self.layers and self.substrate is None:
            raise ContactError(
                "There is nothing to press on: no layer and a rigid base.",
                remedy="Give a substrate, or a layer on the rigid base.",
            )

    @property
    def media(self) -> tuple[Medium, ...]:
        """All elastic parts from the top down."""
        return (*self.layers, self.substrate) if self.substrate is not None else self.layers

    @property
    def top(self) -> Medium:
        """What the indenter touches."""
        return self.media[0]

    @property
    def unit(self) -> float:
        """Length by which the kernels are scaled: thickness of the top layer, 1 m without one."""
        return self.layers[0].thickness if self.layers else 1.0


def film(E_f: float, nu_f: float, t: float, E_s: float, nu_s: float, slips: bool = False) -> Stack:
    """One film of thickness t (m) on a half-space; moduli in Pa."""
    return Stack((Layer(E_f, nu_f, t, slips),), Medium(E_s, nu_s))
