"""The text of a new study file: short, with a remark at every value to look at."""

from __future__ import annotations

import tomllib
from collections.abc import Iterable, Mapping
from pathlib import Path

from drypoint.errors import DrypointError
from drypoint.parsing import toml_document
from drypoint.recipe.editions import CURRENT
from drypoint.recipe.knobs import Analysis, Drift, Zero
from drypoint.recipe.load import read_study
from drypoint.recipe.schema import VERSION
from drypoint.recipe.text import read_text
from drypoint.recipe.toml_text import key_text, value_text

_RECORDS = """\
[[records]]
files = ["raw/*.txt"]   # relative to this file; * stands for any text
specimen = "specimen"
"""


def starting_recipe(
    name: str,
    records_toml: str = "",
    *,
    specimens: Iterable[str] = (),
    tip: str = "tip",
    shape: str = "modified Berkovich",
    nu: float = 0.3,
    u_nu: float = 0.05,
    question: str = "",
    laboratory: str = "",
    operator: str = "",
    poisson: Mapping[str, tuple[float, float]] | None = None,
    bench: str = "",
    schema: str = "",
    folder: Path | None = None,
) -> str:
    """A commented study file that can be run after a look at it.

    Parameters
    ----------
    name : str
        Name of the study.
    records_toml : str
        One or more ``[[records]]`` tables as TOML, for example from the readers; a table that
        takes ``raw/*.txt`` where it is empty.
    specimens : iterable of str
        Specimens to make tables for, besides those that ``records_toml`` names.
    tip, shape : str
        Name and shape of the tip.
    nu, u_nu : float
        Poisson's ratio that is assumed for each specimen, and its standard uncertainty.
    question : str
        The question that the study answers.
    laboratory, operator : str
        Who measured, and where.
    poisson : mapping, optional
        Specimen -> Poisson's ratio and its standard uncertainty, where it is not ``nu``.
    bench : str
        Path of a calibration file, relative to the study; it takes the place of tip and frame.
    schema : str
        Path or address of the JSON Schema, for editors; left out where empty.
    folder : Path, optional
        Folder in which the study will stand, where ``bench`` is to be found.

    Raises
    ------
    RecipeError
        When the text would not be a valid study file, for example because ``records_toml`` is not.
    """
    records = records_toml.strip() + "\n" if records_toml.strip() else _RECORDS
    names = dict.fromkeys(specimens)
    try:
        for table in toml_document(records).get("records", []):
            names.setdefault(str(table.get("specimen", "specimen")), None)
    except (tomllib.TOMLDecodeError, AttributeError, TypeError):
        pass  # the check at the end says where the fault is
    head = f"#:schema {schema}\n" if schema else ""
    parts = [
        f"{head}# How this study is computed. Decisions about single tests stand in the\n"
        "# decisions file beside it; raw files are never changed.\n"
        f"drypoint = {VERSION}\n"
        f"rules = {CURRENT}   # edition of the rules: defaults and methods\n",
        "[study]\n"
        f"name = {value_text(name)}\n"
        f"question = {value_text(question)}   # the question that the numbers shall answer\n"
        f"laboratory = {value_text(laboratory)}\noperator = {value_text(operator)}\n"
        'standard = ""   # for example "ISO 14577-1 practice"\n',
        records,
    ]
    for specimen in names or ["specimen"]:
        given = (poisson or {}).get(specimen)
        value, u = given or (nu, u_nu)
        remark = "" if given else ": assumed, put in what you know"
        parts.append(
            f"[specimens.{key_text(specimen)}]\n"
            'description = ""\n'
            f"nu = {value_text(value)}       # Poisson's ratio{remark}\n"
            f"u_nu = {value_text(u)}    # its standard uncertainty\n"
        )
    if bench:
        parts.append(f"[benches.{key_text(tip)}]\nfile = {value_text(bench)}\n")
        parts += _rule_of((folder or Path()) / bench)
    else:
        parts += _ideal_bench(tip, shape)
    parts.append(_defaults(bench=bool(bench)))
    text = "\n".join(parts)
    read_study(text, (folder or Path()) / f"{name}.toml")
    return text


def _rule_of(calibration: Path) -> list[str]:
    """The choices under which a calibration was found: its area function holds under no others.
    Nothing where the file cannot be read; the check of the whole says what is wrong with it."""
    try:
        rule = toml_document(read_text(calibration))["found_with"]
        lines = [f"beta = {float(rule['beta'])!r}"] if "beta" in rule else []
        if "epsilon" in rule:
            told = str(rule["epsilon"])
            lines.append(f"epsilon = {told if told[:1].isdigit() else value_text(told)}")
        if "radial_correction" in rule:
            lines.append(f"radial_correction = {rule['radial_correction']}")
    except (DrypointError, tomllib.TOMLDecodeError, KeyError, TypeError, ValueError):
        return []
    if not lines:
        return []
    return ["[analysis]   # as the tip was calibrated\n" + "\n".join(lines) + "\n"]


def _ideal_bench(tip: str, shape: str) -> list[str]:
    """A tip as it is certified, and a frame without compliance, to be looked at."""
    return [
        f"[tips.{key_text(tip)}]\n"
        f"shape = {value_text(shape)}\n"
        + ("half_angle_deg = 70.3   # from the certificate\n" if "cone" in shape else "")
        + ("radius_nm = 1000.0   # from the certificate\n" if _round(shape) else "")
        + "# Without an area function the tip counts as ideal. A real tip is blunt: at small\n"
        "# depth its area function decides. Calibrate it on a reference material.\n",
        "[frame]\n"
        "compliance_nm_per_mN = 0.0     # what the instrument has not corrected already\n"
        "u_compliance_nm_per_mN = 0.0\n",
    ]


def _round(shape: str) -> bool:
    return shape in ("sphero-cone", "sphere", "flat punch")


def _defaults(*, bench: bool) -> str:
    """The choices that matter most, with their defaults, as remarks."""
    lines = [
        "# Choices and their defaults; take the # away to change one. The page “recipe” of the",
        "# reference lists them all.",
    ]
    for table, section, keys in (
        ("corrections.zero", Zero(), ("method", "depth_window_nm")),
        ("corrections.drift", Drift(), ("method", "window")),
        ("analysis", Analysis(), ("unloading", "window", "epsilon", "beta", "depth_at_F_max")),
    ):
        if bench and table == "analysis":
            continue  # those of the calibration stand above
        lines.append(f"# [{table}]")
        lines += [f"# {key} = {value_text(getattr(section, key))}" for key in keys]
    return "\n".join(lines) + "\n"
