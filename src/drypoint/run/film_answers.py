"""What the tests of a coated specimen say of the film itself, in the fewest words."""

from __future__ import annotations

import numpy as np

from drypoint.films.words import short, words
from drypoint.run.coatings import FilmFound
from drypoint.run.film_tables import unit_of
from drypoint.uncertainty.propagation import coverage_factor
from drypoint.uncertainty.rounding import round_pair

#: What is said of the means of hardness and modulus of a coated specimen.
TOGETHER = "film and substrate together, no value of the film"
#: An interval whose ends are further apart than this factor is given by its ends.
LOPSIDED = 1.5


def film_answers(found: FilmFound, level: float) -> tuple[tuple[str, str, str], ...]:
    """Symbol, value and what it rests on, of each sought number and of the film's hardness."""
    out = []
    r = found.exact
    top = found.coating.structure.layers[0].name
    for name in r.names:
        layer, _, kind = name.rpartition(".")
        symbol = kind + ("_f" if layer == top else "")
        unit, f = unit_of(name)
        value, _, _ = r.of(name)
        basis = f"{words(name)}, exact layered contact"
        if not np.isfinite(value):
            out.append((symbol, "not identifiable", f"{basis}; see the part on films"))
            continue
        ends = [v / f for v in r.interval(name, level)]
        said, U = round_pair(value / f, (ends[1] - ends[0]) / 2)
        low, high = (round_pair(v, (ends[1] - ends[0]) / 2)[0] for v in ends)
        if not r.fits:
            out.append((symbol, f"about {said} {unit}".strip(), f"{basis}; layers as stated do not "
                        "describe the tests, and no uncertainty holds that"))  # fmt: skip
            continue
        interval = f"{100 * level:g} % interval"
        if r.relative[r.names.index(name)] and ends[1] > LOPSIDED * ends[0]:
            out.append((symbol, f"{low} to {high} {unit}".strip(), f"{basis}; {interval}"))
            continue
        text = f"({said} ± {U}) {unit}" if unit else f"{said} ± {U}"
        out.append((symbol, text, f"{basis}; {interval} {low} to {high}"))
    p = found.solved.plateau
    if found.hardness_tests is not None and p is None:
        out.append(("H_f", "no plateau", f"hardness of {top}; see the part on films"))
    elif p is not None:
        wide = coverage_factor(p.dof, level) * float(np.hypot(p.u_random, p.u_systematic))
        said, U = round_pair(p.H / 1e9, wide / 1e9)
        depths = f"{short(p.beta[0])} to {short(p.beta[1])}"
        out.append(
            (
                "H_f",
                f"({said} ± {U}) GPa",
                f"hardness of {top}, plateau at {depths} of its thickness",
            )
        )
    return tuple(out)
