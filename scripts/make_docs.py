"""Writes the pages of docs/reference that are made from the program.

    python scripts/make_docs.py            write columns.md, flags.md, commands.md anew
    python scripts/make_docs.py --check    say which are out of date; exit code 1 if any is

The study file's page and its JSON Schema come from ``python -m drypoint.recipe``.
"""

from __future__ import annotations

import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

from drypoint.reduction.dynamic_limits import GROUNDS as DYNAMIC_GROUNDS
from drypoint.reduction.flags import GROUNDS
from drypoint.reduction.options import Options
from drypoint.reduction.surroundings import CIRCLE, SPACING
from drypoint.run.columns import (
    COLUMNS,
    DYNAMIC,
    DYNAMIC_MEANING,
    MEANING,
    column,
    unit_text,
)
from drypoint.run.film_tables import TABLES as FILM_TABLES
from drypoint.run.stress_tables import TABLES as STRESS_TABLES
from drypoint.run.track_tables import SCRATCH_TABLES

REFERENCE = Path(__file__).resolve().parents[1] / "docs" / "reference"
MADE = "<!-- Made by scripts/make_docs.py; change that, not this. -->\n\n"

#: Symbol -> formula, for the table of columns. Sources stand in formulas.md.
FORMULAS: dict[str, str] = {
    "F_max": "force at the start of unloading, read over the end of a hold",
    "h_max": "depth at the start of unloading, from the record or from the fit",
    "h_c": "h_max − ε F_max / S",
    "h_r": "h_max − F_max / S",
    "h_p": "depth at zero force, read where the record reaches it, else from the fit",
    "S": "dF/dh at the start of unloading",
    "m": "exponent of F = α (h − h_p)^m",
    "epsilon": "ε(m), or the number in the recipe",
    "A_p": "area function at h_c, or the area measured on the impression",
    "E_r": "√π S / (2 β √A_p)",
    "E_IT": "(1 − ν²) / (1/E_r − (1 − ν_i²)/E_i)",
    "E_IT_star": "E_IT / (1 − ν²)",
    "H_IT": "F_max / A_p",
    "HM": "F_max / A_s(h_max)",
    "HM_s": "h_max² / (s² A_s(h_max)), s = dh/d√F of loading",
    "HV_conv": "0.09455 H_IT (H_IT in N/mm²)",
    "C_IT": "100 (h_2 − h_1) / h_1 over the hold at constant force",
    "R_IT": "100 (F_1 − F_2) / F_1 over the hold at constant depth",
    "W_total": "∫ F dh from contact to the start of unloading",
    "W_elast": "∫ F dh given back in unloading",
    "eta_IT": "100 W_elast / W_total",
    "F_over_S2": "F_max / S²",
}

