"""Plain sentences on what a film inference found."""

from __future__ import annotations

import numpy as np
from scipy.special import chdtrc

from drypoint.contact.film_models import outside
from drypoint.films.forward import model_of, pair_of
from drypoint.films.least import Fit
from drypoint.films.posed import REACH, Posed


def short(x: float, digits: int = 2) -> str:
    """A few digits, without an exponent where it can be."""
    if x == 0 or 1e-4 < abs(x) < 10**digits:
        return f"{x:.{digits}g}"
    return f"{x:.0f}" if 1 <= abs(x) < 1e6 else f"{x:.{digits - 1}e}"


def words(name: str) -> str:
    """What a number of the structure is: ``film.E`` -> modulus of film."""
    layer, _, kind = name.rpartition(".")
    return f"{ {'E': 'modulus', 'nu': 'Poisson ratio', 't': 'thickness'}[kind] } of {layer}"


def remarks_on(
    problem: Posed, found: Fit, model: str, identified: tuple[bool, ...], fits: bool
) -> tuple[str, ...]:
    """What is not identified, does not fit, lies outside a model's domain, or scatters."""
    values = problem.unfold(found.p)
    x = problem.tests.radius / values[2]
    out = []
    if found.at_bound:
        out.append(
            f"The search ended at its bound, {REACH:g} times above or below where it began: check "
            "the start value and its unit."
        )
    else:
        out += [
            f"The {words(name)} is not identifiable from these depths (a/t {short(x.min())} to "
            f"{short(x.max())}): test shallower or deeper, or state what is known."
            for name, good in zip(problem.names, identified, strict=True)
            if not good
        ]
    if not found.converged:
        out.append("The fit did not settle.")
    if not fits:
        off = 100 * float(np.sqrt(np.mean(found.residual**2)))
        out.append(
            f"Layers as stated and model do not describe these tests: they are {short(off)} % "
            "apart, and not by chance. Check thickness, substrate and interface; the "
            "uncertainties given do not hold this."
        )
    if len(problem.structure.layers) == 1:
        pair = pair_of(problem.structure, values)
        out += outside(model_of(model), pair, problem.tests.radius, problem.tests.depth)
    beyond = float(np.sum((found.own * problem.tests.E_star / problem.tests.u_random) ** 2))
    if fits and found.scatter > 1e-4 and found.dof >= 1 and chdtrc(found.dof, beyond) < 0.01:
        out.append(
            f"The tests scatter by {short(100 * found.scatter)} % more than their uncertainties "
            "say; the random part holds it."
        )
    return tuple(out)
