"""Column names and units of the result tables: a promise to every user.

A property has four columns: its value, its combined standard uncertainty ``u_``, and the two
parts ``ur_`` (random: this test alone) and ``us_`` (systematic: shared by all tests).
"""

from __future__ import annotations

#: Symbol -> (unit in the column name, unit for Pint, dimension); percent and ratios as they are.
COLUMNS: dict[str, tuple[str, str, str]] = {
    "F_max": ("mN", "mN", "force"),
    "h_max": ("nm", "nm", "length"),
    "h_c": ("nm", "nm", "length"),
    "h_r": ("nm", "nm", "length"),
    "h_p": ("nm", "nm", "length"),
    "S": ("mN_per_nm", "mN/nm", "stiffness"),
    "m": ("", "", ""),
    "epsilon": ("", "", ""),
    "A_p": ("um2", "um^2", "area"),
    "E_r": ("GPa", "GPa", "pressure"),
    "E_IT": ("GPa", "GPa", "pressure"),
    "E_IT_star": ("GPa", "GPa", "pressure"),
    "H_IT": ("GPa", "GPa", "pressure"),
    "HM": ("GPa", "GPa", "pressure"),
    "HM_s": ("GPa", "GPa", "pressure"),
    "HV_conv": ("kgf_per_mm2", "", ""),
    "C_IT": ("percent", "", ""),
    "R_IT": ("percent", "", ""),
    "W_total": ("nJ", "nJ", "energy"),
    "W_elast": ("nJ", "nJ", "energy"),
    "eta_IT": ("percent", "", ""),
    "F_over_S2": ("per_GPa", "", ""),
}

#: Further symbols that stand in the table of windows along loading only, and their meaning.
DYNAMIC_ONLY: dict[str, tuple[str, str, str]] = {
    "F": ("mN", "mN", "force"),
    "h": ("nm", "nm", "length"),
    "D_c": ("N_s_per_m", "", ""),
    "loss_factor": ("", "", ""),
}
DYNAMIC_MEANING: dict[str, str] = {
    "F": "force",
    "h": "depth",
    "D_c": "damping of the contact",
    "loss_factor": "loss factor of the contact",
}
#: Symbols of the table of windows along loading, in its order.
DYNAMIC = (
    "F", "h", "h_c", "S", "A_p", "E_r", "E_IT", "H_IT", "F_over_S2", "D_c", "loss_factor",
)  # fmt: skip

#: What each symbol is, for tables, tooltips and the report.
MEANING: dict[str, str] = {
    "F_max": "largest force",
    "h_max": "depth at the start of unloading",
    "h_c": "contact depth",
    "h_r": "tangent intercept",
    "h_p": "residual depth",
    "S": "contact stiffness",
    "m": "exponent of unloading",
    "epsilon": "contact-depth factor",
    "A_p": "projected contact area",
    "E_r": "reduced modulus",
    "E_IT": "indentation modulus",
    "E_IT_star": "plane-strain indentation modulus",
    "H_IT": "indentation hardness",
    "HM": "Martens hardness",
    "HM_s": "Martens hardness from the slope of loading",
    "HV_conv": "Vickers-like number, converted from H_IT, not measured",
    "C_IT": "indentation creep",
    "R_IT": "indentation relaxation",
    "W_total": "total work",
    "W_elast": "elastic work",
    "eta_IT": "elastic share of the work",
    "F_over_S2": "force over stiffness squared",
}


def _entry(symbol: str) -> tuple[str, str, str]:
    return COLUMNS.get(symbol) or DYNAMIC_ONLY[symbol]


def factor_of(symbol: str) -> float:
    """Factor by which an SI value is divided for its column."""
    from drypoint.units import factor

    _, unit, dimension = _entry(symbol)
    if symbol == "F_over_S2":
        return 1e-9
    return factor(unit, dimension) if dimension else 1.0


def column(symbol: str, prefix: str = "") -> str:
    """Column name of a symbol, for example ``u_H_IT_GPa``."""
    unit = _entry(symbol)[0]
    return prefix + symbol + (f"_{unit}" if unit else "")


def unit_text(symbol: str) -> str:
    """Unit as shown to people."""
    return {
        "mN_per_nm": "mN/nm",
        "um2": "µm²",
        "kgf_per_mm2": "kgf/mm²",
        "percent": "%",
        "per_GPa": "1/GPa",
        "N_s_per_m": "N s/m",
    }.get(_entry(symbol)[0], _entry(symbol)[0])
