"""Tips and frames as types: shapes, area functions with covariance, load frames.

``geometry``: shapes and angles. ``tip``: the types. ``area``: areas of a tip at a depth and their
inputs. ``build``: checked constructors. ``shapes`` and ``table``: the formulas beneath ``area``.
"""