#: Columns before the properties.
HEAD: dict[str, tuple[str, str]] = {
    "test": ("", "name of the test, unique in the study"),
    "specimen": ("", "specimen, as in the study file"),
    "cycle": ("", "number of the unloading, from 1; in cycles only"),
    "excluded": ("", "true where a decision leaves the row out of the means"),
    "x_um": ("µm", "position, where the file states it"),
    "y_um": ("µm", "position, where the file states it"),
}
#: Columns after the properties.
TAIL: dict[str, tuple[str, str]] = {
    "viscous_share_percent": (
        "%",
        "share of S by which creep at the start of unloading makes it too large, as fitted; taken "
        "out of S where `analysis.viscous_correction` is on; empty without a hold at constant "
        "force",
    ),
    "u_viscous_share_percent": ("%", "its standard uncertainty"),
    "zero_nm": ("nm", "depth that was taken as zero, after scale and frame compliance"),
    "u_zero_nm": ("nm", "its standard uncertainty, exponent of the contact law included"),
    "zero_from": ("", "first contact, threshold, as recorded, declared"),
    "drift_nm_per_s": ("nm/s", "drift rate that was taken out"),
    "u_drift_nm_per_s": ("nm/s", "its standard uncertainty"),
    "drift_from": ("", "drift hold, declared, none, no drift hold"),
    "pop_ins": ("", "number of pop-ins of the test (see [flags](flags.md))"),
    "pop_in_F_mN": ("mN", "force just before the first pop-in"),
    "pop_in_h_nm": ("nm", "depth just before the first pop-in"),
    "pop_in_size_nm": ("nm", "its jump of depth, under force control"),
    "pop_in_drop_mN": ("mN", "its drop of force, under depth control"),
    "pop_outs": ("", "number of pop-outs of the test, in unloading"),
    "pop_out_F_mN": ("mN", "force just before the first pop-out"),
    "pop_out_h_nm": ("nm", "depth just before the first pop-out"),
    "pop_out_size_nm": ("nm", "its jump of depth back, under force control"),
    "pop_out_drop_mN": ("mN", "its drop of force, under depth control"),
    "step_backs": ("", "number of steps of the depth back under rising force, force control"),
    "step_back_F_mN": ("mN", "force just before the first step back"),
    "step_back_h_nm": ("nm", "depth just before the first step back"),
    "step_back_size_nm": ("nm", "its size"),
    "population_H_IT": ("", "1 (low) or 2 (high) where H_IT of the specimen is two populations"),
    "population_E_IT": ("", "1 (low) or 2 (high) where E_IT of the specimen is two populations"),
    "tip": ("", "tip, as in the study file"),
    "flags": ("", "codes, separated by “; ” (see [flags](flags.md))"),
    "excluded_because": ("", "reason, who and when, where excluded"),
    "date": ("", "as the file or the study file says"),
    "temperature": ("", "as the file or the study file says, with its unit"),
    "humidity": ("", "as the file or the study file says, with its unit"),
    "operator": ("", "as the file or the study file says"),
    "source": ("", "raw file, relative to the study file"),
    "source_sha256": ("", "SHA-256 of the raw file"),
}

#: Columns that only the table of tests has.
TESTS_ONLY = ("population_E_IT", "population_H_IT")

#: Columns of dynamic besides the properties.
DYNAMIC_HEAD: dict[str, tuple[str, str]] = {
    "test": ("", "name of the test"),
    "specimen": ("", "specimen, as in the study file"),
    "cycle": ("", "number of the loading, from 1"),
    "window": ("", "number of the window along this loading, from 1"),
    "excluded": ("", "true where a decision leaves the row out of the bins"),
}
DYNAMIC_TAIL: dict[str, tuple[str, str]] = {
    "samples": ("", "samples in the window"),
    "frequency_Hz": ("Hz", "frequency of the oscillation"),
    "swing_percent": ("%", "swing of the contact force from mean to peak, as a share of the mean"),
    "tip": ("", "tip, as in the study file"),
    "flags": ("", "codes, separated by “; ” (below)"),
    "withheld_because": ("", "sentences that say why values are empty"),
    "excluded_because": ("", "reason, who and when, where excluded"),
}
#: Formulas of the properties along loading where they differ from those of an unloading.
DYNAMIC_FORMULAS: dict[str, str] = {
    "F": "mean of the window, at the top of the swing (or its middle, `dynamic.quoted_at`)",
    "h": "likewise",
    "h_c": "h − ε F / S",
    "S": "1 / (1 / [(F_0/z_0) cos φ − (K_s − m ω²)] − C_f), as tangent at the top of the swing",
    "H_IT": "F / A_p",
    "F_over_S2": "F / S²",
    "D_c": "(F_0/z_0) sin φ / ω − D_i",
    "loss_factor": "ω D_c / S",
}

#: Columns of depth_bins, {} stands for a property's name with its unit.
BINS: dict[str, str] = {
    "specimen": "specimen",
    "h_c_from_nm": "lower edge of the bin",
    "h_c_to_nm": "upper edge of the bin",
    "h_c_nm_SYMBOL": "mean contact depth of the tests in the bin",
    "n_SYMBOL": "number of tests in the bin",
    "SYMBOL_unit": "mean",
    "u_SYMBOL_unit": "standard uncertainty of the mean, systematic part included",
    "U_SYMBOL_unit": "expanded uncertainty of the mean",
    "s_SYMBOL_unit": "standard deviation of the tests",
}


