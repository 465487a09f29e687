"""Systematic inputs in the units that a laboratory uses."""

from __future__ import annotations

import numpy as np

from drypoint.tips.shapes import series_power


def input_in_units(name: str, value: float) -> tuple[float, str]:
    """A value of an input (SI) with its unit: ``frame.C_f`` in nm/mN, a tip's radius in nm.

    The factor suits a standard uncertainty as well.
    """
    bare = name.partition("@")[0]
    if bare == "tip.angle":
        return float(np.degrees(value)), "°"
    if bare == "tip.radius":
        return value * 1e9, "nm"
    if bare == "tip.E_i":
        return value / 1e9, "GPa"
    if bare == "frame.C_f":
        return value / 1e-6, "nm/mN"
    if bare == "frame.mass":
        return value * 1e3, "g"
    if bare in ("frame.K_s", "frame.D_i"):
        return value, "N/m" if bare == "frame.K_s" else "N s/m"
    if bare.startswith("tip.C") and bare[5:].isdigit():
        power = series_power(int(bare[5:]))
        rest = 2 - power
        unit = "1" if rest == 0 else "nm" if rest == 1 else f"nm^{rest:.6g}"
        return value * 10.0 ** (9 * rest), unit
    if bare.startswith("tip.A") and bare[5:].isdigit():
        return value * 1e12, "µm²"
    return value, "1"
