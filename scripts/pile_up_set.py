"""Prints the tables of ``drypoint.contact.pile_up``: a rigid cone pressed into solids that yield.

    python scripts/pile_up_set.py

Homogeneous solids, E = 200 GPa, Poisson's ratio 0.3, no friction, cone of 70.3 degrees, finite
strain (``drypoint.stress``); perfectly plastic, and hardening with an exponent of 0.5. A row:
h_p/h_max, W_elast/W_total, true over assumed projected area.
"""

from __future__ import annotations

import sys

import film_set as fs

from drypoint import stress

E = 200.0
YIELDS = (2e-4, 5e-4, 1e-3, 2e-3, 4e-3, 8e-3, 0.015, 0.025, 0.04, 0.06, 0.1, 0.2)
#: Hardened to an exponent of 0.5 a solid is stronger: the same range of h_p/h_max lies lower.
HARDENED = (2e-5, 1e-4, *YIELDS[1:])


def homogeneous(over_E: float, exponent: float, friction: float = 0.0) -> tuple[float, ...]:
    """One solid by its yield stress over modulus."""
    seen = fs.looked_at(fs.tested(stress.Stack(fs.solid(E, 0.3, over_E * E, exponent)), friction))
    return seen["depth_ratio"], seen["work_ratio"], seen["area_ratio"]


def main() -> int:
    """Print both tables."""
    for exponent, yields in ((0.0, YIELDS), (0.5, HARDENED)):
        print(f"exponent {exponent}")
        for over_E in yields:
            found = homogeneous(over_E, exponent)
            print(f"    ({', '.join(f'{v:.3f}' for v in found)}),  # {over_E:g}", flush=True)
    return 0


if __name__ == "__main__":
    sys.exit(main())