def flag_limits() -> dict[str, str]:
    """When each flag is raised, with its limit and the key that sets it."""
    o = Options()
    f, a = o.flags, o.analysis
    return {
        "no drift hold": "`corrections.drift.method` is “drift hold” and the record has none",
        "drift": "size of the drift rate above `flags.drift_rate_nm_per_s` "
        f"({f.drift_rate * 1e9:g} nm/s)",
        "zero by threshold": "fewer than 5 samples for the fit of the first contact",
        "unsteady drift": "under `corrections.drift.curvature`, the parabola through the drift "
        "hold bends by more than 3 times its uncertainty",
        "first contact misfit": "under `corrections.zero.law` “auto”, smooth rests along the "
        "window whose chi-squared (2) is above 9.2, of this record or of all the specimen's "
        "together",
        "few samples at contact": "under `corrections.zero.law` “auto”, fewer than 10 samples in "
        "the window; it does not stretch",
        "contact lost": "before a fifth of the largest force is reached, the force passes 5 times "
        "its noise and falls below 2 times again (3 samples in a row each) while the tip goes down",
        "pop-in": "on loading, a jump of depth (drop of force under depth control) above "
        f"`flags.pop_in_sigma` ({f.pop_in_sigma:g}) times the noise of such differences, and above "
        f"`flags.pop_in_ratio` ({f.pop_in_ratio:g}) times the usual change in the same time; see "
        "[below](#pop-in-and-pop-out)",
        "pop-out": "on unloading, the same, down to 5 % of the largest force",
        "step back": "on loading under force control, the same towards the surface",
        "noise": "noise of single readings, as a share of h_max (or of F_max for the force), above "
        f"`flags.noise_share` ({f.noise_share:g})",
        "fit failed": "fewer than 6 samples in the window, or no convergence; a test whose "
        "largest cycle fails is set aside",
        "poor fit": "root mean square of the residual, as a share of F_max, above "
        f"`flags.fit_residual` ({f.fit_residual:g}), and above 1.5 times what the noise of force "
        "and depth leaves by itself",
        "odd exponent": f"m outside `flags.exponent` ({f.exponent[0]:g} to {f.exponent[1]:g}); "
        "power law only",
        "pile-up likely": f"h_p / h_max above `flags.pile_up` ({f.pile_up:g}), and no measured "
        "area",
        "tip range": "h_c outside `h_min_nm` to `h_max_nm` of the area function, and no measured "
        "area",
        "still elastic": "W_elast / W_total above `analysis.elastic_work_limit` "
        f"({a.elastic_work_limit:g}); **hardness is withheld**",
        "hardness uncertain": "u(H_IT) / H_IT above `analysis.u_hardness_limit` "
        f"({a.u_hardness_limit:g}); **hardness is withheld**",
        "creep at unloading": "depth rate over the last third of the hold, as a share of the "
        f"elastic rate of unloading, above `flags.creep_rate_share` ({f.creep_rate_share:g}), "
        "and larger than twice its standard uncertainty",
        "viscosity unknown": "`analysis.viscous_correction` is on, and the unloading does not "
        "follow a hold at constant force",
        "measured area": "an area measured on the impression is used",
        "roughness": "h_max below `flags.roughness_ratio` "
        f"({f.roughness_ratio:g}) times `roughness_Ra_nm` of the specimen",
        "film depth": "h_max above `flags.film_depth_share` "
        f"({f.film_depth_share:g}) of `thickness_nm` of the specimen",
        "film radius": "contact radius √(A_p/π) above `flags.film_radius_ratio` "
        f"({f.film_radius_ratio:g}) times `thickness_nm`",
        "thin specimen": "`bulk_thickness_um` below `flags.thickness_depths` "
        f"({f.thickness_depths:g}) times h_max, or below `flags.thickness_diameters` "
        f"({f.thickness_diameters:g}) diameters of the impression",
        "neighbour near": "another impression on the specimen nearer than "
        "`flags.spacing_diameters` diameters of the larger one; where that is not set "
        + ", ".join(f"{v:g} for `{k}`" for k, v in SPACING.items())
        + " (`material_class` of the specimen), and as for `other` where no class is declared",
        "edge near": f"an edge of `edges_um` nearer than `flags.edge_diameters` "
        f"({f.edge_diameters:g}) diameters",
        "outlier": "H_IT or E_IT further from the median of its series than "
        f"`flags.outlier_sigma` ({f.outlier_sigma:g}) × (1 + 4/n) robust standard deviations; "
        f"n at least `flags.outlier_tests` ({f.outlier_tests}); off with `flags.outlier = false`; "
        "see [below](#outlier)",
    }


