"""From the keys of a tip to the tip itself, with what each form of area function needs."""

from __future__ import annotations

from typing import Any

import numpy as np

from drypoint.recipe.base import to_si
from drypoint.recipe.equipment import Area, FoundWith, TipKeys
from drypoint.recipe.locate import Path
from drypoint.recipe.problems import Problem
from drypoint.tips.area import series_from_nm
from drypoint.tips.build import blunted_tip, ideal_tip, series_tip, table_parameters, table_tip
from drypoint.tips.geometry import PYRAMIDS, Geometry
from drypoint.tips.tip import Tip
from drypoint.uncertainty.joint import Joint


def tip_of(name: str, keys: TipKeys) -> Tip:
    """A tip in SI.

    Raises
    ------
    TipError
        When the tip or its area function is impossible.
    """
    area = keys.area or Area()
    angle = keys.face_angle_deg if keys.shape in PYRAMIDS else keys.half_angle_deg
    shape: dict[str, Any] = {
        "angle": to_si(angle, "deg"),
        "radius": to_si(keys.radius_nm, "nm"),
        "u_angle": to_si(keys.u_angle_deg, "deg"),
        "u_radius": to_si(keys.u_radius_nm, "nm"),
    }
    common: dict[str, Any] = {
        "name": name,
        "E_i": to_si(keys.E_i_GPa, "GPa"),
        "u_E_i": to_si(keys.u_E_i_GPa, "GPa"),
        "nu_i": keys.nu_i,
        "u_nu_i": keys.u_nu_i,
    }
    common |= {
        k: to_si(v, "nm")
        for k, v in (("h_min", area.h_min_nm), ("h_max", area.h_max_nm))
        if v is not None
    }
    origin = _origin(name, keys, area)
    if area.kind == "ideal":
        return ideal_tip(keys.shape, **shape, origin=origin, **common)
    geometry = Geometry(keys.shape, **shape)
    common["found_with"] = found_with_of(area.found_with)
    if area.kind == "series":
        coefficients = area.coefficients_nm or ()
        parameters = series_from_nm(coefficients, _covariance(area), origin)
        return series_tip(geometry, parameters, **common)
    if area.kind == "table":
        areas = [to_si(a, "nm²") for a in area.A_nm2 or ()]
        u = np.array([to_si(a, "nm²") for a in area.u_A_nm2 or (0.0,) * len(areas)])
        parameters = table_parameters(areas, np.diag(u**2), origin)
        return table_tip(geometry, to_si(area.h_c_nm or (), "nm"), parameters, **common)
    return blunted_tip(geometry, _blunted(geometry, area, origin), origin=origin, **common)


def _blunted(geometry: Geometry, area: Area, origin: str) -> Joint | None:
    if area.correlation is None or geometry.radius is None or geometry.angle is None:
        return None
    off = area.correlation * geometry.u_radius * geometry.u_angle
    return Joint(
        ("tip.radius", "tip.angle"),
        np.array([geometry.radius, geometry.angle]),
        np.array([[geometry.u_radius**2, off], [off, geometry.u_angle**2]]),
        (origin,) * 2,
    )


def _covariance(area: Area) -> np.ndarray[Any, np.dtype[np.float64]] | None:
    if area.covariance_nm is not None:
        return np.array(area.covariance_nm, dtype=np.float64)
    if area.u_coefficients_nm is not None:
        return np.diag(np.square(np.array(area.u_coefficients_nm, dtype=np.float64)))
    return None


def _origin(name: str, keys: TipKeys, area: Area) -> str:
    if area.found_with is not None and area.found_with.reference:
        return f"tip “{name}”, found on {area.found_with.reference}"
    if keys.certificate:
        return f"tip “{name}”, certificate {keys.certificate}"
    return f"tip “{name}”, declared in the recipe"


def found_with_of(keys: FoundWith | None) -> tuple[tuple[str, str], ...]:
    """The rule of a calibration as pairs of words; only what is stated."""
    if keys is None:
        return ()
    given = ((name, getattr(keys, name)) for name in type(keys).model_fields)
    return tuple((name, _word(value)) for name, value in given if value not in (None, ""))


def _word(value: Any) -> str:
    if isinstance(value, bool):
        return "true" if value else "false"
    return " to ".join(map(repr, value)) if isinstance(value, tuple) else str(value)


def area_problems(path: Path, area: Area) -> list[Problem]:
    """Lists of an area function that differ in length, and depths the wrong way round."""
    found = []
    given = {n for n in area.model_fields_set if getattr(area, n) is not None}
    lengths = {n: len(getattr(area, n)) for n in _LISTS[area.kind] if n in given}
    if len(set(lengths.values())) > 1:
        words = ", ".join(f"{n} has {k}" for n, k in lengths.items())
        found.append(Problem(path, f"its lists differ in length: {words}.", "Make them equal."))
    low, high = area.h_min_nm, area.h_max_nm
    if low is not None and high is not None and low >= high:
        found.append(
            Problem(
                (*path, "h_min_nm"),
                f"{low:g} is given, and h_max_nm is {high:g}.",
                "The smallest contact depth lies below the largest.",
            )
        )
    return found


_LISTS: dict[str, tuple[str, ...]] = {
    "ideal": (),
    "blunted": (),
    "series": ("coefficients_nm", "u_coefficients_nm", "covariance_nm"),
    "table": ("h_c_nm", "A_nm2", "u_A_nm2"),
}
