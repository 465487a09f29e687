"""Words on axes: quantity, symbol and unit, as the standards write them; numbers in sentences."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import ArrayLike

from drypoint.run.columns import MEANING, factor_of, unit_text
from drypoint.uncertainty.rounding import round_pair


def symbol_math(symbol: str) -> str:
    """A symbol with its index set low, for Matplotlib: ``H_IT`` -> H with a low IT."""
    if symbol == "F_over_S2":
        return r"$F/S^2$"
    if symbol == "E_IT_star":
        return r"$E_\mathrm{IT}^{*}$"
    base, _, index = symbol.partition("_")
    greek = {"eta": r"\eta", "epsilon": r"\varepsilon", "beta": r"\beta"}
    letter = greek.get(base, rf"\mathrm{{{base}}}" if len(base) > 1 else base)
    return rf"${letter}_\mathrm{{{index}}}$" if index else f"${letter}$"


def symbol_text(symbol: str) -> str:
    """A symbol in plain text."""
    return {"F_over_S2": "F/S²", "E_IT_star": "E_IT*", "HV_conv": "HV (converted)"}.get(
        symbol, symbol
    )


def as_words(text: str) -> str:
    """Text of the user's for a figure: a dollar sign in it begins no formula."""
    return text.replace("$", r"\$")


def axis_label(symbol: str, *, short: bool = False) -> str:
    """Label of an axis: meaning, symbol, unit."""
    unit = unit_text(symbol)
    word = "" if short else MEANING[symbol].partition(",")[0].capitalize() + " "
    if not unit:
        return f"{word}{symbol_math(symbol)}"
    return f"{word}{symbol_math(symbol)} / " + (f"({unit})" if "/" in unit else unit)


def in_units(symbol: str, value: ArrayLike) -> np.ndarray:
    """SI values of a symbol in the unit of its column."""
    return np.asarray(value, dtype=np.float64) / factor_of(symbol)


_INPUTS = {
    "tip.angle": "face angle of the tip",
    "tip.radius": "tip radius",
    "tip.E_i": "modulus of the indenter",
    "tip.nu_i": "Poisson's ratio of the indenter",
    "tip.scale": "scale of the area",
    "frame.C_f": "frame compliance",
    "frame.K_s": "support spring",
    "frame.mass": "moving mass",
    "frame.D_i": "damping of the instrument",
    "force_scale": "force scale",
    "depth_scale": "depth scale",
    "zero.exponent": "contact law of the zero",
    "beta": "beta",
    "epsilon": "epsilon",
    "fit": "unloading fit",
    "exponent": "exponent of unloading",
    "zero": "zero point",
    "drift": "drift",
    "noise": "noise of readings",
    "area": "measured area",
    "reading": "reading of force and depth",
    "between tests": "scatter between tests",
}

#: Numbers of a layer, as film analyses name them: ``film.E``.
_LAYER = {"E": "modulus", "nu": "Poisson's ratio", "t": "thickness"}


def input_words(name: str) -> str:
    """What an input of the budget is, in words: ``tip.radius`` -> ``tip radius``.

    Inputs that several tips or frames have of their own keep whose they are.
    """
    bare, _, whose = name.partition("@")
    if bare in _INPUTS:
        words = _INPUTS[bare]
    elif bare.startswith("zero.law."):
        words = f"law of first contact, {bare[9:]}"
    elif bare.startswith("nu."):
        words = f"Poisson's ratio of {bare[3:]}"
    elif bare.startswith("model.elastic"):
        words = "elastic solution of a flat film"
    elif bare == "area.pile_up":
        words = "pile-up and sink-in, where in their range"
    elif bare.endswith(" before"):
        words = input_words(bare[: -len(" before")]) + ", as known before"
    elif (kind := bare.rpartition("."))[2] in _LAYER and kind[0]:
        words = f"{_LAYER[kind[2]]} of {kind[0]}"
    elif bare.startswith("tip.C"):
        words = f"area coefficient {bare[4:]}"
    elif bare.startswith("tip.A"):
        words = f"area of the tip, knot {bare[5:]}"
    else:
        words = bare.replace("_", " ")
    return f"{words} ({whose})" if whose else words


def number(value: float, digits: int = 3) -> str:
    """A number for a sentence, with ``digits`` significant figures and no exponent if it can be."""
    if not np.isfinite(value):
        return "not known"
    if value == 0:
        return "0"
    size = int(f"{value:.{digits - 1}e}".partition("e")[2])  # after rounding: 0.9999 is 1.00
    if -4 <= size <= 6:
        return f"{value:.{max(0, digits - 1 - size)}f}"
    return f"{value:.{digits - 1}e}"


def span(values: ArrayLike, unit: str = "", digits: int = 3) -> str:
    """Smallest to largest of some values, for a sentence."""
    a = np.asarray(values, dtype=np.float64)
    a = a[np.isfinite(a)]
    tail = f" {unit}" if unit else ""
    if not len(a):
        return "not known"
    low, high = number(float(a.min()), digits), number(float(a.max()), digits)
    return f"{low}{tail}" if low == high else f"{low} to {high}{tail}"


def plus_minus(symbol: str, value: float, u: float) -> str:
    """Value ± uncertainty of a symbol (SI) in the unit of its column, for a sentence."""
    f = factor_of(symbol)
    left, right = round_pair(value / f, u / f)
    unit = unit_text(symbol)
    return f"{left} ± {right}" + (f" {unit}" if unit else "")


def listed(names: Sequence[str], most: int = 8) -> str:
    """Names for a sentence; after ``most`` of them only their number."""
    if len(names) <= most:
        return ", ".join(names)
    return ", ".join(names[:most]) + f" and {len(names) - most} more"


def plural(n: int, one: str, many: str | None = None) -> str:
    """``1 test``, ``2 tests``."""
    return f"{n} {one if n == 1 else many or one + 's'}"