def table(head: tuple[str, ...], rows: list[tuple[str, ...]]) -> str:
    """A Markdown table."""
    lines = ["| " + " | ".join(head) + " |", "|" + "---|" * len(head)]
    lines += ["| " + " | ".join(c.replace("|", "\\|") for c in row) + " |" for row in rows]
    return "\n".join(lines) + "\n"


def columns_page() -> str:
    """docs/reference/columns.md."""
    properties = [(f"`{column(s)}`", unit_text(s), MEANING[s], FORMULAS[s]) for s in COLUMNS]
    return (
        "# Columns of the result tables\n\n"
        + MADE
        + "`tests` has one row a test: the unloading from its largest force. `cycles` has one row "
        "an unloading. Both\ncome as CSV and Parquet with the same columns. A value that could "
        "not be found, or is withheld, is empty;\n[flags](flags.md) say why. Formulas with their "
        "sources: [formulas](formulas.md).\n\n"
        "Every table of a study with `invented = true` ends with the column `invented`, true in "
        "each row. Its Parquet\nfiles have a key `invented` in their metadata "
        "(`polars.read_parquet_metadata`), its workbooks a title and a note\non the first cell. "
        "Tables of measured data have none of these.\n\n"
        "## Properties\n\n"
        "Each property has four columns:\n\n"
        + table(
            ("column", "meaning"),
            [
                ("`H_IT_GPa`", "value"),
                ("`u_H_IT_GPa`", "combined standard uncertainty, √(ur² + us²)"),
                ("`ur_H_IT_GPa`", "random part: this test alone"),
                (
                    "`us_H_IT_GPa`",
                    "systematic part: shared with the other tests; it does not shrink in a mean",
                ),
            ],
        )
        + "\n"
        + table(("column", "unit", "meaning", "formula"), properties)
        + "\n## What stands before them\n\n"
        + table(("column", "unit", "meaning"), [(f"`{k}`", u, w) for k, (u, w) in HEAD.items()])
        + "\n## What stands behind them\n\n"
        + table(("column", "unit", "meaning"), [(f"`{k}`", u, w) for k, (u, w) in TAIL.items()])
        + "\n## depth_bins\n\n"
        "Written where a specimen was loaded in three steps or more, or where the study file "
        "names bins\n(`series.depth_bins_nm`). A row a specimen and bin; the columns from "
        "`h_c_nm_…` on exist for H_IT and for E_IT.\n\n"
        + table(("column", "meaning"), [(f"`{k}`", w) for k, w in BINS.items()])
        + dynamic_part()
        + parts(
            FILM_TABLES,
            {
                "films": "Film values of specimens that state layers "
                "([how to](../how-to/film-properties.md)): a row a sought number\nand a model.",
                "film_tests": "A row an unloading that was used.",
                "film_hardness": "A row a way.",
            },
        )
        + parts(
            STRESS_TABLES,
            {
                "stress": "A row a run of `[stress.NAME]`.",
                "stress_steps": "A row a load step.",
                "stress_solids": "A row a solid, from the surface downwards.",
                "stress_interfaces": "A row a place on an interface, at the peak and at the end.",
                "stress_surface": "A row a node of the surface, at the peak and at the end.",
                "stress_budget": "A row a result and number of a solid, with `uncertainty`.",
            },
        )
        + parts(
            SCRATCH_TABLES,
            {
                "tracks": "A row a scratch track ([how to](../how-to/scratch-tracks.md)).",
                "track_candidates": "A row a candidate for a critical load.",
                "critical_loads": "A row for every critical load that somebody decided on.",
                "critical_load_replicates": "A row for every specimen, critical load and "
                "distribution.",
                "track_profiles": "A row a stretch of a track. Two columns follow for every "
                "further channel of the records,\nin its own unit: `NAME`, its mean, and "
                "`NAME_peak`, its largest value.",
                "track_wear": "A row a repeat, where a line was passed several times at constant "
                "load.",
            },
        )
    )


