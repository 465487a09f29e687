"""A calibration as plain tables, for an open TOML file. ``docs/explanation/calibration.md`` has
the format key by key.

Units stand in key names. The joint distribution is kept in SI to the last bit: ``inputs.value_SI``
and ``inputs.covariance_SI`` in the order of ``inputs.names``, whose units are in ``inputs.units``.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import date
from typing import Any

import numpy as np

from drypoint.calibration.problems import CalibrationError
from drypoint.calibration.result import Calibration
from drypoint.errors import DrypointError, Where
from drypoint.tips.build import check_tip
from drypoint.tips.geometry import Geometry
from drypoint.tips.tip import AreaFunction, Bench, Frame, Tip
from drypoint.uncertainty.joint import Joint

FORMAT, VERSION = "drypoint-calibration", 1

#: version -> what brings a mapping of it to the next one.
UPGRADES: dict[int, Callable[[Mapping[str, Any]], dict[str, Any]]] = {}

#: Key of the table “frame” -> field of Frame, value where the key is left out.
_DYNAMIC: tuple[tuple[str, str, float | None], ...] = (
    ("support_spring_N_per_m", "support_spring", None),
    ("u_support_spring_N_per_m", "u_support_spring", 0.0),
    ("moving_mass_kg", "moving_mass", None),
    ("u_moving_mass_kg", "u_moving_mass", 0.0),
    ("damping_N_s_per_m", "damping", None),
    ("u_damping_N_s_per_m", "u_damping", 0.0),
)
_UNITS = {"frame.C_f": "m/N", "tip.E_i": "Pa", "tip.radius": "m", "tip.angle": "rad"}


@dataclass(frozen=True)
class Exchanged:
    """What a file brings: tip, frame, their joint distribution, and the words that go with it.

    ``verified`` has the outcome of each verification on a block as the file tells it.
    """

    bench: Bench
    identified_by: tuple[str, ...]
    findings: tuple[str, ...]
    provenance: Mapping[str, str]
    verified: tuple[dict[str, Any], ...] = ()


def _unit(name: str) -> str:
    if name.startswith("tip.C"):
        return f"m^(2 - {2.0 ** (1 - int(name[5:]))!r})"
    if name.startswith("tip.A"):
        return "m^2"
    return _UNITS.get(name, "1")


def to_mapping(c: Calibration, provenance: Mapping[str, str] | None = None) -> dict[str, Any]:
    """A calibration as tables of plain values, ready for TOML.

    ``provenance`` is what the caller knows: who, when, which records (hashes), which program.
    """
    t, g, f = c.tip, c.tip.geometry, c.frame
    shape: dict[str, Any] = {"name": t.name, "shape": g.shape}
    if g.angle is not None:
        key = "face_angle_deg" if g.sides else "half_angle_deg"
        shape[key] = float(np.degrees(g.angle))
        shape[f"u_{key}"] = float(np.degrees(g.u_angle))
    if g.radius is not None:
        shape |= {"radius_nm": g.radius * 1e9, "u_radius_nm": g.u_radius * 1e9}
    shape |= {
        "E_i_GPa": t.E_i / 1e9, "u_E_i_GPa": t.u_E_i / 1e9, "nu_i": t.nu_i, "u_nu_i": t.u_nu_i,
    }  # fmt: skip
    area: dict[str, Any] = {
        "kind": t.area.kind, "h_min_nm": t.area.h_min * 1e9, "h_max_nm": t.area.h_max * 1e9,
        "parameters": list(t.area.parameters.names),
    }  # fmt: skip
    if t.area.knots:
        area["h_c_nm"] = [k * 1e9 for k in t.area.knots]
    names = c.linked.names
    return {
        "format": FORMAT,
        "version": VERSION,
        "tip": shape,
        "area": area,
        "frame": {
            "name": f.name,
            "compliance_nm_per_mN": f.compliance * 1e6,
            "u_compliance_nm_per_mN": f.u_compliance * 1e6,
            "force_scale": f.force_scale, "u_force_scale": f.u_force_scale,
            "depth_scale": f.depth_scale, "u_depth_scale": f.u_depth_scale,
            "origin": f.origin,
            **{k: v for k, field, _ in _DYNAMIC if (v := getattr(f, field)) is not None},
        },
        "found_with": dict(t.area.found_with),
        "inputs": {
            "names": list(names),
            "units": [_unit(n) for n in names],
            "value_SI": [float(v) for v in c.linked.mean],
            "covariance_SI": [[float(v) for v in row] for row in c.linked.cov],
            "degrees_of_freedom": [float(v) for v in c.linked.dof],
            "origin": list(c.linked.origin),
        },
        "references": [
            {
                "name": r.name, "E_GPa": r.E / 1e9, "u_E_GPa": r.u_E / 1e9, "nu": r.nu,
                "u_nu": r.u_nu, **({"face": r.face} if r.face else {}),
            }
            for r in c.tests.materials
        ],
        "fit": {
            "unloadings": len(c.tests), "chi_squared": c.chi_squared, "degrees_of_freedom": c.dof,
            "scatter_row": c.scatter.row, "scatter_test": c.scatter.test,
            "scatter_hardness": c.scatter.hardness,
            "identified_by": list(c.identification.by),
            "findings": [str(x) for x in c.findings],
        },
        "residuals": {
            "h_c_nm": [float(v * 1e9) for v in c.rows.h_c],
            "residual_nm_per_mN": [float(v * 1e6) for v in c.rows.residual],
            "standardised": [float(v) for v in c.rows.standardised],
        },
        "provenance": dict(provenance or {}),
    }  # fmt: skip


def from_mapping(table: Mapping[str, Any]) -> Exchanged:
    """A bench from the tables of :func:`to_mapping`, of this version or an earlier one.

    Raises
    ------
    CalibrationError
        When it is no calibration, of a newer version, or a key is missing or senseless.
    """
    if table.get("format") != FORMAT:
        raise CalibrationError(
            f"This is no calibration file: its format is “{table.get('format', 'not stated')}”.",
            where=Where(key="format"),
            remedy=f"A calibration file says format = “{FORMAT}”.",
        )
    version = table.get("version")
    while isinstance(version, int) and version in UPGRADES:
        table = UPGRADES[version](table)
        version = table.get("version")
    if version != VERSION:
        raise CalibrationError(
            f"The calibration file is of version {version}; this program reads up to {VERSION}.",
            where=Where(key="version"),
            remedy="Use a newer program.",
        )
    try:
        return _read(table)
    except KeyError as error:
        raise CalibrationError(
            f"The calibration file lacks a key: {error.args[0]}.",
            where=Where(key=str(error.args[0])),
            remedy="The format is described in the documentation, page “Calibration”.",
        ) from error
    except DrypointError as error:
        raise CalibrationError(
            f"The calibration file makes no sense: {error.what}",
            where=error.where,
            remedy=error.remedy,
        ) from error
    except (TypeError, ValueError) as error:
        raise CalibrationError(
            f"A value in the calibration file is not what it should be: {error}.",
            remedy="Numbers stand without quotes, lists in square brackets.",
        ) from error


def _read(table: Mapping[str, Any]) -> Exchanged:
    t, a, f, i = table["tip"], table["area"], table["frame"], table["inputs"]
    angle = t.get("face_angle_deg", t.get("half_angle_deg"))
    u_angle = t.get("u_face_angle_deg", t.get("u_half_angle_deg", 0.0))
    radius = t.get("radius_nm")
    geometry = Geometry(
        t["shape"], None if angle is None else float(np.radians(angle)),
        None if radius is None else radius * 1e-9, float(np.radians(u_angle)),
        t.get("u_radius_nm", 0.0) * 1e-9,
    )  # fmt: skip
    linked = Joint(
        tuple(i["names"]), np.array(i["value_SI"], dtype=np.float64),
        np.array(i["covariance_SI"], dtype=np.float64), tuple(i["origin"]),
        np.array(i["degrees_of_freedom"], dtype=np.float64),
    )  # fmt: skip
    for name in (*a["parameters"], "frame.C_f"):
        if name not in linked.names:
            raise KeyError(f"inputs.names: {name}")
    function = AreaFunction(
        a["kind"], linked.pick(a["parameters"]),
        tuple(float(h) * 1e-9 for h in a.get("h_c_nm", ())),
        a["h_min_nm"] * 1e-9, a["h_max_nm"] * 1e-9,
        tuple((str(k), str(v)) for k, v in table["found_with"].items()),
    )  # fmt: skip
    tip = Tip(
        t["name"], geometry, function, t["E_i_GPa"] * 1e9, t["nu_i"], t["u_E_i_GPa"] * 1e9,
        t["u_nu_i"],
    )  # fmt: skip
    check_tip(tip)
    C = linked.index("frame.C_f")
    frame = Frame(
        f["name"], float(linked.mean[C]), float(linked.sd[C]), 0.0, 0.0, f["force_scale"],
        f["u_force_scale"], f["depth_scale"], f["u_depth_scale"],
        **{field: f.get(key, default) for key, field, default in _DYNAMIC}, origin=f["origin"],
    )  # fmt: skip
    if not np.isclose(frame.compliance, f["compliance_nm_per_mN"] * 1e-6, rtol=1e-9, atol=1e-18):
        raise CalibrationError(
            "The frame's compliance and that among the inputs differ: the file was changed by "
            "hand.",
            where=Where(key="compliance_nm_per_mN"),
            remedy="Put the accepted file back, or calibrate again.",
        )
    fit = table.get("fit", {})
    _check_words(table.get("provenance", {}))
    return Exchanged(
        Bench(tip, frame, linked), tuple(fit.get("identified_by", ())),
        tuple(fit.get("findings", ())), dict(table.get("provenance", {})),
        tuple(dict(b) for b in table.get("verification", {}).get("blocks", ())),
    )  # fmt: skip


def _check_words(provenance: Mapping[str, Any]) -> None:
    """Words are words, and days are days."""
    for key, value in provenance.items():
        if not isinstance(value, str):
            raise CalibrationError(
                f"provenance.{key} is not text.", where=Where(key=key), remedy="Put it in quotes."
            )
    for key in ("day", "valid_until"):
        try:
            date.fromisoformat(provenance.get(key) or "2000-01-01")
        except ValueError as error:
            raise CalibrationError(
                f"provenance.{key} is “{provenance[key]}”, and no day.",
                where=Where(key=key),
                remedy="Write a day as 2026-01-31.",
            ) from error
