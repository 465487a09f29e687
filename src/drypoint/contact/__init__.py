"""Closed forms of elastic contact: depth, force, stiffness, modulus. Pure functions, SI.

``closed_forms``: sphere, cone, flat punch, point force. ``sphere_stress``: stress under a sphere
and first yield. ``unloading``: from an unloading curve to modulus and hardness. ``vickers``:
Vickers numbers. ``profiles``: rigid tips as bodies of revolution. ``layered``: exact contact on
elastic layers; ``layered_stress``: what happens inside them. ``blunted``: a rounded cone on a solid
that yields, from a table.

The first four are vectorised and accept complex numbers (but for ``sphere_stress``'s search for
the maximum), so that derivatives can be taken by the complex step [squire1998].
"""
