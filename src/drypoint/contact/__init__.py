"""Closed forms of elastic contact: depth, force, stiffness, modulus. Pure functions, SI.

``closed_forms``: sphere, cone, flat punch, point force. ``sphere_stress``: stress under a sphere
and first yield. ``unloading``: from an unloading curve to modulus and hardness. ``vickers``:
Vickers numbers. All but ``sphere_stress``'s search for the maximum are vectorised and accept
complex numbers, so that derivatives can be taken by the complex step [squire1998].
"""