def parts(tables: dict[str, dict[str, str]], words: dict[str, str]) -> str:
    """What columns.md says of some tables: what a row is, and the columns."""
    return "".join(
        f"\n## {stem}\n\n{words[stem]}\n\n"
        + table(("column", "meaning"), [(f"`{k}`", w) for k, w in columns.items()])
        for stem, columns in tables.items()
    )


def dynamic_part() -> str:
    """What columns.md says of records with an oscillation."""
    meaning = {**MEANING, **DYNAMIC_MEANING}
    formulas = {**FORMULAS, **DYNAMIC_FORMULAS}
    head, tail = (
        table(("column", "unit", "meaning"), [(f"`{k}`", u, w) for k, (u, w) in part.items()])
        for part in (DYNAMIC_HEAD, DYNAMIC_TAIL)
    )
    return (
        "\n## dynamic and dynamic_bins\n\n"
        "Written where records have an oscillation ([how to](../how-to/dynamic-records.md)). "
        "`dynamic` has a row a window\nof depth along loading, each property with its four "
        "columns as above:\n\n"
        + table(
            ("column", "unit", "meaning", "formula"),
            [(f"`{column(s)}`", unit_text(s), meaning[s], formulas[s]) for s in DYNAMIC],
        )
        + "\nbefore them\n\n" + head + "\nand behind them\n\n" + tail
        + "\n`dynamic_bins` has the columns of depth_bins: means over the tests.\n\n"
        "Flags of a window; all but the last two withhold values, and `withheld_because` gives "
        "the numbers:\n\n"
        + table(("code", "grounds"), list(DYNAMIC_GROUNDS.items()))
    )  # fmt: skip


FLAG_NOTES = f"""
## Pop-in and pop-out

The change of depth over L samples, L = 1, 2, 4 … up to a sixteenth of the segment, is compared
with its neighbours: with the larger of the rates before and after, and with the noise of such
changes in the same segment (a robust standard deviation). What the controlled signal itself did in
a jump is taken off. A few samples from the ends of each loading and unloading, and all holds, are
left out, so that a corner of the cycle is none. Under depth control the force takes the place of
the depth. Results carry the number of events of the test, and force, depth and size of the first
([columns](columns.md)).

## Neighbours and edges

The diameter is that of the smallest circle that encloses the impression: that of the triangle,
square or circle with the contact area A_p, {CIRCLE[3]:.3f}, {CIRCLE[4]:.3f} or {CIRCLE[0]:.3f}
times √A_p. The largest unloading of each test counts. A test without a result that touched the
surface is a neighbour too. Tests whose table states different sites are no neighbours.

## Outlier

A series is one specimen at one level of force (depth under depth control; levels part where there
is a gap of more than 5 %). The robust standard deviation is 1.4826 times the median distance from
the median, widened where the test's own random uncertainty is larger than the median one. The rule
assumes one population. Where more than `flags.outlier_share` of the series would be flagged (and
more than one test), as on a map of two phases, nothing is flagged; a rare second phase is flagged,
and is no fault. Tests that a person excluded are judged, but do not count in the median.
"""


