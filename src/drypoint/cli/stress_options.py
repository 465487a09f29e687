"""Options of the command ``stress`` as keys of ``[stress.NAME]``."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass, fields
from pathlib import Path
from typing import Any

from drypoint.errors import StressError
from drypoint.parsing import json_value


@dataclass(frozen=True)
class Options:
    """What the command line gives for a run; ``None`` (or nothing) where an option is left out.

    With a study they replace keys of ``[stress.NAME]``, without one they are the whole run.
    """

    tip: str | None = None
    angle_deg: float | None = None
    radius_nm: float | None = None
    tip_from: str | None = None
    rigid: bool | None = None
    solid: str | None = None
    layer: tuple[str, ...] = ()
    force_mN: float | None = None
    depth_nm: float | None = None
    cycles: int | None = None
    friction: float | None = None
    quality: str | None = None

    @property
    def given(self) -> dict[str, Any]:
        """The options that were given, by name."""
        values = {f.name: getattr(self, f.name) for f in fields(self)}
        return {k: v for k, v in values.items() if v is not None and v != ()}


#: Options whose value is that of a key of [stress.NAME].
_PLAIN = ("rigid", "force_mN", "depth_nm", "cycles", "friction", "quality")
#: The tip: ``tip_from`` excludes the others.
_SHAPE = ("tip", "angle_deg", "radius_nm")


def option_name(field: str) -> str:
    """``--force-mN`` of ``force_mN``."""
    return f"--{field.replace('_', '-')}"


def keys_of(options: Options, shape: Mapping[str, Any] | None = None) -> dict[str, Any]:
    """Keys of ``[stress.NAME]`` that the options set, as plain values; ``tip_from`` is not in them.

    Parameters
    ----------
    options : Options
    shape : mapping, optional
        Keys of the tip that angle and radius belong to if ``--tip`` is omitted.

    Raises
    ------
    StressError
        When options exclude each other, or one cannot be read.
    """
    given = options.given
    if "tip_from" in given:
        for name in _SHAPE:
            if name in given:
                raise StressError(
                    f"--tip-from and {option_name(name)} are both given.",
                    remedy="A measured tip has its own shape: give one of the two.",
                )
    if "force_mN" in given and "depth_nm" in given:
        raise StressError(
            "--force-mN and --depth-nm are both given.", remedy="Give one of the two."
        )
    out: dict[str, Any] = {}
    for name, value in given.items():
        if name in _PLAIN:
            out[name] = value
        elif name == "solid":
            out["substrate"] = inline(value, "--solid")
        elif name == "layer":
            out["layers"] = [inline(text, "--layer") for text in value]
        elif name in _SHAPE:
            out["shape"] = _shape(given, shape)
        elif name != "tip_from":
            raise StressError(
                f"{option_name(name)} has no key in [stress.NAME].",
                remedy="Set what is meant in the study file.",
            )
    return out


def _shape(given: Mapping[str, Any], own: Mapping[str, Any] | None) -> dict[str, Any]:
    from drypoint.tips.geometry import PYRAMIDS

    out = {"shape": given["tip"]} if "tip" in given else dict(own or {})
    if not out:
        first = next(option_name(k) for k in _SHAPE if k in given)
        raise StressError(
            f"{first} does not apply to this run: its tip is described by a table of its own.",
            remedy="Give the shape too (--tip), or set face_angle_deg, half_angle_deg or radius_nm "
            "of that tip under [tips] in the study file.",
        )
    pyramid = out["shape"] in PYRAMIDS
    if "angle_deg" in given:
        out["face_angle_deg" if pyramid else "half_angle_deg"] = given["angle_deg"]
    if "radius_nm" in given:
        out["radius_nm"] = given["radius_nm"]
        if pyramid:
            out["area"] = {"kind": "blunted"}
    return out


def vtu_choice(text: str | None, out: Path | None) -> str | None:
    """Which fields are to be written; ``None`` leaves it to the study."""
    if text is None:
        return None
    if text not in ("none", "peak", "every step"):
        raise StressError(
            f"Invalid --vtu: got “{text}”; expected none, peak or every step.",
            remedy="Allowed: --vtu none, --vtu peak, --vtu 'every step'.",
        )
    if out is None and text != "none":
        raise StressError("--vtu requires --out.", remedy="Give a folder with --out.")
    return text


_PAIR = re.compile(r'\s*(\w+)\s*=\s*("[^"]*"|\[.*\]|[^,\[\]"=]+?)\s*(?:,|$)')


def inline(text: str, option: str) -> dict[str, Any]:
    """``E_GPa = 240, nu = 0.25, name = film`` as a table."""
    out: dict[str, Any] = {}
    at = 0
    body = text.strip()
    while at < len(body):
        found = _PAIR.match(body, at)
        if found is None or found[1] in out:
            raise StressError(
                f"{option} “{text}” cannot be read from “{body[at:]}” on.",
                remedy="Write KEY = VALUE with commas between, for example: "
                "E_GPa = 240, nu = 0.25, hardness_GPa = 18, thickness_nm = 400.",
            )
        out[found[1]] = _value(found[2])
        at = found.end()
    return out


def _value(text: str) -> Any:
    try:
        return float(text)
    except ValueError:
        pass
    try:
        return json_value(text)
    except ValueError:
        return text.strip('"')
