"""Finite elements under the tip: elastic-plastic solids and layers pressed by any axisymmetric tip.

>>> import drypoint.stress as stress
>>> steel = stress.Material(E=210e9, nu=0.3, yield_stress=500e6, exponent=0.1)
>>> tip = stress.cone(1.2269)
>>> run = stress.solve(stress.Stack(steel), tip, stress.Protocol.to_depth(1e-6))  # doctest: +SKIP

``stack``, ``profile``, ``protocol``: what is pressed, with what, how. ``solve``: the run.
``solution``: what it gives. Beneath: ``plan`` and ``mesh``, ``march`` and ``newton``, ``system``,
and the kernels ``element``, ``flow``, ``touch``; ``farfield`` is what lies outside the mesh.
"""

from drypoint.stress.doubts import Doubt
from drypoint.stress.fields import Field, Interface, field, interface
from drypoint.stress.plan import EFFORTS, Effort, Estimate, depth_guess
from drypoint.stress.problem import Problem, yield_from_hardness
from drypoint.stress.profile import Profile, cone, flat_punch, from_tip, paraboloid, sphere
from drypoint.stress.protocol import Leg, Protocol
from drypoint.stress.seen import Seen, as_seen, record
from drypoint.stress.solution import Errors, FirstYield, Solution
from drypoint.stress.solve import estimate, solve
from drypoint.stress.stack import Layer, Material, Stack
from drypoint.stress.surface import Surface
from drypoint.stress.vtu import vtu_bytes

__all__ = [
    "EFFORTS",
    "Doubt",
    "Effort",
    "Errors",
    "Estimate",
    "Field",
    "FirstYield",
    "Interface",
    "Layer",
    "Leg",
    "Material",
    "Problem",
    "Profile",
    "Protocol",
    "Seen",
    "Solution",
    "Stack",
    "Surface",
    "as_seen",
    "cone",
    "depth_guess",
    "estimate",
    "field",
    "flat_punch",
    "from_tip",
    "interface",
    "paraboloid",
    "record",
    "solve",
    "sphere",
    "vtu_bytes",
    "yield_from_hardness",
]