def flags_page() -> str:
    """docs/reference/flags.md."""
    limits = flag_limits()
    rows = [(code, limits[code], grounds) for code, grounds in GROUNDS.items()]
    return (
        "# Flags\n\n"
        + MADE
        + "A flag is a remark on one row for a careful reader. Nothing is dropped because of a "
        "flag; to leave a test\nout is a [decision](../how-to/decisions.md) of a person. Two flags "
        "withhold the hardness, because there the\nnumber would be none. The report gives each "
        "flag as a sentence with its numbers.\n\n"
        + table(("code", "raised when", "grounds"), rows)
        + "\nThe limits are keys of the [study file](recipe.md), for all specimens or for one. "
        "Numbers in brackets are\nthe defaults. Where the grounds cite a paper, the key is in the "
        "[bibliography](bibliography.toml). How often each flag\nhits a planted fault, and how "
        "often it is raised for nothing: [flag rates](flag-rates.md).\n" + FLAG_NOTES
    )


def commands_page() -> str:
    """docs/reference/commands.md, from the command line's own help."""
    import typer

    from drypoint.cli import app

    group = typer.main.get_command(app)
    parts = ["# Commands\n\n", MADE, f"{group.help}\n\n{group.epilog}\n"]
    commands = _flattened(group.commands)  # type: ignore[attr-defined]
    parts.append("\n" + table(("command", "what it does"), [
        (f"[`drypoint {n}`](#drypoint-{n.replace(' ', '-')})",
         _flat(c.help).split(". ")[0].rstrip(".") + ".")
        for n, c in commands.items()
    ]))  # fmt: skip
    for name, command in commands.items():
        parts.append(f"\n## drypoint {name}\n\n{_flat(command.help)}\n\n")
        parts.append(f"    drypoint {name} {_usage(command.params)}\n\n")
        parts.append(table(("argument", "default", "meaning"), [
            (f"`{_names(p)}`", _default(p), _flat(getattr(p, "help", "") or "")) for p in
            command.params if p.name != "help"
        ]))  # fmt: skip
    parts.append("\n`drypoint --version` prints the version, `--help` the help of any command.\n")
    return "".join(parts)


def _flattened(commands: dict[str, Any]) -> dict[str, Any]:
    """Commands by their words; those of a group stand for the group."""
    out = {}
    for name, command in commands.items():
        inner = getattr(command, "commands", None)
        if inner is None:
            out[name] = command
        else:
            out.update({f"{name} {n}": c for n, c in inner.items()})
    return out


def _flat(text: str | None) -> str:
    return " ".join((text or "").split())


def _is_option(p: object) -> bool:
    return getattr(p, "param_type_name", "") == "option"


def _names(p: object) -> str:
    if not _is_option(p):
        return str(p.name).upper()  # type: ignore[attr-defined]
    return ", ".join([*p.opts, *p.secondary_opts])  # type: ignore[attr-defined]


def _usage(params: list) -> str:  # type: ignore[type-arg]
    words = []
    for p in params:
        if _is_option(p):
            if p.required:
                words.append(f"{p.opts[0]} TEXT")
            continue
        word = p.name.upper() + ("..." if p.nargs == -1 else "")
        words.append(word if p.required else f"[{word}]")
    return " ".join([*words, "[OPTIONS]"])


def _default(p: object) -> str:
    if p.required:  # type: ignore[attr-defined]
        return "**needed**"
    value = p.default  # type: ignore[attr-defined]
    if value is None or callable(value) or value in ((), [], ""):
        return "–"
    if isinstance(value, bool):
        return ("on" if value else "off") if _is_option(p) else str(value)
    return f"`{value}`"


PAGES: dict[str, Callable[[], str]] = {
    "columns.md": columns_page,
    "flags.md": flags_page,
    "commands.md": commands_page,
}


def main(arguments: list[str]) -> int:
    """Write the pages, or with ``--check`` compare them."""
    stale = []
    for name, make in PAGES.items():
        path, text = REFERENCE / name, make()
        if path.exists() and path.read_text(encoding="utf-8") == text:
            continue
        stale.append(name)
        if "--check" not in arguments:
            path.write_text(text, encoding="utf-8", newline="\n")
            print(f"Written: docs/reference/{name}")
    if stale and "--check" in arguments:
        print("Out of date: " + ", ".join(stale) + ". Run python scripts/make_docs.py")
        return 1
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
